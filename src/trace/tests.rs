//! Finding on made-up sheets whose truth is exact: recall, precision, curve, junctions and labels.

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

fn score(sheet: &Sheet, found: &FoundSeams, points: &[Point3<f64>], scene_from_scan: &nalgebra::Isometry3<f64>) -> Score {
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
    let hit = truth.iter().filter(|place| {
        all.iter().any(|found| (found.xy() - place.xy()).norm() < 2.0)
    });
    let junctions: Vec<Point3<f64>> = found.junctions.iter().map(|place| scene_from_scan * place).collect();
    let shown = sheet.junctions.iter().filter(|[x, y]| !(sheet.is_cut_off)(x + 20.0, y + 20.0));
    let junction_mm = shown.map(|[x, y]| {
        junctions.iter().map(|place| (place.x - x).hypot(place.y - y)).fold(999.0, f64::min)
    });
    Score {
        recall: hit.count() as f64 / truth.len().max(1) as f64,
        precision: near.len() as f64 / off.len().max(1) as f64,
        rms_mm: (near.iter().map(|distance| distance * distance).sum::<f64>() / near.len().max(1) as f64).sqrt(),
        junction_mm: junction_mm.fold(0.0, f64::max),
        labels: label_share(sheet, found, points, scene_from_scan),
        panels: found.panels.len(),
    }
}

/// Share of points whose panel is the one that most points of their true panel got, one panel each.
fn label_share(sheet: &Sheet, found: &FoundSeams, points: &[Point3<f64>], scene_from_scan: &nalgebra::Isometry3<f64>) -> f64 {
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

#[test]
#[ignore = "the whole table of bodies and faults; two minutes"]
fn table_by_body_and_fault() {
    println!("body        fault        recall  precision  rms mm  junction mm  labels  seams panels");
    let wanted = std::env::var("ONLY").unwrap_or_default();
    for (body, sheet) in test_scene::bodies() {
        for (fault, spoil) in test_scene::faults() {
            if !format!("{body} {fault}").contains(&wanted) { continue; }
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
            if !wanted.is_empty() {
        for seam in &found.seams {
            println!("    {} {:.0} mm width {:.1} trust {:.2} panels {:?} nodes {:?} {:?}->{:?}", seam.name, seam.length_mm, seam.width_mm, seam.trust, seam.panels, seam.nodes, (pose().inverse()*seam.points[0].point).coords.as_slice(), (pose().inverse()*seam.points.last().unwrap().point).coords.as_slice());
        }
        for r in &found.rejected {
            println!("    rejected {:?} {} pts at {:?} to {:?}", r.why, r.points.len(), (pose().inverse()*r.points[0].point).coords.as_slice(), (pose().inverse()*r.points.last().unwrap().point).coords.as_slice());
        }
        }
        }
    }
}

#[test]
fn experiment_plate() {
    let text = std::fs::read_to_string("/work/shared/scans/plate-on-plate/downsampled.xyz").unwrap();
    let points: Vec<Point3<f64>> = text.lines().filter_map(|line| {
        let v: Vec<f64> = line.split_whitespace().filter_map(|w| w.parse().ok()).collect();
        (v.len() >= 3).then(|| Point3::new(v[0], v[1], v[2]) * 1000.0)
    }).collect();
    let found = find_seams(&VecSource::from_points(&points, None), &TraceSettings::default()).unwrap();
    for seam in &found.seams {
            println!("    {} {:.0} mm width {:.1} trust {:.2} panels {:?} nodes {:?} {:?}->{:?}", seam.name, seam.length_mm, seam.width_mm, seam.trust, seam.panels, seam.nodes, seam.points[0].point.coords.as_slice(), (seam.points.last().unwrap().point).coords.as_slice());
    }
    for r in &found.rejected {
        println!("    rejected {:?} {} pts", r.why, r.points.len());
    }
    println!("panels {:?}", found.panels);
}

#[test]
fn experiment_speed() {
    let mut sheet = test_scene::bodies()[0].1.clone();
    sheet.spacing_mm = 0.17;
    let points = sheet.points();
    println!("{} points", points.len());
    let source = VecSource::from_points(&points, None);
    let start = std::time::Instant::now();
    let survey = survey::survey(&source, &TraceSettings::default()).unwrap();
    println!("survey {:?} cells {} wanted {}", start.elapsed(), survey.data.len(), survey.wanted.iter().filter(|w| **w).count());
    let close = hems::look_closer(&source, &survey).unwrap();
    println!("close {:?} {} hems {}", start.elapsed(), close.points.len(), close.hems.len());
    let beads = facing::find_beads(&close, &survey, &TraceSettings::default());
    println!("beads {:?} {}", start.elapsed(), beads.len());
    let start = std::time::Instant::now();
    let found = find_seams(&source, &TraceSettings::default()).unwrap();
    println!("all {:?} {}", start.elapsed(), found.seams.len());
}
