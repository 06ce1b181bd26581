//! Gathering from one scan for plans of 1, 10 and 100 of its seams, on one thread: the sifting is the same for all, and what is
//! near a seam costs more.

use criterion::{BenchmarkId, Criterion, Throughput};
use shutline::files::open_scan;
use shutline::frames::{Car, Scanner};
use shutline::geometry::RigidTransform;
use shutline::seam::Corridors;
use shutline::units::LengthUnit;

use super::scene;

const POINTS: usize = 3_000_000;

pub fn bench(criterion: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("car.ply");
    scene::write_ply(&path, &scene::seam_points(&scene::plan(100), 1.0), POINTS);
    let source = open_scan(&path, LengthUnit::Millimetre).unwrap();
    let mut group = criterion.benchmark_group("gather");
    group.sample_size(10).throughput(Throughput::Elements(POINTS as u64));
    for seam_count in [1, 10, 100] {
        let plan = scene::plan(seam_count);
        group.bench_function(BenchmarkId::new("seams", seam_count), |bencher| {
            bencher.iter(|| {
                let corridors = Corridors::new(&plan, RigidTransform::<Scanner, Car>::identity());
                let collectors = (0..source.part_count())
                    .map(|part| {
                        let mut collector = corridors.collector();
                        source.read_points(part, &mut collector).unwrap();
                        collector
                    })
                    .collect();
                corridors.bands(collectors)
            });
        });
    }
    group.finish();
}
