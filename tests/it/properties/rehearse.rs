//! Properties of the virtual scanner: seeds, spacing, noise, visibility, displacement, meshes.

use proptest::prelude::*;
use shutline::plan::Side;
use shutline::rehearse::{
    CurveErrorShape, Displacement, Faults, Output, PanelShape, Rehearsal, Scanner, SeamShape, displacement,
    rehearse,
};

use crate::recovery::rehearse_truth::bent_plan;

fn everything(seed: u64) -> Rehearsal {
    Rehearsal {
        seed,
        shape: SeamShape { width_mm: 25.0, ..SeamShape::default() },
        scanner: Scanner { spacing_mm: 0.8, ..Scanner::ordinary() },
        faults: Faults { stickers_per_m: 40.0, dropouts_per_m: 20.0, ..Faults::ordinary() },
        curve_error: CurveErrorShape { shift_mm: 3.0, tilt_deg: 1.0 },
        output: Output { normals: true, ..Output::default() },
        ..Rehearsal::default()
    }
}

#[test]
fn the_same_seed_gives_the_same_scan_and_another_seed_another() {
    let plan = bent_plan(100.0, 900.0, Side::Left);
    let scan = rehearse(&plan, &everything(5)).unwrap();
    assert_eq!(scan, rehearse(&plan, &everything(5)).unwrap());
    assert_ne!(scan.points, rehearse(&plan, &everything(6)).unwrap().points);
}

#[test]
fn noise_has_the_standard_deviation_asked_for_along_the_normals() {
    let plan = bent_plan(100.0, 900.0, Side::Left);
    let quiet =
        Rehearsal { scanner: Scanner { spacing_mm: 0.5, ..Scanner::default() }, ..Rehearsal::default() };
    let exact = rehearse(
        &plan,
        &Rehearsal { output: Output { normals: true, ..Output::default() }, ..quiet.clone() },
    )
    .unwrap();
    let normals = exact.normals.unwrap();
    for (white_mm, correlated_mm) in [(0.02, 0.0), (0.0, 0.02), (0.02, 0.015)] {
        let mut noisy = quiet.clone();
        noisy.scanner.correlated_noise_mm = correlated_mm;
        noisy.scanner.correlated_length_mm = 3.0;
        noisy.scanner.white_noise_mm = white_mm;
        // White noise draws random numbers and so moves the jitter; a mesh has none.
        noisy.output.mesh = true;
        let mut still = quiet.clone();
        still.output = Output { mesh: true, normals: true, ..Output::default() };
        let (noisy, still) = (rehearse(&plan, &noisy).unwrap(), rehearse(&plan, &still).unwrap());
        let normals = still.normals.as_ref().unwrap();
        assert_eq!(noisy.points.len(), still.points.len());
        let sum: f64 = noisy
            .points
            .iter()
            .zip(&still.points)
            .zip(normals)
            .map(|((noisy, still), normal)| {
                let along: f64 = (0..3).map(|axis| (noisy - still)[axis] * f64::from(normal[axis])).sum();
                along * along
            })
            .sum();
        let sd_mm = (sum / noisy.points.len() as f64).sqrt();
        let expected_mm = f64::hypot(white_mm, correlated_mm);
        // 14,000 mm² hold some 500 patches of 9π mm²: their sd is good to 3 % (one sigma).
        assert!((sd_mm / expected_mm - 1.0).abs() < 0.1, "{sd_mm} for {expected_mm}");
    }
    assert!(normals.iter().all(|n| (n.iter().map(|v| f64::from(v * v)).sum::<f64>() - 1.0).abs() < 1e-5));
}

#[test]
fn a_deep_narrow_gap_hides_its_edges_and_a_wide_one_shows_them() {
    let plan = bent_plan(60.0, 900.0, Side::Left);
    let with_gap = |gap_mm: f64, hem_radius_mm: f64| {
        let panel = PanelShape { hem_radius_mm, ..PanelShape::default() };
        let shape = SeamShape {
            gap_mm: Some(shutline::rehearse::Along::Constant(gap_mm)),
            datum: panel.clone(),
            other: panel,
            ..SeamShape::default()
        };
        let settings = Rehearsal {
            shape,
            scanner: Scanner { spacing_mm: 2.0, ..Scanner::default() },
            ..Rehearsal::default()
        };
        rehearse(&plan, &settings).unwrap().truth[2].clone()
    };
    assert!(with_gap(6.0, 2.0).is_visible());
    assert!(!with_gap(0.3, 4.0).is_visible());
    // With a wide gap the view at 40° sees a hem to 75° from its line of sight: 75 + 40 = 115.
    assert!((with_gap(20.0, 2.0).arc_seen_rad[0].to_degrees() - 115.0).abs() < 2.0);
}

#[test]
fn a_mesh_faces_outwards_and_covers_both_panels_without_bridging() {
    let plan = bent_plan(40.0, 900.0, Side::Right);
    let mut settings = everything(3);
    settings.faults = Faults::default();
    settings.scanner = Scanner { spacing_mm: 0.8, ..Scanner::default() };
    settings.output.mesh = true;
    let scan = rehearse(&plan, &settings).unwrap();
    let triangles = scan.triangles.unwrap();
    assert!(triangles.len() as f64 > 1.8 * scan.points.len() as f64);
    let longest = |triangles: &[shutline::scan::Triangle]| {
        triangles
            .iter()
            .flat_map(|t| [(t[0] - t[1]).norm(), (t[1] - t[2]).norm(), (t[2] - t[0]).norm()])
            .fold(0.0, f64::max)
    };
    assert!(longest(&triangles) < 2.0);
    settings.output.mesh_bridges_gap = true;
    assert!(longest(&rehearse(&plan, &settings).unwrap().triangles.unwrap()) > 3.0);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, ..ProptestConfig::default() })]

    #[test]
    fn a_displaced_scan_is_the_same_scan_moved_and_its_truth_stays(
        shift in prop::array::uniform3(-500.0..500.0_f64),
        turn in prop::array::uniform3(-30.0..30.0_f64),
    ) {
        let plan = bent_plan(50.0, 700.0, Side::Left);
        let still = rehearse(&plan, &everything(2)).unwrap();
        let moved_by = Displacement { shift_mm: shift, turn_deg: turn };
        let moved = rehearse(&plan, &Rehearsal { displacement: moved_by, ..everything(2) }).unwrap();
        prop_assert_eq!(&still.truth, &moved.truth);
        let scanner_from_car = displacement(&moved_by);
        for (still, moved) in still.points.iter().zip(&moved.points) {
            prop_assert!((scanner_from_car.point(still) - moved).norm() < 1e-9);
        }
    }

    #[test]
    fn points_lie_as_densely_as_the_spacing_says(spacing_mm in 0.3..1.5_f64) {
        let plan = bent_plan(60.0, 900.0, Side::Left);
        let settings = Rehearsal {
            scanner: Scanner { spacing_mm, ..Scanner::default() },
            ..Rehearsal::default()
        };
        let scan = rehearse(&plan, &settings).unwrap();
        // Flat part of both panels, 20 to 50 mm from the seam: 2 × 30 × 60 mm².
        let count = scan.points.iter().filter(|point| {
            let foot = plan.seams[0].curve.nearest(point);
            (20.0..50.0).contains(&foot.distance_mm) && foot.along_mm > 0.5 && foot.along_mm < 59.5
        }).count();
        let per_point_mm2 = 2.0 * 30.0 * 59.0 / count as f64;
        prop_assert!((per_point_mm2.sqrt() / spacing_mm - 1.0).abs() < 0.06, "{}", per_point_mm2.sqrt());
    }
}
