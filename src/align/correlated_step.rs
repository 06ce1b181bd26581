//! The last step of a registration, with the scan's correlated noise taken into account.
//!
//! In: the rows of the last step with residual and weight. Out: a small step and its covariance, or none where the scan is
//! too small to show how its noise is correlated. Units: mm, rad.
//! Method: generalised least squares (A. Aitken, 1935; as "kriging with external drift" in N. Cressie, Statistics for
//! Spatial Data, 1993, 3.4): rows are averaged in cells, cells that share a wave then count as one. What the noise is made of
//! says `correlated_noise`, how much of it there is learns `learnt_noise`, and `pose_of_cells` makes the step of it. Scanners
//! bend a surface by a hundredth of a mm over some centimetres to decimetres, which pulls an ordinary fit along. Where the
//! noise's covariance is known and normal, no unbiased estimate does better (the bound of H. Cramér and C. R. Rao is reached);
//! `tests/it/recovery/align_bound.rs` compares.
//! Does not see errors that are longer than the scan: they look like a pose.

use std::collections::BTreeMap;

use nalgebra::{Point3, Vector6};

use super::correlated_noise::NoiseParts;
use super::learnt_noise::{Movement, learnt};
use super::pose_covariance::WeightedRow;
use super::pose_of_cells::pose_of_cells;

/// Cell side, mm; larger where there would be more cells than the most. The step's work goes with their third power.
const CELL_MM: f64 = 30.0;
const MOST_CELLS: usize = 1700;
/// Fewest cells that show a correlation: ten for each number of the pose.
const LEAST_CELLS: usize = 60;
/// Least sum of weights in a cell that counts.
const LEAST_WEIGHT: f64 = 1.0;

/// One cell's weighted means.
pub(super) struct Cell {
    pub point: Point3<f64>,
    pub row: Vector6<f64>,
    pub residual_mm: f64,
    pub weight: f64,
}

/// The step; `variance_mm2` is that of single residuals.
pub(super) fn correlated_step(
    rows: impl Iterator<Item = WeightedRow>,
    variance_mm2: f64,
) -> Option<Movement> {
    let rows: Vec<WeightedRow> = rows.collect();
    let mut cell_mm = CELL_MM;
    let mut cells = cells_of(&rows, cell_mm);
    while cells.len() > MOST_CELLS {
        cell_mm *= 1.1 * (cells.len() as f64 / MOST_CELLS as f64).sqrt();
        cells = cells_of(&rows, cell_mm);
    }
    if cells.len() < LEAST_CELLS {
        return None;
    }
    step_of_cells(&cells, cell_mm, variance_mm2)
}

pub(super) fn step_of_cells(cells: &[Cell], cell_mm: f64, variance_mm2: f64) -> Option<Movement> {
    let parts = NoiseParts::of(cells, cell_mm);
    let learnt = learnt(&parts, variance_mm2)?;
    let found = pose_of_cells(cells, &parts.lengths_mm, &learnt.variances_mm2)?;
    Some(Movement { covariance: learnt.widened(&found.covariance)?, ..found })
}

fn cells_of(rows: &[WeightedRow], cell_mm: f64) -> Vec<Cell> {
    let mut cells: BTreeMap<[i64; 3], Cell> = BTreeMap::new();
    for row in rows {
        let key = [row.point.x, row.point.y, row.point.z].map(|value| (value / cell_mm).floor() as i64);
        let empty = || Cell { point: Point3::origin(), row: Vector6::zeros(), residual_mm: 0.0, weight: 0.0 };
        let cell = cells.entry(key).or_insert_with(empty);
        cell.point += row.point.coords * row.weight;
        cell.row += row.row * row.weight;
        cell.residual_mm += row.residual_mm * row.weight;
        cell.weight += row.weight;
    }
    cells
        .into_values()
        .filter(|cell| cell.weight >= LEAST_WEIGHT)
        .map(|sum| Cell {
            point: sum.point / sum.weight,
            row: sum.row / sum.weight,
            residual_mm: sum.residual_mm / sum.weight,
            weight: sum.weight,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector3;

    use super::*;
    use crate::align::alignment::moment_row;

    /// Points on a sphere of 500 mm, residuals of a known movement and, over one side of it, a broad dent of 0.05 mm.
    fn rows(movement: &Vector6<f64>, dent_mm: f64) -> Vec<WeightedRow> {
        (0..8000)
            .map(|index| {
                // Fibonacci lattice (R. Swinbank, J. Purser, 2006; golden angle).
                let height = 1.0 - 2.0 * (f64::from(index) + 0.5) / 8000.0;
                let turn = f64::from(index) * 2.399_963;
                let flat = (1.0 - height * height).sqrt();
                let normal = Vector3::new(flat * turn.cos(), flat * turn.sin(), height);
                // Not about the sphere's own middle, or a turn would leave nothing.
                let point = Point3::from(normal.component_mul(&Vector3::new(500.0, 300.0, 700.0)));
                let row = moment_row(&point.coords, &normal);
                let dent = dent_mm * (-0.5 * ((point.x - 450.0).powi(2) + point.y.powi(2)) / 1600.0).exp();
                WeightedRow { point, row, residual_mm: dent - row.dot(movement), weight: 1.0 }
            })
            .collect()
    }

    #[test]
    fn a_movement_is_found_exactly_where_nothing_disturbs() {
        let movement = Vector6::new(1e-5, -2e-5, 3e-5, 0.01, -0.02, 0.03);
        let rows = rows(&movement, 0.0);
        let step = correlated_step(rows.iter().copied(), 1e-4).unwrap();
        assert!((step.movement - movement).norm() < 1e-9, "{}", step.movement);
    }

    /// A dent pulls as it would in an ordinary fit, where it pulls by 0.0037 mm: one among hundreds of quiet cells says little of
    /// waves. It must not pull further than the covariance says (chi-squared with six degrees of freedom, 95 %: 12.59).
    #[test]
    fn a_dent_pulls_no_further_than_the_covariance_says() {
        let rows = rows(&Vector6::zeros(), 0.05);
        let step = correlated_step(rows.iter().copied(), 1e-4).unwrap();
        let inverse = step.covariance.try_inverse().unwrap();
        let distance = step.movement.dot(&(inverse * step.movement));
        assert!(distance < 12.59, "{distance}: {}", step.movement);
        // A tenth of the dent's height.
        assert!(step.movement.fixed_rows::<3>(3).norm() < 0.005, "{}", step.movement);
    }
}
