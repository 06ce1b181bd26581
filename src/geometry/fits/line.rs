//! Straight line in space with the least sum of squared distances.
//!
//! In: points, mm. Out: a point and a direction of the line. Method: centroid and first principal axis
//! (Forbes, NPL report DITC 140/89, 1989, 3.1), by singular value decomposition of the centred points.
//! Does not choose which way the direction runs.

use nalgebra::{Point3, Vector3};

use super::least_distance::rms_and_worst;
use super::plane::principal_axes;

/// A fitted line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineFit {
    /// The centroid of the points, which lies on the line.
    pub point: Point3<f64>,
    /// Unit vector.
    pub direction: Vector3<f64>,
    pub rms_mm: f64,
    pub worst_mm: f64,
}

/// Fits a line; `None` with fewer than two points, or where no direction is longest.
#[must_use]
pub fn fit_line(points: &[Point3<f64>]) -> Option<LineFit> {
    let axes = principal_axes(points)?;
    let direction = axes.directions[0];
    if axes.lengths_mm[0] <= axes.lengths_mm[1] {
        return None;
    }
    let (rms_mm, worst_mm) = rms_and_worst(points.iter().map(|point| {
        let offset = point - axes.centroid;
        (offset - direction * offset.dot(&direction)).norm()
    }));
    Some(LineFit { point: axes.centroid, direction, rms_mm, worst_mm })
}
