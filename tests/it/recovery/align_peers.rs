//! Pairs of scan and reference for a comparison with general-purpose registration libraries: `benches/registration_peers.py`
//! says how to run it. Own results go into the same folder, so that one run makes the whole table.

use std::fmt::Write;
use std::io::Write as _;
use std::path::Path;
use std::time::Instant;

use nalgebra::{Isometry3, Point3};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use shutline::align::{AlignSettings, Reference, align_to_surface};
use shutline::files::open_scan;
use shutline::scan::{PointBlock, PointSink, VecSource};
use shutline::units::LengthUnit;

use super::front_end::{
    Disturbance, ORDINARY, direction, fixed_reference_points, plan, pose, pose_error, reference_points,
    scanned,
};

fn write_points(path: &Path, points: impl Iterator<Item = Point3<f64>>) {
    let mut text = String::new();
    for point in points {
        writeln!(text, "{:.6} {:.6} {:.6}", point.x, point.y, point.z).unwrap();
    }
    std::fs::write(path, text).unwrap();
}

/// Processor time of this thread, s: on a busy machine the wall clock says nothing. Alignment runs on one thread.
fn processor_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap();
    text.split_whitespace().next().unwrap().parse::<f64>().unwrap() * 1e-9
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
    let mut rows = String::from("seed,error_mm,error_deg,seconds,processor_seconds\n");
    for seed in 9_000..9_000 + count {
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
        let (started, processor) = (Instant::now(), processor_seconds());
        let found = align_to_surface(
            &source,
            &plan,
            &reference,
            Some(&Isometry3::identity()),
            &AlignSettings::default(),
        );
        let seconds = (started.elapsed().as_secs_f64(), processor_seconds() - processor);
        let error = found.map_or((f64::NAN, f64::NAN), |found| {
            pose_error(&plan, found.car_from_scanner.isometry(), &truth)
        });
        writeln!(rows, "{seed},{},{},{},{}", error.0, error.1, seconds.0, seconds.1).unwrap();
    }
    std::fs::write(folder.join("shutline.csv"), rows).unwrap();
}

/// Adds everything up: nothing that reads a scan can do less.
#[derive(Default)]
struct Sum(f64);

impl PointSink for Sum {
    fn take(&mut self, block: &PointBlock<'_>) {
        self.0 += (0..block.len()).map(|index| block.point(index).x).sum::<f64>();
    }
}

/// A binary PLY of so many million points of 12 bytes: the same million again and again, each time with other noise.
fn write_ply(path: &Path, millions: usize) {
    let how = Disturbance { points: 1_000_000, ..ORDINARY };
    let points = scanned(&how, 1);
    let mut file = std::io::BufWriter::new(std::fs::File::create(path).unwrap());
    let count = millions * points.len();
    write!(
        file,
        "ply\nformat binary_little_endian 1.0\nelement vertex {count}\nproperty float x\nproperty float y\n\
         property float z\nend_header\n"
    )
    .unwrap();
    let mut random = ChaCha8Rng::seed_from_u64(2);
    for point in (0..millions).flat_map(|_| &points) {
        let moved = point + direction(&mut random) * 0.02;
        for axis in 0..3 {
            file.write_all(&(moved[axis] as f32).to_le_bytes()).unwrap();
        }
    }
    file.flush().unwrap();
}

#[test]
#[ignore = "writes a scan of MILLIONS (10) of points and prints the time of aligning over that of reading"]
fn time_of_aligning_over_time_of_reading() {
    let millions = std::env::var("MILLIONS").ok().and_then(|text| text.parse().ok()).unwrap_or(10);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("car.ply");
    write_ply(&path, millions);
    let plan = plan("[align]\nway = 'best-fit'\nreference = 'front.ply'");
    let reference = VecSource::from_points(&reference_points(400_000), None);
    let reference = Reference::prepare(&reference, &plan).unwrap();
    let source = open_scan(&path, LengthUnit::Millimetre).unwrap();
    for _ in 0..3 {
        let started = processor_seconds();
        let mut sum = Sum::default();
        (0..source.part_count()).for_each(|part| source.read_points(part, &mut sum).unwrap());
        let reading = processor_seconds() - started;
        let started = processor_seconds();
        let start = pose(0.1, 20.0, &mut ChaCha8Rng::seed_from_u64(3));
        let found =
            align_to_surface(source.as_ref(), &plan, &reference, Some(&start), &AlignSettings::default());
        let aligning = processor_seconds() - started;
        let error = pose_error(&plan, found.unwrap().car_from_scanner.isometry(), &Isometry3::identity());
        println!(
            "{millions} million points: reading {reading:.2} s, aligning {aligning:.2} s, {:.1} times; error {error:?}, {}",
            aligning / reading,
            sum.0
        );
    }
}
