//! Sums of points, and the plane through them.
//!
//! In: points (mm). Out: centre, normal and spread along the three principal axes, mm². Shape: one accumulator a cell.
//! Method: second moments about a fixed reference; eigenvalues of the symmetric 3 × 3 matrix in closed form (Smith,
//! Communications of the ACM 4(4), 1961), the normal from the largest cross product of two rows.
//! Does not weight or reject points.

use nalgebra::{Matrix3, Point3, Vector3};

/// Count, sum and second moments of some points about a reference near them.
#[derive(Debug, Clone, Copy, Default)]
pub struct Moments {
    pub count: u32,
    sum: [f64; 3],
    square: [f64; 6],
}

/// Plane through points: the normal is a unit vector of either sign.
#[derive(Debug, Clone, Copy)]
pub struct PlaneFit {
    pub normal: Vector3<f64>,
    /// Variances along the principal axes, smallest first, mm².
    pub variance_mm2: [f64; 3],
}

impl Moments {
    /// Adds a point given relative to the reference.
    pub fn add(&mut self, offset: &Vector3<f64>) {
        self.count += 1;
        for axis in 0..3 {
            self.sum[axis] += offset[axis];
        }
        let (x, y, z) = (offset.x, offset.y, offset.z);
        for (total, value) in self.square.iter_mut().zip([x * x, x * y, x * z, y * y, y * z, z * z]) {
            *total += value;
        }
    }

    /// The sums of places that were counted in whole steps, each place taken as the middle of its step. `square` holds the
    /// sums of xx, xy, xz, yy, yz, zz.
    #[must_use]
    pub fn of_steps(count: u32, sum: [u64; 3], square: [u64; 6], step_mm: f64) -> Self {
        let half = 0.5 * f64::from(count);
        let steps = sum.map(|total| total as f64);
        let pairs = [[0, 0], [0, 1], [0, 2], [1, 1], [1, 2], [2, 2]];
        let square = std::array::from_fn(|index| {
            let [one, two] = pairs[index];
            (square[index] as f64 + 0.5 * (steps[one] + steps[two] + half)) * step_mm * step_mm
        });
        Self { count, sum: steps.map(|total| (total + half) * step_mm), square }
    }

    /// Mean of the points relative to the reference.
    #[must_use]
    pub fn mean(&self) -> Vector3<f64> {
        Vector3::from(self.sum) / f64::from(self.count.max(1))
    }

    /// Mean of the points.
    #[must_use]
    pub fn centre(&self, reference: &Point3<f64>) -> Point3<f64> {
        reference + self.mean()
    }

    /// Covariance matrix of the points.
    #[must_use]
    pub fn covariance(&self) -> Matrix3<f64> {
        let [xx, xy, xz, yy, yz, zz] = self.square;
        let mean = self.mean();
        Matrix3::new(xx, xy, xz, xy, yy, yz, xz, yz, zz) / f64::from(self.count.max(1))
            - mean * mean.transpose()
    }

    /// The plane through the points; `None` for fewer than three of them or for points without extent.
    #[must_use]
    pub fn plane(&self) -> Option<PlaneFit> {
        if self.count < 3 { None } else { principal_plane(&self.covariance()) }
    }
}

/// Axis of least variance of a covariance matrix; `None` where all three are zero or not finite.
#[must_use]
pub fn principal_plane(covariance: &Matrix3<f64>) -> Option<PlaneFit> {
    let variance_mm2 = eigenvalues(covariance)?;
    let normal = eigenvector(covariance, variance_mm2[0])?;
    Some(PlaneFit { normal, variance_mm2 })
}

/// Axis of greatest variance (or of greatest weight in a sum of `n nᵀ`).
#[must_use]
pub fn principal_axis(matrix: &Matrix3<f64>) -> Option<Vector3<f64>> {
    eigenvector(matrix, eigenvalues(matrix)?[2])
}

fn eigenvalues(matrix: &Matrix3<f64>) -> Option<[f64; 3]> {
    let mean = matrix.trace() / 3.0;
    let shifted = matrix - Matrix3::identity() * mean;
    let spread = (shifted.norm_squared() / 6.0).sqrt();
    if !mean.is_finite() || mean <= 0.0 {
        return None;
    }
    if spread < 1e-12 * mean {
        return Some([mean; 3]);
    }
    let half_determinant = (shifted / spread).determinant() / 2.0;
    let angle = half_determinant.clamp(-1.0, 1.0).acos() / 3.0;
    let largest = mean + 2.0 * spread * angle.cos();
    let smallest = mean + 2.0 * spread * (angle + std::f64::consts::TAU / 3.0).cos();
    Some([smallest.max(0.0), 3.0 * mean - largest - smallest, largest])
}

fn eigenvector(matrix: &Matrix3<f64>, value: f64) -> Option<Vector3<f64>> {
    let shifted = matrix - Matrix3::identity() * value;
    let rows = [shifted.row(0).transpose(), shifted.row(1).transpose(), shifted.row(2).transpose()];
    let crosses = [rows[0].cross(&rows[1]), rows[1].cross(&rows[2]), rows[2].cross(&rows[0])];
    let mut best = crosses[0];
    for cross in &crosses[1..] {
        if cross.norm_squared() > best.norm_squared() {
            best = *cross;
        }
    }
    best.try_normalize(1e-300)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_in_whole_steps_are_those_of_the_steps_middles() {
        let places = [[3_u64, 9, 4], [7, 2, 1], [0, 5, 8], [6, 6, 3]];
        let (mut sum, mut square) = ([0; 3], [0; 6]);
        let mut expected = Moments::default();
        for [x, y, z] in places {
            for (total, value) in sum.iter_mut().zip([x, y, z]) {
                *total += value;
            }
            for (total, value) in square.iter_mut().zip([x * x, x * y, x * z, y * y, y * z, z * z]) {
                *total += value;
            }
            expected.add(&(Vector3::new(x as f64 + 0.5, y as f64 + 0.5, z as f64 + 0.5) * 0.25));
        }
        let got = Moments::of_steps(4, sum, square, 0.25);
        assert!((got.mean() - expected.mean()).norm() < 1e-12);
        assert!((got.covariance() - expected.covariance()).norm() < 1e-12);
    }
}
