//! Laws of the whole run: threads do not matter, strangers are refused, points that are no numbers are left out.

use nalgebra::{Point3, Vector3};
use shutline::pipeline::{MeasureError, MeasuredScan, Stage, Unwatched, Watch, measure_scan};
use shutline::plan::{Plan, Side};
use shutline::rehearse::{Rehearsal, rehearse};
use shutline::scan::VecSource;

use crate::recovery::rehearse_truth::bent_plan;

fn scanned() -> (Plan, Vec<Point3<f64>>) {
    let plan = bent_plan(120.0, 900.0, Side::Left);
    let points = rehearse(&plan, &Rehearsal { seed: 3, ..Rehearsal::default() }).unwrap().points;
    (plan, points)
}

fn measured(plan: &Plan, points: &[Point3<f64>]) -> Result<MeasuredScan, MeasureError> {
    measure_scan(&VecSource::from_points(points, None), plan, None, &Unwatched)
}

#[test]
fn the_number_of_threads_changes_no_bit() {
    let (plan, points) = scanned();
    let with_threads = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| measured(&plan, &points).unwrap())
    };
    let (one, four) = (with_threads(1), with_threads(4));
    assert_eq!(one.seams, four.seams);
    assert!(one.seams[0].stations.iter().any(|station| station.reading.gap.is_ok()), "nothing measured");
}

#[test]
fn a_scan_far_from_the_seams_is_refused_with_its_distance() {
    let (plan, points) = scanned();
    let far: Vec<_> = points.iter().map(|point| point + Vector3::new(0.0, 0.0, 3000.0)).collect();
    match measured(&plan, &far) {
        Err(MeasureError::NothingNear { nearest_mm, .. }) => {
            assert!((nearest_mm - 3000.0).abs() < 60.0, "{nearest_mm}");
        }
        other => panic!("expected a refusal, got {other:?}"),
    }
}

#[test]
fn points_that_are_no_numbers_are_counted_and_change_nothing() {
    let (plan, mut points) = scanned();
    let clean = measured(&plan, &points).unwrap();
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        points.push(Point3::new(bad, 0.0, 0.0));
        points.push(Point3::new(10.0, 0.0, bad));
    }
    let soiled = measured(&plan, &points).unwrap();
    assert_eq!(soiled.points_not_finite, 6);
    assert_eq!(soiled.seams, clean.seams);
    let nothing = vec![Point3::new(f64::NAN, 0.0, 0.0); 9];
    assert!(matches!(measured(&plan, &nothing), Err(MeasureError::NothingFinite { points_not_finite: 9 })));
}

/// Stops when a stage begins.
struct StopsAt {
    stage: Stage,
    is_reached: std::sync::atomic::AtomicBool,
}

impl Watch for StopsAt {
    fn begin(&self, stage: Stage) {
        if stage == self.stage {
            self.is_reached.store(true, std::sync::atomic::Ordering::Relaxed);
        }
    }

    fn is_stopped(&self) -> bool {
        self.is_reached.load(std::sync::atomic::Ordering::Relaxed)
    }
}

#[test]
fn a_run_can_be_stopped_at_every_stage() {
    let (plan, points) = scanned();
    for stage in [Stage::Align, Stage::Gather, Stage::Measure, Stage::Judge] {
        let watch = StopsAt { stage, is_reached: false.into() };
        let result = measure_scan(&VecSource::from_points(&points, None), &plan, None, &watch);
        assert!(matches!(result, Err(MeasureError::Stopped)), "{stage:?}");
    }
}
