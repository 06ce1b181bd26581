//! One weighted Gauss-Newton step of a pose from point-to-plane residuals, with condition and weak direction.
//!
//! In: rows `(arm × n, n)` with residual and weight. Out: the step `(ω, τ)`, the inverse normal matrix, the condition.
//! Units: mm and rad; inside, turns are scaled by the mean arm so that all six numbers are lengths.
//! Method: Y. Chen and G. Medioni, Image and Vision Computing 10(3), 1992 (point to plane); scaling and eigenvalues as
//! in N. Gelfand, S. Rusinkiewicz et al., 3DIM 2003 (stability of a registration).
//! Does not choose weights.

use nalgebra::{Isometry3, Matrix6, Point3, SymmetricEigen, Translation3, UnitQuaternion, Vector3, Vector6};

use super::alignment::moment_row;

/// Sums of the normal equations about a pivot.
#[derive(Debug, Clone)]
pub(super) struct StepSums {
    pivot: Point3<f64>,
    arm_mm: f64,
    normal: Matrix6<f64>,
    right: Vector6<f64>,
}

/// The solved step.
#[derive(Debug, Clone)]
pub(super) struct Step {
    /// `(ω, τ)` about the pivot.
    pub movement: Vector6<f64>,
    /// Inverse of the normal matrix in rad and mm.
    pub inverse: Matrix6<f64>,
    pub condition: f64,
    /// The worst determined direction, in words.
    pub weak_direction: String,
}

impl StepSums {
    /// `arm_mm`: mean distance of the points from the pivot.
    pub fn new(pivot: Point3<f64>, arm_mm: f64) -> Self {
        Self { pivot, arm_mm: arm_mm.max(1e-9), normal: Matrix6::zeros(), right: Vector6::zeros() }
    }

    /// Adds a point (Car frame) that lies `residual_mm` off along the unit `direction`.
    pub fn add(&mut self, point: &Point3<f64>, direction: &Vector3<f64>, residual_mm: f64, weight: f64) {
        let row = moment_row(&((point - self.pivot) / self.arm_mm), direction);
        self.normal.syger(weight, &row, &row, 1.0);
        self.right -= row * (residual_mm * weight);
    }

    /// Solves; `None` where a direction is not determined at all or numbers are not finite.
    pub fn solve(&self) -> Option<Step> {
        let full = Matrix6::from_fn(|row, column| self.normal[(row.max(column), row.min(column))]);
        if !full.iter().chain(self.right.iter()).all(|value| value.is_finite()) {
            return None;
        }
        let eigen = SymmetricEigen::new(full);
        let (weak, least) = eigen.eigenvalues.argmin();
        let most = eigen.eigenvalues.max();
        if most <= 0.0 {
            return None;
        }
        // Rows are of order one, so eigenvalues go with squares of the influence.
        let condition = if least > 0.0 { (most / least).sqrt() } else { f64::INFINITY };
        let weak_direction = name_movement(&eigen.eigenvectors.column(weak).into_owned());
        let mut scaled_inverse = Matrix6::zeros();
        for index in 0..6 {
            let value = eigen.eigenvalues[index].max(most * 1e-30);
            let vector = eigen.eigenvectors.column(index);
            scaled_inverse += vector * vector.transpose() / value;
        }
        let unscale = Matrix6::from_diagonal(&Vector6::new(
            1.0 / self.arm_mm,
            1.0 / self.arm_mm,
            1.0 / self.arm_mm,
            1.0,
            1.0,
            1.0,
        ));
        let movement = unscale * scaled_inverse * self.right;
        Some(Step { movement, inverse: unscale * scaled_inverse * unscale, condition, weak_direction })
    }
}

/// The pose after a small turn `ω` about the pivot and a shift `τ`.
pub(super) fn moved(pose: &Isometry3<f64>, movement: &Vector6<f64>, pivot: &Point3<f64>) -> Isometry3<f64> {
    let turn = UnitQuaternion::from_scaled_axis(Vector3::new(movement[0], movement[1], movement[2]));
    let shift = Vector3::new(movement[3], movement[4], movement[5]);
    let about_pivot = pivot.coords - turn * pivot.coords + shift;
    let mut result = Isometry3::from_parts(Translation3::from(about_pivot), turn) * pose;
    result.rotation.renormalize();
    result
}

/// Centre and mean distance from it.
pub(super) fn pivot_of<'p>(points: impl Iterator<Item = &'p Point3<f64>> + Clone) -> (Point3<f64>, f64) {
    let mut sum = Vector3::zeros();
    let mut count = 0.0;
    for point in points.clone() {
        sum += point.coords;
        count += 1.0;
    }
    if count == 0.0 {
        return (Point3::origin(), 1.0);
    }
    let pivot = Point3::from(sum / count);
    let arm_mm = points.map(|point| (point - pivot).norm()).sum::<f64>() / count;
    (pivot, arm_mm)
}

/// "a shift along z", "a turn about x", from the dominating part of a movement.
fn name_movement(movement: &Vector6<f64>) -> String {
    const AXES: [&str; 3] = ["x", "y", "z"];
    let turn = Vector3::new(movement[0], movement[1], movement[2]);
    let shift = Vector3::new(movement[3], movement[4], movement[5]);
    let (word, vector) =
        if turn.norm() > shift.norm() { ("turn about", turn) } else { ("shift along", shift) };
    let unit = vector.try_normalize(1e-12).unwrap_or_else(Vector3::x);
    let axis = unit.iamax();
    if unit[axis].abs() > 0.95 {
        return format!("a {word} {}", AXES[axis]);
    }
    format!("a {word} ({:.2}, {:.2}, {:.2})", unit.x, unit.y, unit.z)
}
