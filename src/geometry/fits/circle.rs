//! Circle in a plane with the least sum of squared distances.
//!
//! In: points of a section, mm. Out: centre and radius. Method: start from the linear fit that minimises
//! (|p − c|² − r²)² about the centroid (Kåsa, IEEE Trans. Instrum. Meas. 25, 1976), then Levenberg–Marquardt on the
//! distances (Gander, Golub, Strebel, BIT 34, 1994).
//! Does not see which part of the circle is missing: a short arc gives a large uncertainty, not an error.

use nalgebra::{Matrix3, Point2, SVector, Vector2, Vector3};

use super::least_distance::{minimise, rms_and_worst};

/// A fitted circle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CircleFit {
    pub centre: Point2<f64>,
    pub radius_mm: f64,
    pub rms_mm: f64,
    pub worst_mm: f64,
}

/// Fits a circle; `None` with fewer than three points, or where they lie on a line.
#[must_use]
pub fn fit_circle(points: &[Point2<f64>]) -> Option<CircleFit> {
    let (centre, radius_mm) = algebraic_circle(points)?;
    let size = radius_mm + centre.coords.norm();
    let start = SVector::from([centre.x, centre.y, radius_mm]);
    let found = minimise(start, points.len(), size, &|circle: &SVector<f64, 3>, index| {
        let arm = points[index].coords - Vector2::new(circle[0], circle[1]);
        let length = arm.norm().max(f64::MIN_POSITIVE);
        (length - circle[2], SVector::from([-arm.x / length, -arm.y / length, -1.0]))
    })?;
    let centre = Point2::new(found[0], found[1]);
    let radius_mm = found[2];
    let (rms_mm, worst_mm) = rms_and_worst(points.iter().map(|point| (point - centre).norm() - radius_mm));
    (radius_mm > 0.0).then_some(CircleFit { centre, radius_mm, rms_mm, worst_mm })
}

/// Kåsa's circle.
pub(super) fn algebraic_circle(points: &[Point2<f64>]) -> Option<(Point2<f64>, f64)> {
    if points.len() < 3 {
        return None;
    }
    let count = points.len() as f64;
    let centroid = points.iter().map(|point| point.coords).sum::<Vector2<f64>>() / count;
    let spread = points.iter().map(|point| (point.coords - centroid).norm_squared()).sum::<f64>() / count;
    let scale = spread.sqrt();
    if !(scale > 0.0 && scale.is_finite()) {
        return None;
    }
    let (mut matrix, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for point in points {
        let offset = (point.coords - centroid) / scale;
        let row = Vector3::new(offset.x, offset.y, 1.0);
        matrix += row * row.transpose();
        right += row * offset.norm_squared();
    }
    // On a line the matrix loses its second direction.
    let least = matrix.symmetric_eigenvalues().min();
    if least <= count * 1e-14 {
        return None;
    }
    let solution = matrix.cholesky()?.solve(&right);
    let offset = Vector2::new(solution.x, solution.y) / 2.0;
    let radius_sq = solution.z + offset.norm_squared();
    (radius_sq > 0.0).then(|| (Point2::from(centroid + offset * scale), radius_sq.sqrt() * scale))
}
