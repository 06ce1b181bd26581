//! Plane with the least sum of squared distances.
//!
//! In: points, mm. Out: a point and a normal of the plane. Method: centroid and last principal axis (Forbes, NPL
//! report DITC 140/89, 1989, 3.2), by singular value decomposition of the centred points, reduced by QR first.
//! Does not choose which way the normal points.

use nalgebra::{DMatrix, Point3, Vector3};

use super::least_distance::rms_and_worst;

/// A fitted plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneFit {
    /// The centroid of the points, which lies in the plane.
    pub point: Point3<f64>,
    /// Unit vector.
    pub normal: Vector3<f64>,
    pub rms_mm: f64,
    pub worst_mm: f64,
}

impl PlaneFit {
    /// Signed distance of a point, positive on the normal's side, mm.
    #[must_use]
    pub fn distance_mm(&self, point: &Point3<f64>) -> f64 {
        (point - self.point).dot(&self.normal)
    }
}

/// Fits a plane; `None` with fewer than three points, or where they lie on a line.
#[must_use]
pub fn fit_plane(points: &[Point3<f64>]) -> Option<PlaneFit> {
    let axes = principal_axes(points)?;
    if points.len() < 3 || axes.lengths_mm[1] <= axes.lengths_mm[0] * ON_A_LINE {
        return None;
    }
    let normal = axes.directions[2];
    let (rms_mm, worst_mm) = rms_and_worst(points.iter().map(|point| (point - axes.centroid).dot(&normal)));
    Some(PlaneFit { point: axes.centroid, normal, rms_mm, worst_mm })
}

/// Second singular value over the first below which points are a line: rounding of coordinates a metre long.
const ON_A_LINE: f64 = 1e-12;

/// Centroid and principal axes of points, longest first.
pub(super) struct PrincipalAxes {
    pub(super) centroid: Point3<f64>,
    pub(super) directions: [Vector3<f64>; 3],
    /// Singular values: root of the sum of squared coordinates along each axis, mm.
    pub(super) lengths_mm: [f64; 3],
}

/// Principal axes; `None` with fewer than two different points or a coordinate that is not finite.
pub(super) fn principal_axes(points: &[Point3<f64>]) -> Option<PrincipalAxes> {
    let first = points.first()?;
    let count = points.len() as f64;
    let centroid = first + points.iter().map(|point| point - first).sum::<Vector3<f64>>() / count;
    // At least three rows, so that R is 3 × 3.
    let rows = points.len().max(3);
    let centred = DMatrix::from_fn(rows, 3, |row, axis| {
        points.get(row).map_or(0.0, |point| point[axis] - centroid[axis])
    });
    if centred.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let upper = centred.qr().r().fixed_view::<3, 3>(0, 0).into_owned();
    let parts = upper.try_svd(false, true, f64::EPSILON, 0)?;
    let axes = parts.v_t?;
    let mut order = [0, 1, 2];
    order.sort_by(|a, b| parts.singular_values[*b].total_cmp(&parts.singular_values[*a]));
    let directions = order.map(|index| axes.row(index).transpose());
    let lengths_mm = order.map(|index| parts.singular_values[index]);
    (lengths_mm[0] > 0.0).then_some(PrincipalAxes { centroid, directions, lengths_mm })
}
