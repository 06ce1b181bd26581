//! How a scan's noise is correlated along the surface, from what a registration leaves.
//!
//! In: cells with rows of the pose, residuals and weights. Out: a [`CorrelatedNoise`]. Units: mm, mm².
//! Method: every correlation that depends on distance alone is a mixture of `sin(kd)/(kd)`, the waves of one length in all
//! directions (I. Schoenberg, Ann. Math. 39, 1938). Products of residuals, sorted by distance, are fitted by such a mixture
//! and independent noise with variances that are not negative. The fitted pose swallows part of the noise, the more the longer
//! the wave: what is fitted is each part's share of the *residuals*, not of the noise, so that variances come out without bias
//! (C. R. Rao, J. Multivariate Anal. 1, 1971, "MINQUE").
//! Does not know directions, nor waves that are too long to be told from a pose.

use nalgebra::{DMatrix, DVector, Matrix6, Vector6};

use super::correlated_step::Cell;
use crate::statistics::nonnegative_least_squares;

/// Shortest wave in cells, as sampling theory has it (C. Shannon, 1949); the next is longer by the ratio.
const SHORTEST_CELLS: f64 = 2.0;
const RATIO: f64 = 1.2;
/// Longest wave relative to the largest distance: longer ones are bent by a part of a wave only and look like a pose.
const LONGEST: f64 = 0.4;
/// Products are sorted into bins of this width up to a share of the largest distance, mm.
const BIN_MM: f64 = 10.0;
const BINNED: f64 = 0.35;
/// Step of the tables over distance, mm: a hundredth of the shortest wave.
const TABLE_MM: f64 = 0.5;

/// Independent noise and waves.
#[derive(Debug)]
pub(super) struct CorrelatedNoise {
    /// Variance of one independent residual.
    pub white_mm2: f64,
    /// Covariance over distance, in steps of [`TABLE_MM`].
    table_mm2: Vec<f64>,
}

impl CorrelatedNoise {
    /// Covariance of two places, without independent noise.
    pub fn shared_mm2(&self, distance_mm: f64) -> f64 {
        looked_up(&self.table_mm2, distance_mm)
    }
}

fn looked_up(table: &[f64], distance_mm: f64) -> f64 {
    let place = distance_mm / TABLE_MM;
    let index = (place as usize).min(table.len() - 2);
    table[index] + (table[index + 1] - table[index]) * (place - index as f64)
}

fn wave_table(length_mm: f64, most_mm: f64) -> Vec<f64> {
    let number = std::f64::consts::TAU / length_mm;
    let steps = (most_mm / TABLE_MM) as usize + 2;
    let wave = |phase: f64| if phase > 0.0 { phase.sin() / phase } else { 1.0 };
    (0..steps).map(|step| wave(number * TABLE_MM * step as f64)).collect()
}

/// The noise of the cells' residuals; `None` where the rows do not hold a pose or no wave is found.
pub(super) fn noise_of(cells: &[Cell], cell_mm: f64) -> Option<CorrelatedNoise> {
    let pairs = Pairs::of(cells);
    let fit = PoseFit::of(cells)?;
    let longest_mm = LONGEST * pairs.most_mm;
    let lengths_mm: Vec<f64> =
        std::iter::successors(Some(SHORTEST_CELLS * cell_mm), |length_mm| Some(length_mm * RATIO))
            .take_while(|length_mm| *length_mm <= longest_mm)
            .collect();
    let tables: Vec<Vec<f64>> =
        lengths_mm.iter().map(|length_mm| wave_table(*length_mm, pairs.most_mm)).collect();
    let mut columns: Vec<Vec<f64>> = tables.iter().map(|table| pairs.left_of_wave(table, &fit)).collect();
    columns.push(pairs.left_of_white(cells, &fit));
    let products = pairs.sorted(|one, other| fit.residuals_mm[one] * fit.residuals_mm[other]);
    let variances_mm2 = mixture(&columns, &products, &pairs.counts())?;
    let (white_mm2, waves_mm2) = variances_mm2.split_last()?;
    let steps = tables.first()?.len();
    let table_mm2: Vec<f64> = (0..steps)
        .map(|step| tables.iter().zip(waves_mm2).map(|(table, share)| share * table[step]).sum())
        .collect();
    (table_mm2[0] > 0.0).then_some(CorrelatedNoise { white_mm2: *white_mm2, table_mm2 })
}

/// Variances of the columns that explain the products best, each bin in units of what chance makes of it.
fn mixture(columns: &[Vec<f64>], products: &[f64], counts: &[f64]) -> Option<Vec<f64>> {
    let dot = |one: &[f64], other: &[f64]| -> f64 {
        one.iter()
            .zip(other)
            .zip(counts)
            .filter(|(_, count)| **count > 0.0)
            .map(|((a, b), n)| a * b / n)
            .sum()
    };
    // To the size of one each, or lengths would differ by their weights.
    let sizes: Vec<f64> = columns.iter().map(|column| dot(column, column).sqrt().max(1e-30)).collect();
    let count = columns.len();
    let normal = DMatrix::from_fn(count, count, |row, column| {
        dot(&columns[row], &columns[column]) / (sizes[row] * sizes[column])
    });
    let right = DVector::from_fn(count, |row, _| dot(&columns[row], products) / sizes[row]);
    let found = nonnegative_least_squares(&normal, &right)?;
    Some(found.iter().zip(&sizes).map(|(value, size)| value / size).collect())
}

/// The pose by weighted least squares: `M = 1 − B Xᵂᵀ` makes residuals of values.
struct PoseFit {
    /// `X (Xᵀ W X)⁻¹`.
    gains: Vec<Vector6<f64>>,
    /// `W X`.
    weighted: Vec<Vector6<f64>>,
    residuals_mm: Vec<f64>,
}

impl PoseFit {
    fn of(cells: &[Cell]) -> Option<Self> {
        let weighted: Vec<Vector6<f64>> = cells.iter().map(|cell| cell.row * cell.weight).collect();
        let normal: Matrix6<f64> =
            cells.iter().zip(&weighted).map(|(cell, weighted)| weighted * cell.row.transpose()).sum();
        let inverse = normal.cholesky()?.inverse();
        let right: Vector6<f64> =
            cells.iter().zip(&weighted).map(|(cell, weighted)| weighted * cell.residual_mm).sum();
        let movement = inverse * right;
        Some(Self {
            gains: cells.iter().map(|cell| inverse * cell.row).collect(),
            residuals_mm: cells.iter().map(|cell| cell.residual_mm - cell.row.dot(&movement)).collect(),
            weighted,
        })
    }
}

/// Distances of all pairs of cells, and the bin of each.
struct Pairs {
    count: usize,
    /// Of pair (one, other < one), row by row.
    distances_mm: Vec<f64>,
    most_mm: f64,
    bins: usize,
}

impl Pairs {
    fn of(cells: &[Cell]) -> Self {
        let distances_mm: Vec<f64> = cells
            .iter()
            .enumerate()
            .flat_map(|(index, one)| cells[..index].iter().map(|other| (one.point - other.point).norm()))
            .collect();
        let most_mm = distances_mm.iter().copied().fold(BIN_MM, f64::max);
        Self { count: cells.len(), distances_mm, most_mm, bins: (BINNED * most_mm / BIN_MM) as usize + 2 }
    }

    /// Sums over the pairs of each bin; the first bin holds each cell with itself.
    fn sorted(&self, value: impl Fn(usize, usize) -> f64) -> Vec<f64> {
        let mut sums = vec![0.0; self.bins];
        let mut distances_mm = self.distances_mm.iter();
        for one in 0..self.count {
            for (other, distance_mm) in distances_mm.by_ref().take(one).enumerate() {
                if let Some(sum) = sums.get_mut((distance_mm / BIN_MM) as usize + 1) {
                    *sum += value(one, other);
                }
            }
            sums[0] += value(one, one);
        }
        sums
    }

    fn counts(&self) -> Vec<f64> {
        self.sorted(|_, _| 1.0)
    }

    /// Expected products of residuals, binned, of waves of unit variance: of `M S Mᵀ`.
    fn left_of_wave(&self, table: &[f64], fit: &PoseFit) -> Vec<f64> {
        let mut spread = fit.weighted.clone();
        let mut distances_mm = self.distances_mm.iter();
        for one in 0..self.count {
            for (other, distance_mm) in distances_mm.by_ref().take(one).enumerate() {
                let shared = looked_up(table, *distance_mm);
                spread[one] += fit.weighted[other] * shared;
                spread[other] += fit.weighted[one] * shared;
            }
        }
        let mut shares = self.sorted_waves(table);
        for (share, taken) in shares.iter_mut().zip(self.taken_by_pose(&spread, fit)) {
            *share -= taken;
        }
        shares
    }

    fn sorted_waves(&self, table: &[f64]) -> Vec<f64> {
        let mut sums = vec![0.0; self.bins];
        sums[0] = self.count as f64;
        for distance_mm in &self.distances_mm {
            if let Some(sum) = sums.get_mut((distance_mm / BIN_MM) as usize + 1) {
                *sum += looked_up(table, *distance_mm);
            }
        }
        sums
    }

    /// The same of independent noise of unit variance: `S` is `1/weight` on the diagonal.
    fn left_of_white(&self, cells: &[Cell], fit: &PoseFit) -> Vec<f64> {
        let spread: Vec<Vector6<f64>> = cells.iter().map(|cell| cell.row).collect();
        let taken = self.taken_by_pose(&spread, fit);
        let mut shares: Vec<f64> = taken.iter().map(|taken| -taken).collect();
        shares[0] += cells.iter().map(|cell| 1.0 / cell.weight).sum::<f64>();
        shares
    }

    /// Binned `B Qᵀ + Q Bᵀ − B T Bᵀ` with `Q = S W X` and `T = (W X)ᵀ Q`.
    fn taken_by_pose(&self, spread: &[Vector6<f64>], fit: &PoseFit) -> Vec<f64> {
        let twice: Matrix6<f64> =
            fit.weighted.iter().zip(spread).map(|(weighted, spread)| weighted * spread.transpose()).sum();
        let halved: Vec<Vector6<f64>> =
            spread.iter().zip(&fit.gains).map(|(spread, gain)| spread - twice * gain * 0.5).collect();
        self.sorted(|one, other| fit.gains[one].dot(&halved[other]) + halved[one].dot(&fit.gains[other]))
    }
}
