//! Whole bodies: their truth against brute force on dense points, and against moves whose effect is known.

use nalgebra::{Vector2, Vector3};
use shutline::geometry::CurveFrame;
use shutline::plan::Side;
use shutline::rehearse::body::{
    BodyKind, BodySettings, PANEL_IDS, PanelMove, RehearsedBody, Relief, body, design, read_body,
};

use super::rehearse_truth::{brute_edge, brute_skin};

fn coarse(mut settings: BodySettings) -> BodySettings {
    settings.spacings_mm = [10.0, 10.0, 10.0];
    settings
}

fn hood_moved(shift_mm: [f64; 3], turn_deg: [f64; 3]) -> BodySettings {
    let mut settings = coarse(BodySettings::default());
    settings.moves.insert("hood".to_owned(), PanelMove { shift_mm, turn_deg });
    settings
}

fn seam_rows<'a>(scan: &'a RehearsedBody, id: &str) -> Vec<&'a shutline::rehearse::TruthRow> {
    scan.truth.iter().filter(|row| row.seam.0 == id).collect()
}

#[test]
fn an_unmoved_body_has_its_nominal_gaps_and_no_flush() {
    for kind in BodyKind::ALL {
        let scan = body(kind, &coarse(BodySettings::default())).unwrap();
        assert_eq!((scan.plan.panels.len(), scan.plan.seams.len(), scan.junctions.len()), (7, 10, 4));
        for row in &scan.truth {
            // The outlines are laid out in surface coordinates, which are sheared where nose meets fender.
            let gap_mm = row.gap_mm.unwrap();
            let nominal_mm = row.gap_tolerance.nominal_mm;
            let is_sheared = row.seam.0.starts_with("nose");
            assert!(is_sheared || (gap_mm - nominal_mm).abs() < 0.35, "{kind:?} {} {gap_mm}", row.seam);
            // Both panels continue the same surface.
            assert!(row.flush_mm.abs() < 1e-7, "{kind:?} {} {}", row.seam, row.flush_mm);
        }
    }
}

#[test]
fn a_moved_hood_changes_its_seams_as_it_must_and_no_other() {
    let still = body(BodyKind::Coupe, &coarse(BodySettings::default())).unwrap();
    let raised = body(BodyKind::Coupe, &hood_moved([0.0, 0.0, 1.0], [0.0; 3])).unwrap();
    let to_the_right = body(BodyKind::Coupe, &hood_moved([0.0, 1.0, 0.0], [0.0; 3])).unwrap();
    for (shift, moved) in [(Vector3::z(), &raised), (Vector3::y(), &to_the_right)] {
        for (row, after) in still.truth.iter().zip(&moved.truth) {
            let seam = still.plan.seam(&row.seam).unwrap();
            if !row.seam.0.starts_with("hood") {
                assert_eq!((row.gap_mm, row.flush_mm), (after.gap_mm, after.flush_mm));
                continue;
            }
            // The hood is the other panel of all its seams; across runs from left to right.
            let frame = seam.curve.frame_at(row.along_mm);
            let from_datum = if seam.datum_side == Side::Left { frame.across() } else { -frame.across() };
            let gap_change_mm = after.gap_mm.unwrap() - row.gap_mm.unwrap();
            let flush_change_mm = after.flush_mm - row.flush_mm;
            // To first order in the move; the section turns and slides by hundredths of it.
            assert!((gap_change_mm - shift.dot(&from_datum)).abs() < 0.03, "{} {gap_change_mm}", row.seam);
            assert!(
                (flush_change_mm - shift.dot(&frame.outward)).abs() < 0.03,
                "{} {flush_change_mm}",
                row.seam
            );
        }
    }
}

#[test]
fn body_truth_agrees_with_brute_force() {
    let mut settings = hood_moved([0.6, -0.8, 0.9], [0.1, -0.15, 0.08]);
    let bump = Relief::Bump { a_mm: 600.0, b_mm: -480.0, width_mm: 150.0, height_mm: 1.5 };
    settings.reliefs.insert("fender-left".to_owned(), vec![bump]);
    for (kind, id, fraction) in [
        (BodyKind::Coupe, "hood-fender-left", 0.5),
        (BodyKind::OldCar, "hood-fender-right", 0.3),
        (BodyKind::Roadster, "hood-cowl", 0.7),
        (BodyKind::Van, "hood-nose", 0.4),
    ] {
        let scan = body(kind, &settings).unwrap();
        let rows = seam_rows(&scan, id);
        let row = rows[(fraction * rows.len() as f64) as usize];
        let design = design(kind, &settings);
        let seam = design.seams.iter().find(|seam| seam.id == id).unwrap();
        let panels = [&design.panels[seam.datum], &design.panels[seam.other]];
        // The section frame: its own gap and flush must be those of the truth.
        let plan_seam = scan.plan.seams.iter().find(|seam| seam.id.0 == id).unwrap();
        let plan_frame = plan_seam.curve.frame_at(row.along_mm);
        let run_mm = seam.line.run_mm(&nearest_place(&scan, &row.point));
        let reading = read_body(&design.surface, panels, &seam.line, run_mm, &row.point, &plan_frame.along);
        assert!((reading.gap_mm - row.gap_mm.unwrap()).abs() < 1e-6);
        let across = reading.along.cross(&reading.outward);
        let middle = nalgebra::center(&reading.edges[0], &reading.edges[1]);
        let to_middle = (middle - reading.origin).dot(&across);
        let frame = CurveFrame {
            origin: reading.origin + across * to_middle,
            along: reading.along,
            outward: reading.outward,
        };
        let towards = (reading.edges[1] - reading.edges[0]).dot(&frame.across()).signum();
        let sides = [(0, towards), (1, -towards)].map(|(panel, sign)| {
            let near = nearest_place(&scan, &row.point);
            let (mut points, mut skin) = (Vec::new(), Vec::new());
            let steps = 1400_i32;
            for step in 0..steps * 30 {
                let (i, j) = (step % steps, step / steps);
                // ±1.5 mm along the seam, ±42 mm across it, in the surface's coordinates.
                let (x, y) = (0.06 * f64::from(i - steps / 2), 0.1 * f64::from(j - 15));
                let along_car = matches!(seam.line, shutline::rehearse::body::Line::Along { .. });
                let place = near + if along_car { Vector2::new(y, x) } else { Vector2::new(x, y) };
                if let Some(point) = panels[panel].point(&design.surface, &place) {
                    let local = frame.local(&point.position);
                    let local = Vector3::new(local.x * sign, local.y, local.z);
                    points.push(local);
                    if point.hem_rad == 0.0 {
                        skin.push(local);
                    }
                }
            }
            points.retain(|point| point.y.abs() < 1.5);
            (brute_edge(&points), brute_skin(&skin))
        });
        let gap_mm = -(sides[0].0.0 + sides[1].0.0);
        let flush_mm = sides[1].1.0 - sides[0].1.0;
        // What is left is the truncation of the brute-force patches.
        assert!((gap_mm - row.gap_mm.unwrap()).abs() < 0.001, "{id} gap {gap_mm} {:?}", row.gap_mm);
        assert!((flush_mm - row.flush_mm).abs() < 0.001, "{id} flush {flush_mm} {}", row.flush_mm);
        assert!(sides[0].1.1.abs() < 2e-4, "{id}: the datum is not level: {}", sides[0].1.1);
    }
}

/// Surface coordinates near a point of the nominal body, by Newton steps from the best of a coarse net.
fn nearest_place(scan: &RehearsedBody, point: &nalgebra::Point3<f64>) -> Vector2<f64> {
    let surface = &scan.design.surface;
    let [a_mm, b_mm] = surface.extent_mm();
    let mut best = (f64::INFINITY, Vector2::zeros());
    for step in 0..120 * 120 {
        let share = |index: i32, [low, high]: [f64; 2]| low + (high - low) * f64::from(index) / 120.0;
        let place = Vector2::new(share(step % 120, a_mm), share(step / 120, b_mm));
        let distance_mm = (surface.patch(place.x, place.y, &[]).point - point).norm();
        if distance_mm < best.0 {
            best = (distance_mm, place);
        }
    }
    let mut place = best.1;
    for _ in 0..30 {
        let patch = surface.patch(place.x, place.y, &[]);
        let miss = point - patch.point;
        place += Vector2::new(patch.along_a.dot(&miss), patch.along_b.dot(&miss)) * 0.7;
    }
    place
}

#[test]
fn every_point_of_a_body_lies_on_its_panel_and_seeds_repeat() {
    let settings = BodySettings { has_distractors: true, ..coarse(BodySettings::default()) };
    let scan = body(BodyKind::Coupe, &settings).unwrap();
    assert_eq!(scan, body(BodyKind::Coupe, &settings).unwrap());
    assert_eq!(scan.points.len(), scan.panel_of_point.len());
    for panel in 0..PANEL_IDS.len() as u16 {
        let count = scan.panel_of_point.iter().filter(|index| **index == panel).count();
        assert!(count > 100, "{}: {count}", PANEL_IDS[usize::from(panel)]);
    }
}
