//! Seams found without a hint: on a rehearsed scan the found plan measures as the true plan does; on a real scan of a
//! plate lying on another, where there is a step and no seam, nothing is claimed.

use std::path::Path;

use nalgebra::Point3;
use shutline::files::open_scan;
use shutline::measure::Estimate;
use shutline::pipeline::{Unwatched, measure_scan};
use shutline::plan::{Plan, Side};
use shutline::rehearse::{Faults, Rehearsal, Scanner, rehearse, true_curves};
use shutline::scan::{ScanSource, VecSource};
use shutline::trace::{TraceSettings, find_seams, plan_of, trace_seam};
use shutline::units::LengthUnit;

use super::rehearse_truth::bent_plan;

/// Scan of a small plate on a perforated base plate: openlmd/proper, commit 992b195, `proper_cloud/data`, BSD licence.
/// Metres. The empty strips beside the upper plate are shadow: its edge is not seen turning.
#[test]
fn nothing_is_claimed_on_the_real_plate_on_a_plate() {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/check_values/data/real_plate_on_plate.xyz.gz");
    let source = open_scan(&path, LengthUnit::Metre).unwrap();
    let found = find_seams(source.as_ref(), &TraceSettings::default()).unwrap();
    assert!(found.seams.is_empty(), "{:?}", found.seams);
    let as_millimetres = open_scan(&path, LengthUnit::Millimetre).unwrap();
    assert!(
        find_seams(as_millimetres.as_ref(), &TraceSettings::default()).is_err(),
        "metres taken for millimetres"
    );
}

fn rehearsed() -> (Plan, Rehearsal, VecSource) {
    let plan = bent_plan(300.0, 900.0, Side::Left);
    let settings = Rehearsal {
        scanner: Scanner::ordinary(),
        faults: Faults { stray_share: 0.002, stickers_per_m: 5.0, dropouts_per_m: 5.0, ..Faults::default() },
        ..Rehearsal::default()
    };
    let scan = rehearse(&plan, &settings).unwrap();
    let source = VecSource::from_points(&scan.points, None);
    (plan, settings, source)
}

fn readings(source: &dyn ScanSource, plan: &Plan) -> Vec<(Point3<f64>, Estimate, Estimate)> {
    let measured = measure_scan(source, plan, None, &Unwatched).unwrap();
    let stations = measured.seams.iter().flat_map(|seam| &seam.stations);
    stations
        .filter_map(|station| {
            let reading = &station.reading;
            let (Ok(gap), Ok(flush)) = (&reading.gap, &reading.flush) else { return None };
            Some((reading.frame.origin, gap.clone(), flush.clone()))
        })
        .collect()
}

#[test]
fn a_found_plan_measures_as_the_true_plan_does() {
    let (plan, settings, source) = rehearsed();
    let found = find_seams(&source, &TraceSettings::default()).unwrap();
    let found_plan = plan_of(&found, "Found", LengthUnit::Millimetre, plan.scan).unwrap();
    assert_eq!(found_plan.seams.len(), 1);
    let truth = &true_curves(&plan, &settings).unwrap()[0];
    let curve = &found_plan.seams[0].curve;
    let off_sq: Vec<f64> =
        curve.positions().iter().map(|place| truth.nearest(place).distance_mm.powi(2)).collect();
    let rms_mm = (off_sq.iter().sum::<f64>() / off_sq.len() as f64).sqrt();
    assert!(rms_mm < 0.5, "curve off by {rms_mm} mm rms");
    assert!(curve.length_mm() > 0.95 * truth.length_mm(), "{} of {}", curve.length_mm(), truth.length_mm());

    let wanted = readings(&source, &plan);
    let got = readings(&source, &found_plan);
    assert!(got.len() > 20, "{} stations", got.len());
    // Flush changes its sign with the datum side; the found plan may have chosen the other panel.
    let panels_swapped = {
        let left_is_datum = found_plan.seams[0].datum_side == Side::Left;
        let runs_same = {
            let middle = curve.frame_at(0.5 * curve.length_mm());
            let there = truth.frame_at(truth.nearest(&middle.origin).along_mm);
            middle.along.dot(&there.along) > 0.0
        };
        left_is_datum != runs_same
    };
    let sign = if panels_swapped { -1.0 } else { 1.0 };
    let mut agreeing = 0;
    let mut compared = 0;
    for (place, gap, flush) in &got {
        let near =
            wanted.iter().min_by(|a, b| (a.0 - place).norm().total_cmp(&(b.0 - place).norm())).unwrap();
        if (near.0 - place).norm() > 6.0 {
            continue;
        }
        compared += 1;
        let both = |one: &Estimate, two: &Estimate| 2.0 * one.u_mm.hypot(two.u_mm);
        let gap_agrees = (gap.value_mm - near.1.value_mm).abs() <= both(gap, &near.1);
        let flush_agrees = (flush.value_mm - sign * near.2.value_mm).abs() <= both(flush, &near.2);
        agreeing += usize::from(gap_agrees && flush_agrees);
    }
    assert!(compared > 15, "{compared} stations compared");
    assert!(agreeing as f64 >= 0.95 * compared as f64, "{agreeing} of {compared} stations agree");
}

#[test]
fn a_rehearsed_seam_is_traced_between_rough_points() {
    let (plan, settings, source) = rehearsed();
    let truth = &true_curves(&plan, &settings).unwrap()[0];
    // Clicked up to 9 mm off the gap.
    let rough = |along_mm: f64, side_mm: f64| {
        let frame = truth.frame_at(along_mm);
        frame.origin + frame.across() * side_mm
    };
    let traced =
        trace_seam(&source, &rough(20.0, 9.0), &[], &rough(280.0, -9.0), &TraceSettings::default()).unwrap();
    let length_mm = traced.curve().unwrap().length_mm();
    assert!((length_mm - 260.0).abs() < 8.0, "{length_mm}");
    let worst_mm =
        traced.points.iter().map(|point| truth.nearest(&point.point).distance_mm).fold(0.0, f64::max);
    // Three times the promised rms.
    assert!(worst_mm < 1.5, "{worst_mm}");
}
