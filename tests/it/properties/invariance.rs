//! What must not change a reading: where the car stands, the order of the points, left and right, the unit.

use nalgebra::{Isometry3, Point3, Vector3};
use shutline::geometry::Curve;
use shutline::pipeline::{Unwatched, measure_scan};
use shutline::plan::{Plan, Side};
use shutline::rehearse::{Faults, Rehearsal, Scanner, rehearse};
use shutline::scan::VecSource;

use crate::recovery::rehearse_truth::bent_plan;

/// Band points are kept as f32 offsets of up to some 200 mm, that is to 0.01 µm; the fits stop at 0.01 µm steps.
const SAME_MM: f64 = 0.000_5;

fn scanned() -> (Plan, Vec<Point3<f64>>) {
    let plan = bent_plan(150.0, 900.0, Side::Left);
    let wish = Rehearsal {
        seed: 5,
        scanner: Scanner::ordinary(),
        faults: Faults::ordinary(),
        ..Rehearsal::default()
    };
    let points = rehearse(&plan, &wish).unwrap().points;
    (plan, points)
}

/// Gap and flush of each station; `None` where unseen.
fn readings(plan: &Plan, points: &[Point3<f64>]) -> Vec<[Option<f64>; 2]> {
    let measured = measure_scan(&VecSource::from_points(points, None), plan, None, &Unwatched).unwrap();
    measured.seams[0]
        .stations
        .iter()
        .map(|station| {
            [&station.reading.gap, &station.reading.flush]
                .map(|value| value.as_ref().ok().map(|value| value.value_mm))
        })
        .collect()
}

fn with_curve(
    plan: &Plan,
    change: impl Fn(&Point3<f64>) -> Point3<f64>,
    turn: impl Fn(&Vector3<f64>) -> Vector3<f64>,
) -> Plan {
    let mut changed = plan.clone();
    let old = &plan.seams[0].curve;
    let samples = old.positions().len();
    let points: Vec<Point3<f64>> = old.positions().iter().map(change).collect();
    let normals: Vec<Vector3<f64>> =
        (0..samples).map(|index| turn(&old.sample_frame(index).outward)).collect();
    changed.seams[0].curve = Curve::through(&points, Some(&normals)).unwrap();
    changed
}

fn check_same(before: &[[Option<f64>; 2]], after: &[[Option<f64>; 2]]) {
    assert_eq!(before.len(), after.len());
    assert!(before.iter().filter(|station| station[0].is_some()).count() > before.len() / 2);
    for (index, (old, new)) in before.iter().zip(after).enumerate() {
        for (old, new) in old.iter().zip(new) {
            match (old, new) {
                (Some(old), Some(new)) => {
                    assert!((old - new).abs() < SAME_MM, "station {index}: {old} became {new}")
                }
                (None, None) => {}
                other => panic!("station {index}: {other:?}"),
            }
        }
    }
}

#[test]
fn a_car_that_stands_elsewhere_reads_the_same() {
    let (plan, points) = scanned();
    let same = with_curve(&plan, |point| *point, |normal| *normal);
    let pose = Isometry3::new(Vector3::new(820.0, -410.0, 300.0), Vector3::new(0.7, -1.1, 0.4));
    let moved = with_curve(&plan, |point| pose * point, |normal| pose * normal);
    let moved_points: Vec<_> = points.iter().map(|point| pose * point).collect();
    check_same(&readings(&same, &points), &readings(&moved, &moved_points));
}

#[test]
fn the_order_of_the_points_does_not_matter() {
    let (plan, points) = scanned();
    let backwards: Vec<_> = points.iter().rev().copied().collect();
    check_same(&readings(&plan, &points), &readings(&plan, &backwards));
}

#[test]
fn a_mirrored_car_with_sides_exchanged_reads_the_same() {
    let (plan, points) = scanned();
    let same = with_curve(&plan, |point| *point, |normal| *normal);
    let flip = |vector: &Vector3<f64>| Vector3::new(vector.x, -vector.y, vector.z);
    let flip_point = |point: &Point3<f64>| Point3::from(flip(&point.coords));
    let mut mirrored = with_curve(&plan, flip_point, flip);
    mirrored.seams[0].datum_side = Side::Right;
    let mirrored_points: Vec<_> = points.iter().map(flip_point).collect();
    check_same(&readings(&same, &points), &readings(&mirrored, &mirrored_points));
}
