//! Frames along curves against what double reflection promises (Wang, Jüttler, Zheng, Liu, ACM TOG 27(1), 2008).
//!
//! Truth by closed form: along a helix of curvature κ and torsion τ, the rotation-minimising normal turns against the
//! Frenet normal by −τ times the distance (same paper, section 2).

use nalgebra::{Point3, Vector3};
use shutline::geometry::{Curve, rotation_minimising_normals};

const RADIUS_MM: f64 = 40.0;
const RISE_MM: f64 = 30.0;

/// Length of the helix for one radian.
fn pace_mm() -> f64 {
    RADIUS_MM.hypot(RISE_MM)
}

fn place(turn_rad: f64) -> Point3<f64> {
    Point3::new(RADIUS_MM * turn_rad.cos(), RADIUS_MM * turn_rad.sin(), RISE_MM * turn_rad)
}

fn tangent(turn_rad: f64) -> Vector3<f64> {
    Vector3::new(-RADIUS_MM * turn_rad.sin(), RADIUS_MM * turn_rad.cos(), RISE_MM) / pace_mm()
}

fn frenet_normal(turn_rad: f64) -> Vector3<f64> {
    Vector3::new(-turn_rad.cos(), -turn_rad.sin(), 0.0)
}

/// The normal that started as the Frenet normal at 0 and has not turned about the tangent since.
fn exact_normal(turn_rad: f64) -> Vector3<f64> {
    let torsion = RISE_MM / pace_mm().powi(2);
    let angle = -torsion * turn_rad * pace_mm();
    let (normal, binormal) = (frenet_normal(turn_rad), tangent(turn_rad).cross(&frenet_normal(turn_rad)));
    normal * angle.cos() + binormal * angle.sin()
}

const WHOLE_TURN_RAD: f64 = 4.0;

fn twist_error(steps: usize) -> f64 {
    let turns: Vec<f64> = (0..=steps).map(|step| WHOLE_TURN_RAD * step as f64 / steps as f64).collect();
    let places: Vec<_> = turns.iter().map(|turn| place(*turn)).collect();
    let tangents: Vec<_> = turns.iter().map(|turn| tangent(*turn)).collect();
    let normals = rotation_minimising_normals(&places, &tangents, frenet_normal(0.0));
    (normals[steps] - exact_normal(WHOLE_TURN_RAD)).norm()
}

#[test]
fn the_twist_error_falls_with_the_fourth_power_of_the_step() {
    for steps in [10, 20, 40] {
        let order = (twist_error(steps) / twist_error(2 * steps)).log2();
        assert!((3.8..4.3).contains(&order), "order {order} at {steps} steps");
    }
}

#[test]
fn a_curve_through_points_carries_the_same_frame() {
    let count = 200;
    let turns: Vec<f64> =
        (0..=count).map(|step| WHOLE_TURN_RAD * f64::from(step) / f64::from(count)).collect();
    let places: Vec<_> = turns.iter().map(|turn| place(*turn)).collect();
    let curve = Curve::through(&places, None).unwrap().with_first_outward(&frenet_normal(0.0)).unwrap();
    for turn in &turns[..] {
        let frame = curve.frame_at(turn * pace_mm());
        // Tangents are differences over 1 mm: their slope errs by (1 mm / 50 mm)²/6, and the twist over 4 rad by some
        // multiple of that.
        assert!((frame.outward - exact_normal(*turn)).norm() < 5e-4, "{turn}: {:?}", frame.outward);
        assert!(frame.outward.dot(&frame.along).abs() < 1e-12);
        assert!((frame.outward.norm() - 1.0).abs() < 1e-12);
        assert!((frame.origin - place(*turn)).norm() < 2e-3, "{turn}: {:?}", frame.origin);
    }
}

#[test]
fn frames_of_a_flat_curve_do_not_turn_out_of_it() {
    let places: Vec<_> = (0..60)
        .map(|step| Point3::new(f64::from(step) * 3.0, (f64::from(step) * 0.2).sin() * 20.0, 5.0))
        .collect();
    let curve = Curve::through(&places, None).unwrap().with_first_outward(&Vector3::z()).unwrap();
    for index in 0..curve.positions().len() {
        assert!((curve.sample_frame(index).outward - Vector3::z()).norm() < 1e-12, "sample {index}");
    }
}
