//! Sphere with the least sum of squared distances, of free or of known radius.
//!
//! In: points, mm. Out: centre and radius. Method: linear start about the centroid, then Levenberg–Marquardt on the
//! distances (Forbes, NPL report DITC 140/89, 1989, 3.4).
//! Does not sort out points of the sphere's stand.

use nalgebra::{Matrix4, Point3, SVector, Vector3, Vector4};

use super::least_distance::{minimise, rms_and_worst};

/// A fitted sphere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SphereFit {
    pub centre: Point3<f64>,
    pub radius_mm: f64,
    pub rms_mm: f64,
    pub worst_mm: f64,
}

/// Fits a sphere; `None` with fewer than four points, or where they lie in a plane.
#[must_use]
pub fn fit_sphere(points: &[Point3<f64>]) -> Option<SphereFit> {
    let (centre, radius_mm) = algebraic_sphere(points)?;
    let start = SVector::from([centre.x, centre.y, centre.z, radius_mm]);
    let size = radius_mm + centre.coords.norm();
    let found = minimise(start, points.len(), size, &|sphere: &SVector<f64, 4>, index| {
        let arm = points[index].coords - Vector3::new(sphere[0], sphere[1], sphere[2]);
        let length = arm.norm().max(f64::MIN_POSITIVE);
        let inward = -arm / length;
        (length - sphere[3], SVector::from([inward.x, inward.y, inward.z, -1.0]))
    })?;
    finished(points, Point3::new(found[0], found[1], found[2]), found[3])
}

/// Fits the centre of a sphere whose radius is known, as of a reference ball; `None` as for [`fit_sphere`].
#[must_use]
pub fn fit_sphere_of_radius(points: &[Point3<f64>], radius_mm: f64) -> Option<SphereFit> {
    let (centre, _) = algebraic_sphere(points)?;
    let size = radius_mm + centre.coords.norm();
    let found = minimise(centre.coords, points.len(), size, &|centre: &Vector3<f64>, index| {
        let arm = points[index].coords - centre;
        let length = arm.norm().max(f64::MIN_POSITIVE);
        (length - radius_mm, -arm / length)
    })?;
    finished(points, Point3::from(found), radius_mm)
}

fn finished(points: &[Point3<f64>], centre: Point3<f64>, radius_mm: f64) -> Option<SphereFit> {
    let (rms_mm, worst_mm) = rms_and_worst(points.iter().map(|point| (point - centre).norm() - radius_mm));
    (radius_mm > 0.0).then_some(SphereFit { centre, radius_mm, rms_mm, worst_mm })
}

fn algebraic_sphere(points: &[Point3<f64>]) -> Option<(Point3<f64>, f64)> {
    if points.len() < 4 {
        return None;
    }
    let count = points.len() as f64;
    let centroid = points.iter().map(|point| point.coords).sum::<Vector3<f64>>() / count;
    let spread = points.iter().map(|point| (point.coords - centroid).norm_squared()).sum::<f64>() / count;
    let scale = spread.sqrt();
    if !(scale > 0.0 && scale.is_finite()) {
        return None;
    }
    let (mut matrix, mut right) = (Matrix4::zeros(), Vector4::zeros());
    for point in points {
        let offset = (point.coords - centroid) / scale;
        let row = offset.push(1.0);
        matrix += row * row.transpose();
        right += row * offset.norm_squared();
    }
    let least = matrix.symmetric_eigenvalues().min();
    if least <= count * 1e-14 {
        return None;
    }
    let solution = matrix.cholesky()?.solve(&right);
    let offset = solution.xyz() / 2.0;
    let radius_sq = solution.w + offset.norm_squared();
    (radius_sq > 0.0).then(|| (Point3::from(centroid + offset * scale), radius_sq.sqrt() * scale))
}
