//! The rotation and shift that take one set of points to another, in least squares, without scale.
//!
//! In: N ≥ 3 point pairs. Out: the pose, residual sums, and what a mirror image would leave. Units: mm.
//! Method: W. Kabsch, Acta Cryst. A32, 1976 and A34, 1978; S. Umeyama, IEEE TPAMI 13(4), 1991 (the sign that keeps a
//! rotation a rotation).
//! Does not reject outliers: see `point_pairs`.

use nalgebra::{Isometry3, Matrix3, Point3, Rotation3, Translation3, UnitQuaternion, Vector3};

/// A pose with what it leaves.
#[derive(Debug, Clone, PartialEq)]
pub struct RigidFit {
    /// `to = pose · from`.
    pub pose: Isometry3<f64>,
    /// Sum of the squared distances left, mm².
    pub sum_sq_mm2: f64,
    /// What the best mirror image would leave, mm².
    pub mirrored_sum_sq_mm2: f64,
    /// Root mean square distance of the `from` points off their best line, mm: near zero is collinear.
    pub off_line_mm: f64,
    /// Root mean square distance of the `from` points off their best plane, mm: near zero, mirroring shows nothing.
    pub off_plane_mm: f64,
    /// The scale that the points would prefer; 1 where the units agree.
    pub free_scale: f64,
}

/// Fits; `None` for fewer than three pairs, unequal numbers, or numbers that are not finite.
#[must_use]
pub fn rigid_fit(from: &[Point3<f64>], to: &[Point3<f64>]) -> Option<RigidFit> {
    if from.len() != to.len() || from.len() < 3 {
        return None;
    }
    let count = from.len() as f64;
    let centre = |points: &[Point3<f64>]| points.iter().map(|p| p.coords).sum::<Vector3<f64>>() / count;
    let (from_centre, to_centre) = (centre(from), centre(to));
    let mut cross = Matrix3::zeros();
    let mut spread = Matrix3::zeros();
    let mut to_spread_mm2 = 0.0;
    for (a, b) in from.iter().zip(to) {
        let (a, b) = (a.coords - from_centre, b.coords - to_centre);
        cross += b * a.transpose();
        spread += a * a.transpose();
        to_spread_mm2 += b.norm_squared();
    }
    if !cross.iter().chain(spread.iter()).all(|value| value.is_finite()) {
        return None;
    }
    let svd = cross.svd(true, true);
    let (u, v_t) = (svd.u?, svd.v_t?);
    let sigma = svd.singular_values;
    let smallest = sigma.imin();
    let handedness = (u.determinant() * v_t.determinant()).signum();
    let mut keep = Vector3::repeat(1.0);
    keep[smallest] = handedness;
    let rotation = Rotation3::from_matrix_unchecked(u * Matrix3::from_diagonal(&keep) * v_t);
    let mut turn = UnitQuaternion::from_rotation_matrix(&rotation);
    turn.renormalize();
    let pose = Isometry3::from_parts(Translation3::from(to_centre - turn * from_centre), turn);
    let traced = sigma.sum() - (1.0 - handedness) * sigma[smallest];
    let mirrored = sigma.sum() - (1.0 + handedness) * sigma[smallest];
    let total = spread.trace() + to_spread_mm2;
    // Summed from the residuals themselves: the closed form loses its digits to cancellation.
    let sum_sq_mm2 = from.iter().zip(to).map(|(a, b)| (pose * a - b).norm_squared()).sum();
    let mut axes = spread.symmetric_eigenvalues().map(|value| value.max(0.0) / count);
    axes.as_mut_slice().sort_by(f64::total_cmp);
    Some(RigidFit {
        pose,
        sum_sq_mm2,
        mirrored_sum_sq_mm2: (total - 2.0 * mirrored).max(0.0),
        off_line_mm: (axes[0] + axes[1]).sqrt(),
        off_plane_mm: axes[0].sqrt(),
        free_scale: if spread.trace() > 0.0 { traced / spread.trace() } else { 1.0 },
    })
}
