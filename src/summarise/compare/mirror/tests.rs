//! Left against right on made-up seams whose difference is known by construction.

use nalgebra::{Point3, Vector3};

use super::*;
use crate::frames::CarAxes;
use crate::plan::{AdviceTerms, AlignTerms, CarTerms, DecisionRule, PanelId, ScanTerms, Side, Zone};
use crate::summarise::compare::{ChangeVerdict, Trend};
use crate::summarise::test_seams::{judged, seam};
use crate::units::LengthUnit;

/// A straight seam of 1 m along x at y = `y_mm`, from x = `from_mm` towards larger or smaller x.
fn placed(id: &str, y_mm: f64, from_mm: f64, forwards: bool, datum_side: Side) -> Seam {
    let step = if forwards { 1000.0 } else { -1000.0 };
    let points = [Point3::new(from_mm, y_mm, 0.0), Point3::new(from_mm + step, y_mm, 0.0)];
    Seam {
        id: SeamId(id.to_owned()),
        title: id.to_owned(),
        datum_panel: PanelId(format!("{id}-datum")),
        datum_side,
        curve: Curve::through(&points, Some(&[Vector3::z(), Vector3::z()])).unwrap(),
        ..seam()
    }
}

fn plan_with(seams: Vec<Seam>, car: Option<CarTerms>) -> Plan {
    Plan {
        title: "Both sides".to_owned(),
        units: LengthUnit::Millimetre,
        scan: ScanTerms { units: LengthUnit::Millimetre, accuracy_mm: 0.02, smoothing_mm: None },
        panels: Vec::new(),
        seams,
        decision: DecisionRule::default(),
        align: AlignTerms::default(),
        advice: AdviceTerms::default(),
        car,
        finish: crate::plan::FinishTerms::default(),
        lineups: Vec::new(),
    }
}

/// y to the left, as in ISO 8855; the right seam runs the other way and its stations lie between the left's.
fn both_sides(car: Option<CarTerms>) -> Plan {
    let left = placed("hood-fender-left", 600.0, 0.0, true, Side::Left);
    let right = placed("hood-fender-right", -600.0, 1003.0, false, Side::Left);
    plan_with(vec![left, right], car)
}

fn compared(plan: &Plan, scan: &[JudgedSeam]) -> Result<MirroredScan, MirrorError> {
    compare_mirrored(plan, scan, &CompareSettings::default())
}

#[test]
fn the_right_is_read_at_the_mirrored_places_of_the_left() {
    let plan = both_sides(None);
    // The same taper on both sides, told from the same end: left 4 + x/1000, right 4.5 + x/1000, where x = 1003 - along.
    let scan = [
        judged(&plan.seams[0], |along| Some(4.0 + along / 1000.0), |_| Some(0.1)),
        judged(&plan.seams[1], |along| Some(4.5 + (1003.0 - along) / 1000.0), |_| Some(0.1)),
    ];
    let found = compared(&plan, &scan).unwrap();
    let seam = &found.comparison.seams[0];
    assert_eq!((found.comparison.seams.len(), seam.seam.0.as_str()), (1, "hood-fender-left"));
    // The fitted plane lies half-way; curves end 3 mm apart, which bends nothing.
    assert!(found.plane.is_fitted && found.plane.left_of_mm(&Point3::new(0.0, 600.0, 0.0)) > 599.0);
    for station in &seam.gap.stations {
        let change = station.change.as_ref().unwrap();
        // Linear values are interpolated exactly; the plane's slant (1.5 mm over 600 mm at most) moves places by < 4 mm.
        assert!((change.value_mm - 0.5).abs() < 0.004, "{station:?}");
        assert_eq!((station.verdict, station.trend), (ChangeVerdict::Real, Trend::Worse));
    }
    assert_eq!(seam.flush.verdict, ChangeVerdict::NoChange);
    assert!(found.comparison.moves.is_empty());
}

#[test]
fn interpolation_never_states_less_uncertainty() {
    let plan = both_sides(None);
    let scan = plan.seams.iter().map(|seam| judged(seam, |_| Some(4.0), |_| Some(0.0))).collect::<Vec<_>>();
    let found = compared(&plan, &scan).unwrap();
    for station in &found.sides[1][0].stations {
        let gap = station.reading.gap.as_ref().unwrap();
        // Both neighbours have u = 0.05.
        assert!((gap.u_mm - 0.05).abs() < 1e-12, "{gap:?}");
    }
}

#[test]
fn flush_from_the_opposite_panel_changes_its_sign() {
    let mut plan = both_sides(None);
    plan.seams[1].datum_side = Side::Right;
    plan.seams[1].zones = vec![Zone {
        from_mm: 0.0,
        to_mm: 2000.0,
        gap: None,
        flush: Some(Tolerance { nominal_mm: -0.4, minus_mm: 0.1, plus_mm: 0.3 }),
    }];
    // The left's datum is outboard, the right's is the hood: +0.4 on the left is -0.4 on the right.
    let scan = [
        judged(&plan.seams[0], |_| Some(4.0), |_| Some(0.4)),
        judged(&plan.seams[1], |_| Some(4.0), |_| Some(-0.4)),
    ];
    let found = compared(&plan, &scan).unwrap();
    let mean = found.comparison.seams[0].flush.mean.clone().unwrap();
    assert!(mean.value_mm.abs() < 1e-9, "{mean:?}");
    let limits = found.sides[1][0].stations[3].flush_tolerance;
    assert!((limits.lower_mm() - 0.1).abs() < 1e-12 && (limits.upper_mm() - 0.5).abs() < 1e-12, "{limits:?}");
}

#[test]
fn the_plans_plane_and_pairs_are_used_and_checked() {
    let axes = CarAxes::facing(&Vector3::x(), &Vector3::z()).unwrap();
    let car = |middle_mm, pairs: &[[&str; 2]]| {
        let pairs = pairs.iter().map(|pair| pair.map(|id| SeamId(id.to_owned()))).collect();
        Some(CarTerms { axes, middle_mm, pairs })
    };
    let scan_of = |plan: &Plan| -> Vec<JudgedSeam> {
        plan.seams.iter().map(|seam| judged(seam, |_| Some(4.0), |_| Some(0.0))).collect()
    };
    let plan = both_sides(car(Some(2.0), &[]));
    let found = compared(&plan, &scan_of(&plan)).unwrap();
    assert!(!found.plane.is_fitted && (found.plane.offset_mm - 2.0).abs() < 1e-12);
    assert!((found.plane.unevenness_mm - 4.0).abs() < 0.2, "{}", found.plane.unevenness_mm);
    let plan = both_sides(car(Some(40.0), &[]));
    assert!(matches!(compared(&plan, &scan_of(&plan)), Err(MirrorError::NotMirrored { .. })));
    let swapped = both_sides(car(None, &[["hood-fender-right", "hood-fender-left"]]));
    assert!(matches!(compared(&swapped, &scan_of(&swapped)), Err(MirrorError::SidesSwapped { .. })));
    let alone = plan_with(vec![placed("hood-cowl", 600.0, 0.0, true, Side::Left)], None);
    assert_eq!(compared(&alone, &scan_of(&alone)), Err(MirrorError::NoPairs));
    let named = plan_with(
        vec![placed("a", 600.0, 0.0, true, Side::Left), placed("b", -600.0, 1000.0, false, Side::Left)],
        car(Some(0.0), &[["a", "b"]]),
    );
    assert_eq!(compared(&named, &scan_of(&named)).unwrap().pairs.len(), 1);
    let unseen: Vec<JudgedSeam> = named.seams.iter().map(|seam| judged(seam, |_| None, |_| None)).collect();
    assert_eq!(compared(&named, &unseen), Err(MirrorError::NothingInCommon));
}
