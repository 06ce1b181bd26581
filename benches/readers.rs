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

const NAMES: [&str; 11] = [
    "binary.ply",
    "text.ply",
    "binary.ply.gz",
    "binary.stl",
    "binary.pcd",
    "packed.pcd",
    "points.obj",
    "cloud.xyz",
    "cloud.las",
    "cloud.e57",
    "mesh.glb",
];

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

fn floats(points: &[Point3<f64>]) -> Vec<u8> {
    points.iter().flat_map(Point3::iter).flat_map(|value| (*value as f32).to_le_bytes()).collect()
}

/// With colours and intensities, as scanners write them.
fn e57(path: &Path, points: &[Point3<f64>]) {
    use e57::{Record, RecordValue};
    let mut writer = e57::E57Writer::from_file(path, "{bench}").unwrap();
    let colours = [Record::COLOR_RED_U8, Record::COLOR_GREEN_U8, Record::COLOR_BLUE_U8];
    let places = [Record::CARTESIAN_X_F64, Record::CARTESIAN_Y_F64, Record::CARTESIAN_Z_F64];
    let prototype = places.into_iter().chain(colours).chain([Record::INTENSITY_U16]).collect();
    let mut cloud = writer.add_pointcloud("{cloud}", prototype).unwrap();
    for (index, point) in points.iter().enumerate() {
        let level = (index / 7 % 256) as i64;
        let mut values: Vec<RecordValue> = point.iter().map(|value| RecordValue::Double(*value)).collect();
        values.extend([level, level, 200, 90 * level].map(RecordValue::Integer));
        cloud.add_point(values).unwrap();
    }
    cloud.finalize().unwrap();
    writer.finalize().unwrap();
}

fn pcd(points: &[Point3<f64>], data: &str, content: &[u8]) -> Vec<u8> {
    let count = points.len();
    let head = format!(
        "VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH {count}\nHEIGHT 1\nPOINTS {count}\nDATA {data}\n"
    );
    [head.as_bytes(), content].concat()
}

/// The columns of all points in runs of 32 bytes as they are, which LZF allows.
fn lzf(points: &[Point3<f64>]) -> Vec<u8> {
    let column = |axis: usize| points.iter().flat_map(move |point| (point[axis] as f32).to_le_bytes());
    let plain: Vec<u8> = (0..3).flat_map(column).collect();
    let packed: Vec<u8> = plain.chunks(32).flat_map(|run| [&[run.len() as u8 - 1], run].concat()).collect();
    let sizes = [packed.len() as u32, plain.len() as u32].map(u32::to_le_bytes);
    [sizes.as_flattened(), &packed].concat()
}

/// Every three points a triangle.
fn glb(points: &[Point3<f64>]) -> Vec<u8> {
    let mut binary = floats(points);
    binary.truncate(binary.len() / 36 * 36);
    let (count, length) = (binary.len() / 12, binary.len());
    let mut json = format!(
        r#"{{"asset":{{"version":"2.0"}},"scenes":[{{"nodes":[0]}}],"nodes":[{{"mesh":0}}],"meshes":[{{"primitives":[{{"attributes":{{"POSITION":0}}}}]}}],
        "accessors":[{{"bufferView":0,"componentType":5126,"count":{count},"type":"VEC3"}}],
        "bufferViews":[{{"buffer":0,"byteLength":{length}}}],"buffers":[{{"byteLength":{length}}}]}}"#
    );
    while !json.len().is_multiple_of(4) {
        json.push(' ');
    }
    let size = |bytes: usize| (bytes as u32).to_le_bytes();
    let whole = 28 + json.len() + length;
    let head = [&b"glTF\x02\0\0\0"[..], &size(whole), &size(json.len()), b"JSON", json.as_bytes()].concat();
    [&head[..], &size(length), b"BIN\0", &binary].concat()
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
    std::fs::write(at("binary.pcd"), pcd(&points, "binary", &floats(&points))).unwrap();
    std::fs::write(at("packed.pcd"), pcd(&points, "binary_compressed", &lzf(&points))).unwrap();
    std::fs::write(at("mesh.glb"), glb(&points)).unwrap();
    e57(&at("cloud.e57"), &points);
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
    for name in NAMES.into_iter().chain(PACKED.map(|(name, _)| name)) {
        group.bench_function(name, |bencher| bencher.iter(|| read_all(&at(name))));
    }
    let one_thread = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    group.bench_function("raw_sum", |bencher| {
        bencher.iter(|| one_thread.install(|| raw_sum(&at("binary.ply"))));
    });
    group.finish();
}
