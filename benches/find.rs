//! Finding all seams of a rehearsed front end, over the spacing of its points at the seams (mm).

use criterion::{BenchmarkId, Criterion, Throughput};
use shutline::rehearse::body::{BodyKind, BodySettings, body};
use shutline::scan::VecSource;
use shutline::trace::{TraceSettings, find_seams};

pub fn bench(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("find");
    group.sample_size(10);
    for spacing_mm in [1.6, 0.8] {
        let settings = BodySettings { spacings_mm: [spacing_mm, 2.0, 2.0], ..BodySettings::default() };
        let scan = body(BodyKind::Coupe, &settings).unwrap();
        let source = VecSource::from_points(&scan.points, None);
        group.throughput(Throughput::Elements(scan.points.len() as u64));
        group.bench_function(BenchmarkId::new("spacing", spacing_mm), |bencher| {
            // Whether it finds them is for the tests; a scan too coarse for it is told so in about the same time.
            bencher.iter(|| find_seams(&source, &TraceSettings::default()).is_ok());
        });
    }
    group.finish();
}
