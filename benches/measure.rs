//! Measuring a seam of 200 mm, over the spacing of the points (mm): the finer, the more accurate.

use criterion::{BenchmarkId, Criterion};
use shutline::frames::{Car, Scanner};
use shutline::geometry::RigidTransform;
use shutline::measure::{MeasureSettings, measure_seam};
use shutline::plan::Plan;
use shutline::scan::{ScanSource, VecSource};
use shutline::seam::{Corridors, SeamBand};

use super::scene;

/// The points near the first seam of a plan.
pub fn band(plan: &Plan, spacing_mm: f64) -> SeamBand {
    let source = VecSource::from_points(&scene::seam_points(plan, spacing_mm), None);
    let corridors = Corridors::new(plan, RigidTransform::<Scanner, Car>::identity());
    let mut collector = corridors.collector();
    for part in 0..source.part_count() {
        source.read_points(part, &mut collector).unwrap();
    }
    corridors.bands(vec![collector]).bands.swap_remove(0)
}

pub fn bench(criterion: &mut Criterion) {
    let plan = scene::plan(1);
    let settings = MeasureSettings::for_plan(&plan);
    let mut group = criterion.benchmark_group("measure");
    group.sample_size(10);
    for spacing_mm in [0.8, 0.4, 0.2] {
        let band = band(&plan, spacing_mm);
        group.bench_function(BenchmarkId::new("spacing", spacing_mm), |bencher| {
            bencher.iter(|| measure_seam(&plan.seams[0], &band, &settings));
        });
    }
    group.finish();
}
