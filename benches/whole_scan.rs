//! A whole scan against a raw pass over the same bytes.
//!
//! The ratio `measure_scan / raw_sum` says how many times longer the main job takes than touching every coordinate once;
//! both read the same file with the same number of threads. `POINTS` in the environment sets the size (default one
//! million): background points far from the seam make up most of it, as on a whole car.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use nalgebra::{Point3, Vector3};
use rayon::prelude::*;
use shutline::files::open_scan;
use shutline::pipeline::{Unwatched, measure_scan};
use shutline::plan::{Plan, PlanText};
use shutline::rehearse::{Rehearsal, Scanner, rehearse};
use shutline::units::LengthUnit;

const PLAN: &str = "title = 'One seam'\nunits = 'mm'\n[scan]\nunits = 'mm'\n[panels.a]\n[panels.b]\n[[seam]]\n\
    id = 'a-b'\ndatum_panel = 'a'\nother_panel = 'b'\ndatum_side = 'left'\ncurve = 'a-b.csv'\n\
    gap = { nominal = 4, minus = 0.5, plus = 0.5 }\nflush = { nominal = 0, minus = 0.5, plus = 0.5 }\n";

fn plan() -> Plan {
    let points: Vec<Point3<f64>> =
        (0..=100).map(|index| Point3::new(f64::from(index) * 10.0, 0.0, 0.0)).collect();
    let normals = vec![Vector3::z(); points.len()];
    let curve = shutline::geometry::Curve::through(&points, Some(&normals)).unwrap();
    PlanText::parse(PLAN, "bench").unwrap().into_plan(|_| Ok(curve.clone())).unwrap()
}

/// Binary little-endian PLY with three floats a point: the rehearsed seam, then background half a metre and more away.
fn write_scan(path: &Path, plan: &Plan, point_count: usize) {
    let settings = Rehearsal { scanner: Scanner::ordinary(), ..Rehearsal::default() };
    let seam = rehearse(plan, &settings).unwrap().points;
    let head = format!(
        "ply\nformat binary_little_endian 1.0\nelement vertex {point_count}\nproperty float x\nproperty float y\n\
         property float z\nend_header\n"
    );
    let mut bytes = head.into_bytes();
    for index in 0..point_count {
        let point = seam.get(index).copied().unwrap_or_else(|| {
            let step = index as f64;
            Point3::new(step % 4000.0, 500.0 + (step * 0.37) % 1300.0, (step * 0.11) % 900.0)
        });
        for value in point.iter() {
            bytes.extend_from_slice(&(*value as f32).to_le_bytes());
        }
    }
    std::fs::write(path, bytes).unwrap();
}

/// Reads the file in blocks on all threads and adds up every four bytes as a float.
fn raw_sum(path: &Path) -> f64 {
    const BLOCK: u64 = 1 << 20;
    let length = std::fs::metadata(path).unwrap().len();
    (0..length.div_ceil(BLOCK))
        .into_par_iter()
        .map(|block| {
            use std::io::{Seek, SeekFrom};
            let mut file = File::open(path).unwrap();
            file.seek(SeekFrom::Start(block * BLOCK)).unwrap();
            let mut bytes = Vec::with_capacity(BLOCK as usize);
            file.take(BLOCK).read_to_end(&mut bytes).unwrap();
            bytes
                .chunks_exact(4)
                .map(|four| f64::from(f32::from_le_bytes([four[0], four[1], four[2], four[3]])))
                .sum::<f64>()
        })
        .sum()
}

fn compare(criterion: &mut Criterion) {
    let point_count = std::env::var("POINTS").ok().and_then(|text| text.parse().ok()).unwrap_or(1_000_000);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("scan.ply");
    let plan = plan();
    write_scan(&path, &plan, point_count);
    let mut group = criterion.benchmark_group("whole_scan");
    group.sample_size(10).throughput(Throughput::Elements(point_count as u64));
    group.bench_function("raw_sum", |bencher| bencher.iter(|| raw_sum(&path)));
    group.bench_function("measure_scan", |bencher| {
        bencher.iter(|| {
            let source = open_scan(&path, LengthUnit::Millimetre).unwrap();
            measure_scan(source.as_ref(), &plan, None, &Unwatched).unwrap()
        });
    });
    group.finish();
}

criterion_group!(benches, compare);
criterion_main!(benches);
