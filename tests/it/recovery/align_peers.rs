//! Pairs of scan and reference for a comparison with general-purpose registration libraries: `benches/registration_peers.py`
//! says how to run it. Own results go into the same folder, so that one run makes the whole table.

use std::fmt::Write;
use std::path::Path;
use std::time::Instant;

use nalgebra::{Isometry3, Point3};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use shutline::align::{AlignSettings, Reference, align_to_surface};
use shutline::scan::VecSource;

use super::front_end::{ORDINARY, fixed_reference_points, plan, pose, pose_error, reference_points, scanned};

fn write_points(path: &Path, points: impl Iterator<Item = Point3<f64>>) {
    let mut text = String::new();
    for point in points {
        writeln!(text, "{:.6} {:.6} {:.6}", point.x, point.y, point.z).unwrap();
    }
    std::fs::write(path, text).unwrap();
}

#[test]
#[ignore = "writes pairs and own results into the folder named by PEERS; SEEDS says how many (20)"]
fn pairs_for_registration_peers() {
    let folder = std::path::PathBuf::from(std::env::var("PEERS").unwrap());
    let count = std::env::var("SEEDS").ok().and_then(|text| text.parse().ok()).unwrap_or(20);
    let plan = plan("[align]\nway = 'best-fit'\nreference = 'front.ply'");
    let everything = reference_points(400_000);
    write_points(&folder.join("reference-fixed.xyz"), fixed_reference_points(400_000).into_iter());
    let seams = plan.seams.iter().flat_map(|seam| seam.curve.positions().iter().step_by(20).copied());
    write_points(&folder.join("seams.xyz"), seams);
    let started = Instant::now();
    let reference = Reference::prepare(&VecSource::from_points(&everything, None), &plan).unwrap();
    println!("reference prepared once in {:.2} s", started.elapsed().as_secs_f64());
    let mut rows = String::from("seed,error_mm,error_deg,seconds\n");
    for seed in 0..count {
        let truth = pose(10.0_f64.to_radians(), 50.0, &mut ChaCha8Rng::seed_from_u64(7_000 + seed));
        let points: Vec<Point3<f64>> =
            scanned(&ORDINARY, seed).iter().map(|point| truth.inverse() * point).collect();
        write_points(&folder.join(format!("scan-{seed}.xyz")), points.iter().copied());
        let matrix = truth.to_homogeneous();
        let written: String = (0..4)
            .map(|row| matrix.row(row).iter().map(|value| format!("{value:.15} ")).collect::<String>() + "\n")
            .collect();
        std::fs::write(folder.join(format!("truth-{seed}.txt")), written).unwrap();
        let source = VecSource::from_points(&points, None);
        let started = Instant::now();
        let found = align_to_surface(
            &source,
            &plan,
            &reference,
            Some(&Isometry3::identity()),
            &AlignSettings::default(),
        );
        let seconds = started.elapsed().as_secs_f64();
        let error = found.map_or((f64::NAN, f64::NAN), |found| {
            pose_error(&plan, found.car_from_scanner.isometry(), &truth)
        });
        writeln!(rows, "{seed},{},{},{seconds}", error.0, error.1).unwrap();
    }
    std::fs::write(folder.join("shutline.csv"), rows).unwrap();
}
