//! Laying a seam's points out flat, over the spacing of the points (mm).

use criterion::{BenchmarkId, Criterion, Throughput};
use shutline::section::FlatSeam;

use super::{measure, scene};

pub fn bench(criterion: &mut Criterion) {
    let plan = scene::plan(1);
    let mut group = criterion.benchmark_group("section");
    group.sample_size(10);
    for spacing_mm in [0.8, 0.4, 0.2] {
        let band = measure::band(&plan, spacing_mm);
        group.throughput(Throughput::Elements(band.points.len() as u64));
        group.bench_function(BenchmarkId::new("spacing", spacing_mm), |bencher| {
            bencher.iter(|| FlatSeam::along_plan(&band, &plan.seams[0].curve));
        });
    }
    group.finish();
}
