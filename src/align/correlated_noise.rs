//! What a scan's noise may be made of, as covariances of the means over cells.
//!
//! In: cells with rows of the pose, residuals and weights. Out: [`NoiseParts`]: groups of cells and, for each part of the
//! noise, the covariance of the groups' means where that part has unit variance. Units: mm.
//! Method: independent noise of single points; independent noise of whole cells, which is what the reference's patches are off;
//! and waves of a row of lengths, each in all directions: every correlation that depends on distance alone is a mixture of
//! such `sin(kd)/(kd)` (I. Schoenberg, Ann. Math. 39, 1938). Groups keep the matrices small; their covariances are
//! sums over their cells, so that no wave is blurred by it.
//! Does not know how much there is of each part: see `learnt_noise`. Does not know directions.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector, Point3};

use super::correlated_step::Cell;

/// Shortest wave in cells, as sampling theory has it (C. Shannon, 1949); the next is longer by the ratio, the longest as long
/// as the scan: of longer ones the pose takes all but a bend, which the longest has too.
const SHORTEST_CELLS: f64 = 2.0;
const RATIO: f64 = 1.25;
/// Most groups; the work goes with their third power. On a front end they are 70 mm wide: narrow enough to learn variances from.
const MOST_GROUPS: usize = 320;
/// Step of the tables over distance, mm: a hundredth of the shortest wave.
const TABLE_MM: f64 = 0.5;

/// Parts of the noise of groups of cells.
pub(super) struct NoiseParts {
    /// Rows of the pose, one for each group.
    pub rows: DMatrix<f64>,
    pub residuals_mm: DVector<f64>,
    /// On the diagonal, for unit variance of single points.
    pub of_points: DVector<f64>,
    /// On the diagonal, for unit variance of cells.
    pub of_cells: DVector<f64>,
    /// For unit variance of the waves of each length; the lower triangles only.
    pub of_waves: Vec<DMatrix<f64>>,
    pub lengths_mm: Vec<f64>,
}

impl NoiseParts {
    pub fn of(cells: &[Cell], cell_mm: f64) -> Self {
        let groups = groups_of(cells, cell_mm);
        let sums: Vec<f64> =
            groups.iter().map(|group| group.iter().map(|cell| cell.weight).sum::<f64>()).collect();
        let mean = |group: usize, value: &dyn Fn(&Cell) -> f64| -> f64 {
            groups[group].iter().map(|cell| cell.weight * value(cell)).sum::<f64>() / sums[group]
        };
        let count = groups.len();
        let most_mm = span_mm(cells);
        let lengths_mm: Vec<f64> =
            std::iter::successors(Some(SHORTEST_CELLS * cell_mm), |length_mm| Some(length_mm * RATIO))
                .take_while(|length_mm| *length_mm <= most_mm)
                .collect();
        Self {
            rows: DMatrix::from_fn(count, 6, |group, column| mean(group, &|cell| cell.row[column])),
            residuals_mm: DVector::from_fn(count, |group, _| mean(group, &|cell| cell.residual_mm)),
            of_points: DVector::from_fn(count, |group, _| 1.0 / sums[group]),
            of_cells: DVector::from_fn(count, |group, _| mean(group, &|cell| cell.weight) / sums[group]),
            of_waves: waves(&groups, &sums, &lengths_mm, most_mm),
            lengths_mm,
        }
    }
}

/// Cells that lie together, in an order that depends on their places alone.
fn groups_of(cells: &[Cell], cell_mm: f64) -> Vec<Vec<&Cell>> {
    let mut side_mm = cell_mm;
    loop {
        let mut groups: BTreeMap<[i64; 3], Vec<&Cell>> = BTreeMap::new();
        for cell in cells {
            let key =
                [cell.point.x, cell.point.y, cell.point.z].map(|value| (value / side_mm).floor() as i64);
            groups.entry(key).or_default().push(cell);
        }
        if groups.len() <= MOST_GROUPS {
            return groups.into_values().collect();
        }
        side_mm *= 1.03 * (groups.len() as f64 / MOST_GROUPS as f64).sqrt();
    }
}

/// Diagonal of the box around the cells: no two are further apart.
pub(super) fn span_mm(cells: &[Cell]) -> f64 {
    let corner = |pick: fn(f64, f64) -> f64| {
        cells.iter().map(|cell| cell.point).reduce(|one, other| {
            Point3::new(pick(one.x, other.x), pick(one.y, other.y), pick(one.z, other.z))
        })
    };
    corner(f64::max).zip(corner(f64::min)).map_or(0.0, |(upper, lower)| (upper - lower).norm())
}

/// Covariances of the groups' means for waves of each length, all in one pass over the pairs of cells.
fn waves(groups: &[Vec<&Cell>], sums: &[f64], lengths_mm: &[f64], most_mm: f64) -> Vec<DMatrix<f64>> {
    let (count, kinds) = (groups.len(), lengths_mm.len());
    let table = table_of(lengths_mm, most_mm);
    let mut result = vec![DMatrix::zeros(count, count); kinds];
    let mut shared = vec![0.0; kinds];
    for one in 0..count {
        for other in 0..=one {
            shared.fill(0.0);
            for (cell, neighbour) in groups[one]
                .iter()
                .flat_map(|cell| groups[other].iter().map(move |neighbour| (cell, neighbour)))
            {
                let place = (cell.point - neighbour.point).norm() / TABLE_MM;
                let index = place as usize;
                let after = (place - index as f64) * cell.weight * neighbour.weight;
                let before = cell.weight * neighbour.weight - after;
                let lower = &table[index * kinds..(index + 1) * kinds];
                let upper = &table[(index + 1) * kinds..(index + 2) * kinds];
                for ((sum, low), high) in shared.iter_mut().zip(lower).zip(upper) {
                    *sum += before * low + after * high;
                }
            }
            for (matrix, sum) in result.iter_mut().zip(&shared) {
                matrix[(one, other)] = sum / (sums[one] * sums[other]);
            }
        }
    }
    result
}

/// Of waves of one length in all directions.
pub(super) fn correlation(length_mm: f64, distance_mm: f64) -> f64 {
    let phase = std::f64::consts::TAU / length_mm * distance_mm;
    if phase > 0.0 { phase.sin() / phase } else { 1.0 }
}

/// Correlation of each length over distance; the lengths of one distance lie together.
fn table_of(lengths_mm: &[f64], most_mm: f64) -> Vec<f64> {
    (0..(most_mm / TABLE_MM) as usize + 3)
        .flat_map(|step| {
            lengths_mm.iter().map(move |length_mm| correlation(*length_mm, TABLE_MM * step as f64))
        })
        .collect()
}

#[cfg(test)]
pub(super) fn line_of_cells(count: u32, step_mm: f64) -> Vec<Cell> {
    (0..count)
        .map(|index| Cell {
            point: Point3::new(f64::from(index) * step_mm, 0.0, 0.0),
            row: nalgebra::Vector6::x(),
            residual_mm: 0.0,
            weight: 4.0,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waves_of_single_cells_are_the_sine_over_its_argument() {
        let parts = NoiseParts::of(&line_of_cells(20, 30.0), 30.0);
        assert_eq!(parts.lengths_mm[0], 60.0);
        // Half a wave apart and a whole one: sin(π)/π = 0; for 75 mm and 30 mm sin(0.8 π)/(0.8 π) = 0.2339.
        assert!(parts.of_waves[0][(1, 0)].abs() < 1e-3 && (parts.of_waves[0][(3, 3)] - 1.0).abs() < 1e-12);
        assert!((parts.of_waves[1][(1, 0)] - 0.2339).abs() < 1e-3, "{}", parts.of_waves[1][(1, 0)]);
        assert_eq!((parts.of_points[0], parts.of_cells[0]), (0.25, 1.0));
    }

    #[test]
    fn groups_add_up_what_their_cells_share() {
        // 640 cells 30 mm apart become groups of two and more; two cells a quarter of a wave apart share 2/π of it.
        let cells = line_of_cells(640, 30.0);
        let parts = NoiseParts::of(&cells, 30.0);
        assert!(parts.rows.nrows() <= MOST_GROUPS);
        let groups = groups_of(&cells, 30.0);
        let (at, length_mm) = (5, parts.lengths_mm[3]);
        let size = groups[at].len() as f64;
        let expected: f64 = groups[at]
            .iter()
            .flat_map(|one| groups[at].iter().map(move |other| (one.point - other.point).norm()))
            .map(|distance_mm| {
                let phase = std::f64::consts::TAU * distance_mm / length_mm;
                if phase > 0.0 { phase.sin() / phase } else { 1.0 }
            })
            .sum::<f64>()
            / (size * size);
        assert!(size > 1.0 && (parts.of_waves[3][(at, at)] - expected).abs() < 1e-3, "{size} {expected}");
        assert!((parts.of_cells[at] - 1.0 / size).abs() < 1e-12);
    }
}
