//! The main job on a whole car against a raw pass over the same bytes, with one thread and with two.
//!
//! `raw_sum` maps the file, adds up its bytes eight at a time, and unmaps it: what reading cannot be faster than. `measure` opens
//! the file and gives judged readings; hashing and drawing are the program's and not in it. The ratio of the two is what counts. Then the
//! same scan with 1, 10 and 100 of its seams in the plan. `POINTS` sets the size (default four million; 27 bytes each), of which the seams have 2.8 million.

use std::fs::File;
use std::path::Path;

use criterion::{BenchmarkId, Criterion, Throughput};
use rayon::prelude::*;
use shutline::files::open_scan;
use shutline::pipeline::{MeasuredScan, Unwatched, measure_scan};
use shutline::plan::Plan;
use shutline::units::LengthUnit;

use super::scene;

pub fn raw_sum(path: &Path) -> u64 {
    let file = File::open(path).unwrap();
    // SAFETY: the file is the bench's own, and nobody else writes to it.
    let bytes = unsafe { memmap2::Mmap::map(&file) }.unwrap();
    bytes
        .par_chunks(1 << 20)
        .map(|chunk| {
            let words = chunk.chunks_exact(8);
            words.map(|word| u64::from_le_bytes(word.try_into().unwrap())).fold(0, u64::wrapping_add)
        })
        .reduce(|| 0, u64::wrapping_add)
}

fn measure(path: &Path, plan: &Plan) -> MeasuredScan {
    let source = open_scan(path, LengthUnit::Millimetre).unwrap();
    measure_scan(source.as_ref(), plan, None, &Unwatched).unwrap()
}

pub fn bench(criterion: &mut Criterion) {
    let point_count = std::env::var("POINTS").ok().and_then(|text| text.parse().ok()).unwrap_or(4_000_000);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("car.ply");
    scene::write_ply(&path, &scene::seam_points(&scene::plan(100), 0.8), point_count);
    let mut group = criterion.benchmark_group("whole_car");
    group.sample_size(10).throughput(Throughput::Elements(point_count as u64));
    for threads in [1, 2] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        group.bench_function(BenchmarkId::new("raw_sum_threads", threads), |bencher| {
            bencher.iter(|| pool.install(|| raw_sum(&path)));
        });
        let plan = scene::plan(10);
        group.bench_function(BenchmarkId::new("measure_threads", threads), |bencher| {
            bencher.iter(|| pool.install(|| measure(&path, &plan)));
        });
    }
    for seam_count in [1, 10, 100] {
        let plan = scene::plan(seam_count);
        group.bench_function(BenchmarkId::new("measure_seams", seam_count), |bencher| {
            bencher.iter(|| measure(&path, &plan));
        });
    }
    group.finish();
}
