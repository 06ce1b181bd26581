//! Where the middle of the gap really runs: the plan's curve, shifted and turned a little.
//!
//! In: the plan's curve, how far it may be off, a seed. Out: the true curve with outward normals.
//! Method: the shift has two parts across the curve, each a cosine over about the seam's length with random phase and
//! scaled so that their resultant never exceeds the wanted size; the normal is turned about the curve by a constant
//! angle of at most the wanted size. The true curve's own tangents follow from its shifted points.
//! Does not displace the scan: the whole scan's rigid move is another matter.

use nalgebra::{Point3, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::settings::CurveErrorShape;
use crate::geometry::{Curve, CurveError};

/// Distance between the points through which the true curve is laid, mm.
const KNOT_STEP_MM: f64 = 4.0;

/// Lays the true curve of a seam.
///
/// # Errors
/// The shifted points do not make a curve: the plan's curve bends more sharply than its seam can.
pub fn true_curve(plan_curve: &Curve, error: &CurveErrorShape, seed: u64) -> Result<Curve, CurveError> {
    if error.shift_mm == 0.0 && error.tilt_deg == 0.0 {
        return Ok(plan_curve.clone());
    }
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let length_mm = plan_curve.length_mm();
    let direction_rad = random.random_range(0.0..std::f64::consts::TAU);
    let phase_rad = random.random_range(0.0..std::f64::consts::TAU);
    let tilt_rad = error.tilt_deg.to_radians() * if random.random_bool(0.5) { 1.0 } else { -1.0 };
    let waves = random.random_range(0.3..0.8);
    let count = (length_mm / KNOT_STEP_MM).ceil().max(2.0) as usize;
    let mut points: Vec<Point3<f64>> = Vec::with_capacity(count + 1);
    let mut normals: Vec<Vector3<f64>> = Vec::with_capacity(count + 1);
    for index in 0..=count {
        let share = index as f64 / count as f64;
        let frame = plan_curve.frame_at(length_mm * share);
        // Sweeping between 0.6 and 1 of the wanted size.
        let size_mm =
            error.shift_mm * (0.8 + 0.2 * (phase_rad + std::f64::consts::TAU * waves * share).cos());
        let (sine, cosine) = direction_rad.sin_cos();
        points.push(frame.origin + (frame.across() * cosine + frame.outward * sine) * size_mm);
        normals.push(frame.outward * tilt_rad.cos() + frame.across() * tilt_rad.sin());
    }
    Curve::through(&points, Some(&normals))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_is_off_by_no_more_than_asked_and_by_much_of_it() {
        let points: Vec<Point3<f64>> = (0..=20)
            .map(|step| {
                let angle = f64::from(step) * 0.03;
                Point3::new(900.0 * angle.sin(), 900.0 * angle.cos(), 0.0)
            })
            .collect();
        let normals = vec![Vector3::z(); points.len()];
        let plan_curve = Curve::through(&points, Some(&normals)).unwrap();
        for seed in 0..20 {
            let error = CurveErrorShape { shift_mm: 3.0, tilt_deg: 1.0 };
            let curve = true_curve(&plan_curve, &error, seed).unwrap();
            for share in [0.1, 0.5, 0.9] {
                let frame = curve.frame_at(share * curve.length_mm());
                let foot = plan_curve.nearest(&frame.origin);
                let plan_frame = plan_curve.frame_at(foot.along_mm);
                assert!((1.7..3.01).contains(&foot.distance_mm), "{}", foot.distance_mm);
                let tilt_deg = frame.outward.angle(&plan_frame.outward).to_degrees();
                // The tangent turns too where the shift changes: a hundredth of a degree on this curve.
                assert!((0.98..1.5).contains(&tilt_deg), "{tilt_deg}");
            }
        }
    }
}
