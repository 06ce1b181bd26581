//! Each reader over the same 200,000 points, every one of them asked for; `cargo bench -- readers`.
//!
//! What a person waits for where the file cannot be sifted on its bytes is this time. `raw_sum` is that of `whole_car`, by one thread
//! over the binary PLY, which has 27 bytes a point.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;

use criterion::{Criterion, Throughput};
use flate2::write::GzEncoder;
use nalgebra::Point3;
use shutline::files::open_scan;
use shutline::scan::{PointBlock, PointSink};
use shutline::units::LengthUnit;

use super::scene;
use super::whole_car::raw_sum;

const POINTS: usize = 200_000;
/// Packed points without times, with times and colours in one stream, and in layers.
const PACKED: [(&str, u8); 3] = [("cloud.laz", 0), ("cloud-3.laz", 3), ("cloud-7.laz", 7)];

/// Adds up what it is given, so that nothing can be left out.
#[derive(Default)]
struct Sum(f64);

impl PointSink for Sum {
    fn take(&mut self, block: &PointBlock<'_>) {
        self.0 += block.x_mm.iter().chain(block.y_mm).chain(block.z_mm).sum::<f64>();
    }
}

fn read_all(path: &Path) -> f64 {
    let source = open_scan(path, LengthUnit::Millimetre).unwrap();
    let mut sum = Sum::default();
    for part in 0..source.part_count() {
        source.read_points(part, &mut sum).unwrap();
    }
    sum.0
}

fn as_text(points: &[Point3<f64>], before: &str) -> String {
    let mut text = String::new();
    for point in points {
        writeln!(text, "{before}{:.4} {:.4} {:.4}", point.x, point.y, point.z).unwrap();
    }
    text
}

fn stl(points: &[Point3<f64>]) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes.extend_from_slice(&((points.len() / 3) as u32).to_le_bytes());
    for corners in points.chunks_exact(3) {
        bytes.extend_from_slice(&[0; 12]);
        for value in corners.iter().flat_map(Point3::iter) {
            bytes.extend_from_slice(&(*value as f32).to_le_bytes());
        }
        bytes.extend_from_slice(&[0; 2]);
    }
    bytes
}

/// With times and colours where the format of the points has them.
fn las(path: &Path, points: &[Point3<f64>], format: u8) {
    let mut builder = las::Builder::from((1, 4));
    builder.point_format = las::point::Format::new(format).unwrap();
    let format = builder.point_format;
    let mut writer = las::Writer::from_path(path, builder.into_header().unwrap()).unwrap();
    for (index, point) in points.iter().enumerate() {
        let level = (index / 7 % 256) as u16;
        let whole = las::Point {
            x: point.x,
            y: point.y,
            z: point.z,
            gps_time: format.has_gps_time.then_some(3e5 + 2e-6 * index as f64),
            color: format.has_color.then(|| las::Color::new(level, level, 200)),
            ..las::Point::default()
        };
        writer.write_point(whole).unwrap();
    }
    writer.close().unwrap();
}

pub fn bench(criterion: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let points: Vec<Point3<f64>> = scene::background(POINTS).collect();
    scene::write_ply(&at("binary.ply"), &points, POINTS);
    let head = format!(
        "ply\nformat ascii 1.0\nelement vertex {POINTS}\nproperty float x\nproperty float y\nproperty float z\nend_header\n"
    );
    std::fs::write(at("text.ply"), head + &as_text(&points, "")).unwrap();
    std::fs::write(at("cloud.xyz"), as_text(&points, "")).unwrap();
    std::fs::write(at("points.obj"), as_text(&points, "v ")).unwrap();
    std::fs::write(at("binary.stl"), stl(&points)).unwrap();
    las(&at("cloud.las"), &points, 0);
    for (name, format) in PACKED {
        las(&at(name), &points, format);
    }
    let packed = std::fs::File::create(at("binary.ply.gz")).unwrap();
    let mut packed = GzEncoder::new(packed, flate2::Compression::default());
    packed.write_all(&std::fs::read(at("binary.ply")).unwrap()).unwrap();
    packed.finish().unwrap();
    let mut group = criterion.benchmark_group("readers");
    group.sample_size(10).throughput(Throughput::Elements(POINTS as u64));
    for name in
        ["binary.ply", "text.ply", "binary.ply.gz", "binary.stl", "points.obj", "cloud.xyz", "cloud.las"]
            .into_iter()
            .chain(PACKED.map(|(name, _)| name))
    {
        group.bench_function(name, |bencher| bencher.iter(|| read_all(&at(name))));
    }
    let one_thread = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    group.bench_function("raw_sum", |bencher| {
        bencher.iter(|| one_thread.install(|| raw_sum(&at("binary.ply"))));
    });
    group.finish();
}
