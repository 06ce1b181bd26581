//! Finding all seams of a rehearsed front end against a raw pass over the same file, with one thread and with two.
//!
//! `raw_sum` as in `whole_car`; `find` opens the file, looks twice and tells seams from all else; drawing is the program's and not
//! in it. The ratio of the two is what counts. `POINTS` sets the size, roughly (default two million; 27 bytes each).

use std::path::Path;

use criterion::{BenchmarkId, Criterion, Throughput};
use shutline::files::open_scan;
use shutline::pipeline::gather_evidence_on_threads;
use shutline::rehearse::body::{BodyKind, BodySettings, body};
use shutline::trace::{Alone, FoundSeams, TraceSettings, seams_of};
use shutline::units::LengthUnit;

use super::scene;
use super::whole_car::raw_sum;

/// Surface of the front end, mm².
const SURFACE_MM2: f64 = 2.6e6;

fn find(path: &Path) -> FoundSeams {
    let settings = TraceSettings::default();
    let source = open_scan(path, LengthUnit::Millimetre).unwrap();
    seams_of(gather_evidence_on_threads(source.as_ref(), &settings, &Alone).unwrap(), &settings)
}

pub fn bench(criterion: &mut Criterion) {
    let wanted: f64 = std::env::var("POINTS").ok().and_then(|text| text.parse().ok()).unwrap_or(2e6);
    let skin_mm = (SURFACE_MM2 / wanted).sqrt().clamp(0.3, 2.5);
    let spacings_mm = [skin_mm.min(0.55), skin_mm, skin_mm];
    let scan = body(BodyKind::Coupe, &BodySettings { spacings_mm, ..BodySettings::default() }).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("front.ply");
    scene::write_ply(&path, &scan.points, scan.points.len());
    assert_eq!(find(&path).seams.len(), 10, "all of them");
    let mut group = criterion.benchmark_group("find");
    group.sample_size(10).throughput(Throughput::Elements(scan.points.len() as u64));
    for threads in [1, 2] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        group.bench_function(BenchmarkId::new("raw_sum_threads", threads), |bencher| {
            bencher.iter(|| pool.install(|| raw_sum(&path)));
        });
        group.bench_function(BenchmarkId::new("find_threads", threads), |bencher| {
            bencher.iter(|| pool.install(|| find(&path)));
        });
    }
    group.finish();
}
