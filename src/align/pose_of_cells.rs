//! A pose by generalised least squares from all cells, where the variances of the noise are known.
//!
//! In: cells, the variances of single points, of whole cells and of waves of each length. Out: a small movement and its
//! covariance. Units: mm, rad.
//! Method: A. Aitken, Proc. R. Soc. Edinburgh 55, 1935; the covariance of two cells is `Σ s²·sin(kd)/(kd)` over the lengths, as
//! in `correlated_noise`. The variances are learnt from groups of cells, which is cheap; a pose of those groups has a variance
//! that is a quarter larger on a front end, as a group's mean does not know how the surface turns within it.
//! Does not learn variances: see `learnt_noise`.

use nalgebra::DMatrix;

use super::correlated_noise::{correlation, span_mm};
use super::correlated_step::Cell;
use super::learnt_noise::{Movement, whitened};
use crate::geometry::large_cholesky;

/// Step of the table over distance, mm: a hundredth of the shortest wave.
const TABLE_MM: f64 = 0.5;
/// Cells further apart than this, mm, share as much as at this distance: next to nothing.
const FARTHEST_MM: f64 = 2e4;

/// The movement; `None` where the cells do not hold it. Variances as of [`super::learnt_noise::Learnt`].
pub(super) fn pose_of_cells(cells: &[Cell], lengths_mm: &[f64], variances_mm2: &[f64]) -> Option<Movement> {
    let [of_points_mm2, of_cells_mm2, of_waves_mm2 @ ..] = variances_mm2 else { return None };
    let table = table_of(lengths_mm, of_waves_mm2, span_mm(cells));
    let mut covariance = DMatrix::zeros(cells.len(), cells.len());
    for (column, cell) in cells.iter().enumerate() {
        for (row, other) in cells.iter().enumerate().skip(column) {
            let place = (cell.point - other.point).norm() / TABLE_MM;
            let index = (place as usize).min(table.len() - 2);
            let share = (place - index as f64).min(1.0);
            covariance[(row, column)] = table[index] * (1.0 - share) + table[index + 1] * share;
        }
        covariance[(column, column)] += of_points_mm2 / cell.weight + of_cells_mm2;
    }
    let lower = large_cholesky(covariance)?;
    // Columns: the six of the pose, then the residuals.
    let columns = DMatrix::from_fn(cells.len(), 7, |row, column| {
        let cell = &cells[row];
        if column < 6 { cell.row[column] } else { -cell.residual_mm }
    });
    Some(whitened(&lower, columns)?.pose)
}

/// Covariance of all waves together over distance.
fn table_of(lengths_mm: &[f64], variances_mm2: &[f64], most_mm: f64) -> Vec<f64> {
    (0..(most_mm.min(FARTHEST_MM) / TABLE_MM) as usize + 3)
        .map(|step| {
            let at_mm = TABLE_MM * step as f64;
            lengths_mm
                .iter()
                .zip(variances_mm2)
                .map(|(length_mm, variance_mm2)| variance_mm2 * correlation(*length_mm, at_mm))
                .sum()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector6;

    use super::*;
    use crate::align::correlated_noise::line_of_cells;

    /// Two cells, one behind the other, whose residuals are 1 and 3 mm, on a long wave: the plain mean is 2 mm. Only a shift is
    /// asked for; the other five numbers have a quiet cell each, far off.
    #[test]
    fn the_surer_cell_has_the_larger_say_by_its_variance() {
        let mut cells = line_of_cells(7, 30.0);
        for (index, cell) in cells.iter_mut().enumerate() {
            cell.row = Vector6::zeros();
            cell.row[index.saturating_sub(1)] = 1.0;
        }
        (cells[0].residual_mm, cells[1].residual_mm) = (1.0, 3.0);
        (cells[0].weight, cells[1].weight) = (1.0, 4.0);
        let step = |variances: &[f64]| pose_of_cells(&cells, &[600.0], variances).unwrap();
        // Single points of variance 1: weights 1 and 4, so that the residuals' mean is (1 + 3·4)/5 = 2.6, its variance 1/5.
        let points = step(&[1.0, 0.0, 0.0]);
        assert!((points.movement[0] + 2.6).abs() < 1e-12, "{}", points.movement);
        assert!((points.covariance[(0, 0)] - 0.2).abs() < 1e-12);
        // Cells of variance 1 besides: variances 2 and 1.25, weights 0.5 and 0.8: (0.5 + 2.4)/1.3, variance 1/1.3.
        let cells_too = step(&[1.0, 1.0, 0.0]);
        assert!((cells_too.movement[0] + 2.9 / 1.3).abs() < 1e-12, "{}", cells_too.movement);
        assert!((cells_too.covariance[(0, 0)] - 1.0 / 1.3).abs() < 1e-12);
        // A wave of variance w that both share, 30 of 600 mm apart: sin(π/10)/(π/10) = 0.98363. With a = w+1, b = w+1/4 and
        // c = 0.98363 w the mean's variance is (ab − c²)/(a + b − 2c); w = 2: (3·2.25 − 1.96726²)/(5.25 − 3.93452) = 2.18924. The
        // other cells share the wave too, but each has a number of the pose of its own, which takes all that it says.
        let wave = step(&[1.0, 0.0, 2.0]);
        assert!((wave.covariance[(0, 0)] - 2.18924).abs() < 1e-4, "{}", wave.covariance[(0, 0)]);
    }
}
