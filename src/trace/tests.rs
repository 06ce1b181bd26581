//! Finding on made-up sheets whose truth is exact: recall, precision, curve, junctions and labels.

#![expect(clippy::print_stdout, reason = "the recovery table is there to be read")]

use nalgebra::{Point3, Rotation3, Vector3};

use super::test_scene::Sheet;
use super::*;
use crate::scan::VecSource;

/// Shares and errors of one trial.
#[derive(Debug)]
struct Score {
    recall: f64,
    precision: f64,
    rms_mm: f64,
    junction_mm: f64,
    labels: f64,
    panels: usize,
}

fn score(
    sheet: &Sheet,
    found: &FoundSeams,
    points: &[Point3<f64>],
    scene_from_scan: &nalgebra::Isometry3<f64>,
) -> Score {
    let lines: Vec<Vec<Point3<f64>>> = found
        .seams
        .iter()
        .map(|seam| {
            let curve = tracer::curve_through(&seam.points).unwrap();
            curve.positions().iter().map(|place| scene_from_scan * place).collect()
        })
        .collect();
    let all: Vec<Point3<f64>> = lines.iter().flatten().copied().collect();
    let off: Vec<f64> = all.iter().map(|place| sheet.off_groove_mm(place)).collect();
    let near: Vec<f64> = off.iter().copied().filter(|distance| *distance < 2.0).collect();
    let truth = sheet.groove_samples();
    let hit = truth.iter().filter(|place| all.iter().any(|found| (found.xy() - place.xy()).norm() < 2.0));
    let junctions: Vec<Point3<f64>> =
        found.junctions.iter().map(|junction| scene_from_scan * junction.point).collect();
    let shown = sheet.junctions.iter().filter(|[x, y]| !(sheet.is_cut_off)(x + 20.0, y + 20.0));
    let junction_mm = shown
        .map(|[x, y]| junctions.iter().map(|place| (place.x - x).hypot(place.y - y)).fold(999.0, f64::min));
    Score {
        recall: hit.count() as f64 / truth.len().max(1) as f64,
        precision: near.len() as f64 / off.len().max(1) as f64,
        rms_mm: (near.iter().map(|distance| distance * distance).sum::<f64>() / near.len().max(1) as f64)
            .sqrt(),
        junction_mm: junction_mm.fold(0.0, f64::max),
        labels: label_share(sheet, found, points, scene_from_scan),
        panels: found.panels.len(),
    }
}

/// Share of points whose panel is the one that most points of their true panel got, one panel each.
fn label_share(
    sheet: &Sheet,
    found: &FoundSeams,
    points: &[Point3<f64>],
    scene_from_scan: &nalgebra::Isometry3<f64>,
) -> f64 {
    let mut table = std::collections::BTreeMap::<(usize, Option<usize>), usize>::new();
    let mut total = 0;
    for point in points.iter().step_by(7) {
        let place = scene_from_scan * point;
        // Strays belong to no panel.
        if (place.z - sheet.skin(place.x, place.y)).abs() > 8.0 {
            continue;
        }
        total += 1;
        *table.entry(((sheet.panel_at)(place.x, place.y), found.panel_of(point))).or_default() += 1;
    }
    let mut pairs: Vec<((usize, Option<usize>), usize)> = table.into_iter().collect();
    pairs.sort_by_key(|pair| std::cmp::Reverse(pair.1));
    let (mut truths, mut labels, mut right) = (Vec::new(), Vec::new(), 0);
    for ((truth, label), count) in pairs {
        if label.is_some() && !truths.contains(&truth) && !labels.contains(&label) {
            truths.push(truth);
            labels.push(label);
            right += count;
        }
    }
    f64::from(right as u32) / f64::from(total.max(1))
}

fn pose() -> nalgebra::Isometry3<f64> {
    nalgebra::Isometry3::from_parts(
        Vector3::new(800.0, -350.0, 420.0).into(),
        Rotation3::from_euler_angles(0.5, -0.9, 1.7).into(),
    )
}

fn trial(sheet: &Sheet) -> (Score, FoundSeams) {
    let scan_from_scene = pose();
    let points: Vec<Point3<f64>> = sheet.points().iter().map(|point| scan_from_scene * point).collect();
    let found = find_seams(&VecSource::from_points(&points, None), &TraceSettings::default()).unwrap();
    (score(sheet, &found, &points, &scan_from_scene.inverse()), found)
}

/// The promises of the table: recall, precision, curve, junctions, labels.
fn assert_good(case: &str, score: &Score) {
    assert!(score.recall >= 0.95, "{case}: {score:?}");
    assert!(score.precision >= 0.95, "{case}: {score:?}");
    assert!(score.rms_mm <= 0.5, "{case}: {score:?}");
    assert!(score.junction_mm <= 3.0, "{case}: {score:?}");
    assert!(score.labels >= 0.98, "{case}: {score:?}");
}

fn check_cases(is_wanted: impl Fn(&str, &str) -> bool) {
    println!("body        fault        recall  precision  rms mm  junction mm  labels  seams panels");
    for (body, sheet) in test_scene::bodies() {
        for (fault, spoil) in test_scene::faults().into_iter().filter(|(fault, _)| is_wanted(body, fault)) {
            let mut spoilt = sheet.clone();
            spoil(&mut spoilt);
            let (score, found) = trial(&spoilt);
            println!(
                "{body:11} {fault:12} {:6.3} {:10.3} {:7.3} {:12.2} {:7.3} {:6} {:6}",
                score.recall,
                score.precision,
                score.rms_mm,
                score.junction_mm,
                score.labels,
                found.seams.len(),
                score.panels
            );
            assert_good(&format!("{body}, {fault}"), &score);
        }
    }
}

#[test]
#[ignore = "the whole table of bodies and faults: two minutes"]
fn table_by_body_and_fault() {
    check_cases(|_, _| true);
}

#[test]
fn seams_are_found_on_each_body_with_one_fault_each() {
    let cases = [
        ("coupe", "partial"),
        ("truck", "none"),
        ("flush", "stickers"),
        ("door", "tape"),
        ("old fender", "noise 0.06"),
        ("tailgate", "strays"),
    ];
    check_cases(|body, fault| cases.contains(&(body, fault)));
}

#[test]
fn what_is_no_seam_is_not_claimed() {
    let mut sheet = Sheet::plain(500.0, 320.0);
    sheet.creases = vec![[180.0, 0.5]];
    sheet.holes = vec![[90.0, 60.0, 5.0], [90.0, 160.0, 15.0]];
    sheet.slots = vec![vec![[250.0, 60.0], [450.0, 60.0]]];
    sheet.badges = vec![[300.0, 150.0, 420.0, 158.0]];
    sheet.tapes = vec![[250.0, 220.0, 450.0, 245.0]];
    sheet.stickers = vec![[220.0, 280.0, 6.0]];
    let (score, found) = trial(&sheet);
    assert!(found.seams.is_empty(), "{:?}", found.seams);
    assert_eq!(score.panels, 1);
    assert!(
        found.rejected.iter().any(|candidate| candidate.why == Rejection::OnePanel),
        "the slot has a reason"
    );
}

#[test]
fn left_and_right_seams_of_the_coupe_are_twins() {
    let coupe = test_scene::bodies()[0].1.clone();
    let (_, found) = trial(&coupe);
    let twins = found.seams.iter().filter(|seam| seam.twin.is_some()).count();
    assert_eq!(twins, 4, "two pairs beside the hood and the grille; the cross seam has no twin");
}

#[test]
fn names_and_a_plan_come_back_by_position() {
    let coupe = test_scene::bodies()[0].1.clone();
    let (_, mut found) = trial(&coupe);
    assert!(matches!(found.give_names(&[(9, "x".to_owned())]), Err(NameError::NoSuchSeam { .. })));
    assert!(matches!(found.give_names(&[(1, "Hood!".to_owned())]), Err(NameError::BadName { .. })));
    found.give_names(&[(2, "hood-fender-left".to_owned())]).unwrap();
    let terms = crate::plan::ScanTerms {
        units: crate::units::LengthUnit::Millimetre,
        accuracy_mm: 0.03,
        smoothing_mm: None,
    };
    let plan = plan_of(&found, "Found", crate::units::LengthUnit::Millimetre, terms).unwrap();
    assert_eq!(plan.seams.len(), 5);
    let left = plan.seam(&crate::plan::SeamId("hood-fender-left".to_owned())).unwrap();
    assert!((left.gap.tolerance.nominal_mm - 4.0).abs() < 0.6);
    let middle = left.curve.frame_at(0.5 * left.curve.length_mm()).origin;

    // Another scan of the same car, less of it: numbers change, the name stays.
    let mut partial = coupe;
    partial.seed = 2;
    partial.is_cut_off = |_, y| y < 120.0;
    let (_, mut again) = trial(&partial);
    again.keep_names(&plan);
    let same = again.seams.iter().find(|seam| seam.name == "hood-fender-left").unwrap();
    let distance_mm =
        same.points.iter().map(|point| (point.point - middle).norm()).fold(f64::INFINITY, f64::min);
    assert!(distance_mm < 5.0, "{distance_mm}");
    let names: std::collections::BTreeSet<&str> = again.seams.iter().map(|seam| seam.name.as_str()).collect();
    assert_eq!(names.len(), again.seams.len());
}
