//! Putting a scan on an earlier one, over the spacing of the scan's points (mm), against reading the same file.
//!
//! `read` opens the file and looks at every point; `align` opens it and finds the pose from a start that is 10° and 50 mm off, `coarse`
//! from none; `prepare` lays out the reference, which can be used for many scans. All on one thread. What counts is `align` over `read`, and
//! that `align` hardly grows with the number of points; the closest spacing gives ten million.

use std::path::Path;

use criterion::{BenchmarkId, Criterion, Throughput};
use nalgebra::{Isometry3, Point3, Vector3};
use shutline::align::{AlignSettings, Reference, align_to_surface};
use shutline::files::open_scan;
use shutline::plan::{AlignTerms, Plan};
use shutline::rehearse::body::{BodyKind, BodySettings, body, gannet_settings};
use shutline::scan::{PointBlock, PointSink, VecSource};
use shutline::units::LengthUnit;

use super::scene;

fn scanned(spacing_mm: f64, seed: u64) -> (Vec<Point3<f64>>, Plan) {
    let settings = BodySettings { spacings_mm: [spacing_mm; 3], seed, ..gannet_settings(false) };
    let scan = body(BodyKind::Coupe, &settings).unwrap();
    (scan.points, scan.plan)
}

#[derive(Default)]
struct Sum(f64);

impl PointSink for Sum {
    fn take(&mut self, block: &PointBlock<'_>) {
        self.0 += (0..block.len()).map(|index| block.point(index).x).sum::<f64>();
    }
}

fn read(path: &Path) -> f64 {
    let source = open_scan(path, LengthUnit::Millimetre).unwrap();
    let mut sum = Sum::default();
    (0..source.part_count()).for_each(|part| source.read_points(part, &mut sum).unwrap());
    sum.0
}

fn align(path: &Path, plan: &Plan, reference: &Reference, start: Option<&Isometry3<f64>>) -> Isometry3<f64> {
    let source = open_scan(path, LengthUnit::Millimetre).unwrap();
    let found = align_to_surface(source.as_ref(), plan, reference, start, &AlignSettings::default());
    *found.unwrap().car_from_scanner.isometry()
}

pub fn bench(criterion: &mut Criterion) {
    let (reference_points, mut plan) = scanned(3.0, 77);
    for panel in &mut plan.panels {
        panel.is_fixed = panel.id.0 != "hood";
    }
    plan.align =
        AlignTerms::BestFit { reference: String::new(), start: Isometry3::identity(), limit_mm: 1.0 };
    let source = VecSource::from_points(&reference_points, None);
    let reference = Reference::prepare(&source, &plan).unwrap();
    let middle = Vector3::new(600.0, 0.0, 600.0);
    let turn = Isometry3::rotation(Vector3::new(0.6, 0.64, 0.48) * 10.0_f64.to_radians());
    let truth =
        Isometry3::translation(22.0, -34.0, 29.0) * Isometry3::from(middle) * turn * Isometry3::from(-middle);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("car.ply");
    let mut group = criterion.benchmark_group("align");
    group.sample_size(10);
    group.bench_function("prepare", |bencher| bencher.iter(|| Reference::prepare(&source, &plan).unwrap()));
    for spacing_mm in [2.0, 1.0, 0.48] {
        let points: Vec<Point3<f64>> =
            scanned(spacing_mm, 5).0.iter().map(|point| truth.inverse() * point).collect();
        scene::write_ply(&path, &points, points.len());
        group.throughput(Throughput::Elements(points.len() as u64));
        group.bench_function(BenchmarkId::new("read", spacing_mm), |bencher| bencher.iter(|| read(&path)));
        for (name, start) in [("align", Some(Isometry3::identity())), ("coarse", None)] {
            let off = align(&path, &plan, &reference, start.as_ref()).inverse() * truth;
            assert!((off * Point3::from(middle) - Point3::from(middle)).norm() < 0.1, "{name}: {off}");
            group.bench_function(BenchmarkId::new(name, spacing_mm), |bencher| {
                bencher.iter(|| align(&path, &plan, &reference, start.as_ref()));
            });
        }
    }
    group.finish();
}
