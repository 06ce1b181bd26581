//! Seams found without a hint: on a rehearsed scan the found plan measures as the true plan does; on a real scan of a
//! plate lying on another, where there is a step and no seam, nothing is claimed.

use std::path::Path;

use nalgebra::{Point3, Vector3};
use shutline::files::{open_scan, read_plan};
use shutline::measure::Estimate;
use shutline::pipeline::{Unwatched, measure_scan};
use shutline::plan::{Plan, Side};
use shutline::rehearse::{Faults, Output, Rehearsal, Scanner, rehearse, true_curves};
use shutline::render::{Ink, Label, Language, Shape, found_overview};
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

/// What was measured at a station.
struct Station {
    place: Point3<f64>,
    /// From mid-gap to the datum panel.
    to_datum: Vector3<f64>,
    gap: Estimate,
    flush: Estimate,
}

fn readings(source: &dyn ScanSource, plan: &Plan) -> Vec<Station> {
    let measured = measure_scan(source, plan, None, &Unwatched).unwrap();
    let sides = measured.seams.iter().flat_map(|judged| {
        let side = plan.seam(&judged.seam).unwrap().datum_side;
        judged.stations.iter().map(move |station| (side, station))
    });
    sides
        .filter_map(|(side, station)| {
            let reading = &station.reading;
            let (Ok(gap), Ok(flush)) = (&reading.gap, &reading.flush) else { return None };
            let across = reading.frame.across();
            Some(Station {
                place: reading.frame.origin,
                to_datum: if side == Side::Left { -across } else { across },
                gap: gap.clone(),
                flush: flush.clone(),
            })
        })
        .collect()
}

/// How many stations of one plan agree with the nearest of another within both uncertainties, of how many that have one
/// near. Flush changes its sign where the plans took different panels for the datum.
fn agreeing(got: &[Station], wanted: &[Station]) -> (usize, usize) {
    let distance_mm = |one: &Station, other: &Station| (one.place - other.place).norm();
    let (mut agree, mut compared) = (0, 0);
    for station in got {
        let near = wanted
            .iter()
            .min_by(|one, other| distance_mm(one, station).total_cmp(&distance_mm(other, station)))
            .unwrap();
        if distance_mm(near, station) > 6.0 {
            continue;
        }
        compared += 1;
        let sign = near.to_datum.dot(&station.to_datum).signum();
        let both_mm = |one: &Estimate, other: &Estimate| 2.0 * one.u_mm.hypot(other.u_mm);
        let gap_mm = station.gap.value_mm - near.gap.value_mm;
        let flush_mm = station.flush.value_mm - sign * near.flush.value_mm;
        agree += usize::from(
            gap_mm.abs() <= both_mm(&station.gap, &near.gap)
                && flush_mm.abs() <= both_mm(&station.flush, &near.flush),
        );
    }
    (agree, compared)
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
    let (agree, compared) = agreeing(&readings(&source, &found_plan), &readings(&source, &plan));
    assert!(compared > 15, "{compared} stations compared");
    assert!(agree as f64 >= 0.95 * compared as f64, "{agree} of {compared} stations agree");
}

#[test]
fn the_found_plan_of_the_sample_measures_as_its_own_plan_does() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let plan = read_plan(&folder.join("gannet.seams.toml")).unwrap();
    let source = open_scan(&folder.join("gannet-before.ply"), LengthUnit::Millimetre).unwrap();
    let found = find_seams(source.as_ref(), &TraceSettings::default()).unwrap();
    let found_plan = plan_of(&found, "Found", LengthUnit::Millimetre, plan.scan).unwrap();
    assert_eq!(found_plan.seams.len(), plan.seams.len());
    let (agree, compared) =
        agreeing(&readings(source.as_ref(), &found_plan), &readings(source.as_ref(), &plan));
    // 402 stations; some of the found plan's lie between them.
    assert!(compared > 380, "{compared} stations compared");
    assert!(agree as f64 >= 0.95 * compared as f64, "{agree} of {compared} stations agree");
}

#[test]
fn every_seam_of_the_sample_has_its_number_in_the_overview_and_no_number_lies_on_another() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans/gannet-after.ply");
    let source = open_scan(&path, LengthUnit::Millimetre).unwrap();
    let found = find_seams(source.as_ref(), &TraceSettings::default()).unwrap();
    let picture = found_overview(&found, "the sample", Language::English);
    let rings: Vec<([f64; 2], f64)> = picture
        .shapes
        .iter()
        .filter_map(|shape| match shape {
            Shape::Circle { centre, radius, fill: Some(Ink::Paper), .. } => Some((*centre, *radius)),
            _ => None,
        })
        .collect();
    for (index, (centre, radius)) in rings.iter().enumerate() {
        for (other, size) in &rings[..index] {
            let distance = (centre[0] - other[0]).hypot(centre[1] - other[1]);
            assert!(distance > radius + size, "numbers at {centre:?} and {other:?}");
        }
    }
    for number in 1..=found.seams.len() {
        let text = number.to_string();
        let is_ringed = |label: &Label| {
            let at = label.at;
            rings.iter().any(|(centre, radius)| (centre[0] - at[0]).hypot(centre[1] - at[1]) < *radius)
        };
        let labels = picture.shapes.iter().filter_map(|shape| match shape {
            Shape::Label(label) if label.text == text => Some(label),
            _ => None,
        });
        assert!(labels.into_iter().any(is_ringed), "seam {number} has no number");
    }
}

/// A closed cover all round, which no seam touches.
#[test]
fn what_hides_every_seam_is_left_out_of_the_overview() {
    let (plan, settings, _) = rehearsed();
    let bare = rehearse(&plan, &settings).unwrap().points;
    let sum: Vector3<f64> = bare.iter().map(|point| point.coords).sum();
    let middle = Point3::from(sum / bare.len() as f64);
    // Points 3 mm apart on a sphere, along a spiral (Vogel, Mathematical Biosciences 44, 1979).
    let (radius_mm, count) = (500.0, 350_000);
    let cover = (0..count).map(|index| {
        let height = 1.0 - (2.0 * f64::from(index) + 1.0) / f64::from(count);
        let (sine, cosine) = (f64::from(index) * std::f64::consts::PI * (3.0 - 5.0_f64.sqrt())).sin_cos();
        let ring = (1.0 - height * height).sqrt();
        middle + Vector3::new(ring * cosine, ring * sine, height) * radius_mm
    });
    let covered: Vec<Point3<f64>> = bare.iter().copied().chain(cover).collect();
    for (points, is_hidden) in [(&covered, true), (&bare, false)] {
        // Normals that tell outside from inside: a cover seen from within hides nothing.
        let normals = points.iter().map(|point| {
            let outward = if (point - middle).norm() > 400.0 { point - middle } else { Vector3::z() };
            [outward.x as f32, outward.y as f32, outward.z as f32]
        });
        let source = VecSource::from_points(points, Some(normals.collect()));
        let found = find_seams(&source, &TraceSettings::default()).unwrap();
        assert_eq!(found.seams.len(), 1);
        let picture = found_overview(&found, "the cover", Language::English);
        let labels = picture.shapes.iter().filter_map(|shape| match shape {
            Shape::Label(label) => Some(label.text.as_str()),
            _ => None,
        });
        let texts: Vec<&str> = labels.collect();
        assert_eq!(texts.iter().any(|text| text.contains("left out")), is_hidden, "{texts:?}");
        // Its number stands in a view and in the key.
        assert!(texts.iter().filter(|text| **text == "1").count() > 1, "{texts:?}");
    }
}

/// A mesher may span the gap with slivers from edge to edge.
#[test]
fn a_seam_is_found_in_a_mesh_even_where_the_mesher_bridged_the_gap() {
    let plan = bent_plan(300.0, 900.0, Side::Left);
    for mesh_bridges_gap in [false, true] {
        let settings = Rehearsal {
            scanner: Scanner::ordinary(),
            output: Output { mesh: true, mesh_bridges_gap, ..Output::default() },
            ..Rehearsal::default()
        };
        let scan = rehearse(&plan, &settings).unwrap();
        let source = VecSource::from_triangles(scan.triangles.unwrap());
        let found = find_seams(&source, &TraceSettings::default()).unwrap();
        assert_eq!(found.seams.len(), 1, "bridged: {mesh_bridges_gap}");
        let truth = &true_curves(&plan, &settings).unwrap()[0];
        let off_mm = found.seams[0].points.iter().map(|point| truth.nearest(&point.point).distance_mm);
        // Three times the promised rms.
        let worst_mm = off_mm.fold(0.0, f64::max);
        assert!(worst_mm < 1.5, "{worst_mm}");
        assert!(found.seams[0].length_mm > 0.95 * truth.length_mm(), "{}", found.seams[0].length_mm);
    }
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
