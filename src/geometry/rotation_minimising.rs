//! Normals that turn about a curve as little as the curve allows.
//!
//! In: places along a curve (mm), their unit tangents, and the first normal. Out: a unit normal at each place.
//! Method: double reflection (Wang, Jüttler, Zheng, Liu, Computation of rotation minimizing frames, ACM TOG 27(1), 2008,
//! table I): reflect the frame in the plane half-way to the next place, then in the one that brings the tangent right.
//! Accuracy: exact on planes and spheres' great circles; elsewhere the twist error falls with the fourth power of the step
//! if the tangents are exact, and with the second if they are differences of the places.
//! Does not make the frame of a closed curve meet itself.

use nalgebra::{Point3, Vector3};

use super::curve::perpendicular_to;

/// Carries `first`, perpendicular to the first tangent, along the curve.
///
/// Shape: N different neighbouring places and N unit tangents; N normals come back (none for N = 0).
#[must_use]
pub fn rotation_minimising_normals(
    positions: &[Point3<f64>],
    tangents: &[Vector3<f64>],
    first: Vector3<f64>,
) -> Vec<Vector3<f64>> {
    let mut normals = Vec::with_capacity(positions.len());
    let mut normal = first;
    for (places, directions) in positions.windows(2).zip(tangents.windows(2)) {
        normals.push(normal);
        let step = places[1] - places[0];
        let reflected_normal = reflect(&normal, &step);
        let reflected_tangent = reflect(&directions[0], &step);
        let next = reflect(&reflected_normal, &(directions[1] - reflected_tangent));
        normal = perpendicular_to(&next, &directions[1]).unwrap_or(normal);
    }
    if !positions.is_empty() {
        normals.push(normal);
    }
    normals
}

/// Mirror image in the plane at right angles to `across`; the vector itself where `across` vanishes.
fn reflect(vector: &Vector3<f64>, across: &Vector3<f64>) -> Vector3<f64> {
    let length_sq = across.norm_squared();
    if length_sq > 1e-24 { vector - across * (2.0 / length_sq * across.dot(vector)) } else { *vector }
}
