//! What an alignment to a surface must refuse: no surface, no fixed panel, another unit, another car, a part that fits in
//! many ways.

use nalgebra::{Isometry3, Point3};
use shutline::align::{AlignError, AlignSettings, Alignment, Reference, align, align_to_surface};
use shutline::scan::VecSource;

use super::front_end::{Disturbance, ORDINARY, plan, reference_points, scanned};

const SMALL: Disturbance = Disturbance { points: 30_000, missing: 0.0, ..ORDINARY };

fn attempt(points: &[Point3<f64>], has_start: bool) -> Result<Alignment, AlignError> {
    let plan = plan("[align]\nway = 'coarse'\nreference = 'front.ply'");
    let source = VecSource::from_points(&reference_points(200_000), None);
    let reference = Reference::prepare(&source, &plan)?;
    let start = has_start.then_some(Isometry3::identity());
    align_to_surface(
        &VecSource::from_points(points, None),
        &plan,
        &reference,
        start.as_ref(),
        &AlignSettings::default(),
    )
}

#[test]
fn a_scan_in_another_unit_is_named_and_not_aligned() {
    let points = scanned(&SMALL, 1);
    for (factor, unit) in [(1000.0, "\"m\""), (25.4, "\"inch\""), (10.0, "\"cm\"")] {
        let small: Vec<Point3<f64>> = points.iter().map(|point| point / factor).collect();
        let shown = attempt(&small, true).unwrap_err().to_string();
        assert!(shown.contains(unit) && shown.contains("too small"), "{factor}: {shown}");
    }
}

#[test]
fn another_car_is_refused() {
    // A longer, lower, narrower one.
    let other: Vec<Point3<f64>> = scanned(&SMALL, 2)
        .iter()
        .map(|point| {
            Point3::new(point.x * 1.25, point.y * 0.85, point.z * 0.8 + 40.0 * (point.x / 150.0).sin())
        })
        .collect();
    let error = attempt(&other, true).unwrap_err();
    assert!(matches!(error, AlignError::OtherCar { .. } | AlignError::NotFound { .. }), "{error}");
}

#[test]
fn a_patch_that_fits_anywhere_is_refused() {
    let patch: Vec<Point3<f64>> = (0..20_000)
        .map(|index| Point3::new(f64::from(index % 141), f64::from(index / 141), 0.0) * 2.0)
        .collect();
    let error = attempt(&patch, false).unwrap_err();
    let is_refusal = matches!(
        error,
        AlignError::Ambiguous { .. }
            | AlignError::NotFound { .. }
            | AlignError::MirroredSurface { .. }
            | AlignError::WeakSurface { .. }
    );
    assert!(is_refusal, "{error}");
}

#[test]
fn references_and_plans_that_cannot_carry_are_refused() {
    let plan = plan("[align]\nway = 'best-fit'\nreference = 'front.ply'");
    let scan = VecSource::from_points(&scanned(&SMALL, 3), None);
    let settings = AlignSettings::default();
    let none = align(&scan, &plan, None, &settings).unwrap_err();
    assert_eq!(none, AlignError::NoReference { way: "best-fit" });
    let line: Vec<Point3<f64>> = (0..500).map(|index| Point3::new(f64::from(index), 0.0, 0.0)).collect();
    let error = align(&scan, &plan, Some(&VecSource::from_points(&line, None)), &settings).unwrap_err();
    assert!(matches!(error, AlignError::ReferenceWithoutSurface { .. }), "{error}");
    let empty = VecSource::from_points(&[], None);
    let error = align(&scan, &plan, Some(&empty), &settings).unwrap_err();
    assert!(matches!(error, AlignError::ReferenceWithoutSurface { .. }), "{error}");
    let mut loose = plan.clone();
    loose.panels.iter_mut().for_each(|panel| panel.is_fixed = false);
    let reference = VecSource::from_points(&reference_points(100_000), None);
    assert_eq!(align(&scan, &loose, Some(&reference), &settings).unwrap_err(), AlignError::NoFixedPanel);
    let error = align(&empty, &plan, Some(&reference), &settings).unwrap_err();
    assert!(matches!(error, AlignError::ScanWithoutSurface { .. }), "{error}");
}
