//! The same scan through every format gives the same readings, to the last bit: places are multiples of 1/1024 mm below 2¹³ mm,
//! which 32-bit floats, scaled integers and ten digits of text all hold.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use nalgebra::Point3;
use shutline::files::open_scan;
use shutline::judge::JudgedSeam;
use shutline::pipeline::{Unwatched, measure_scan};
use shutline::plan::{Plan, Side};
use shutline::rehearse::{Rehearsal, Scanner, rehearse};
use shutline::units::LengthUnit;

use crate::recovery::rehearse_truth::bent_plan;

/// Multiples of this, mm, are exact everywhere.
const GRID_MM: f64 = 1.0 / 1024.0;

struct Made {
    plan: Plan,
    points: Vec<[f64; 3]>,
    triangles: Vec<[u32; 3]>,
}

fn made(mesh: bool) -> Made {
    let plan = bent_plan(120.0, 900.0, Side::Left);
    let mut settings = Rehearsal { seed: 3, scanner: Scanner::good(), ..Rehearsal::default() };
    settings.output.mesh = mesh;
    let scan = rehearse(&plan, &settings).unwrap();
    let on_grid =
        |point: &Point3<f64>| [point.x, point.y, point.z].map(|value| (value / GRID_MM).round() * GRID_MM);
    Made {
        plan,
        points: scan.points.iter().map(on_grid).collect(),
        triangles: scan.triangle_corners.unwrap_or_default(),
    }
}

/// What the scan in a file is measured to be.
fn measured(plan: &Plan, path: &Path) -> Vec<JudgedSeam> {
    let scan = open_scan(path, LengthUnit::Millimetre).unwrap_or_else(|error| panic!("{error}"));
    measure_scan(scan.as_ref(), plan, None, &Unwatched)
        .unwrap_or_else(|error| panic!("{path:?}: {error}"))
        .seams
}

fn check(plan: &Plan, files: &[PathBuf]) {
    let wanted = measured(plan, &files[0]);
    let count = wanted[0].stations.iter().filter(|station| station.reading.gap.is_ok()).count();
    assert!(count >= 10, "{count} stations were measured");
    for path in &files[1..] {
        assert!(measured(plan, path) == wanted, "{path:?} gives other readings than {:?}", files[0]);
    }
}

fn floats(points: &[[f64; 3]]) -> Vec<u8> {
    points.iter().flatten().flat_map(|value| (*value as f32).to_le_bytes()).collect()
}

fn rows(points: &[[f64; 3]], begin: &str, separator: &str) -> String {
    points.iter().fold(String::new(), |mut text, [x, y, z]| {
        writeln!(text, "{begin}{x}{separator}{y}{separator}{z}").unwrap();
        text
    })
}

fn las(path: &Path, points: &[[f64; 3]]) {
    let mut builder = las::Builder::from((1, 4));
    let transform = las::Transform { scale: GRID_MM, offset: 0.0 };
    builder.transforms = las::Vector { x: transform, y: transform, z: transform };
    let mut writer = las::Writer::from_path(path, builder.into_header().unwrap()).unwrap();
    for [x, y, z] in points.iter().copied() {
        writer.write_point(las::Point { x, y, z, ..las::Point::default() }).unwrap();
    }
    writer.close().unwrap();
}

fn e57(path: &Path, points: &[[f64; 3]]) {
    use e57::{Record, RecordValue};
    let mut writer = e57::E57Writer::from_file(path, "{scan}").unwrap();
    let prototype = vec![Record::CARTESIAN_X_F64, Record::CARTESIAN_Y_F64, Record::CARTESIAN_Z_F64];
    let mut cloud = writer.add_pointcloud("{cloud}", prototype).unwrap();
    for point in points {
        cloud.add_point(point.map(RecordValue::Double).to_vec()).unwrap();
    }
    cloud.finalize().unwrap();
    writer.finalize().unwrap();
}

fn pcd(points: &[[f64; 3]], data: &str) -> String {
    let count = points.len();
    format!(
        "VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH {count}\nHEIGHT 1\n\
         VIEWPOINT 0 0 0 1 0 0 0\nPOINTS {count}\nDATA {data}\n"
    )
}

#[test]
fn clouds_of_every_format_give_the_same_readings() {
    let Made { plan, points, .. } = made(false);
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name);
    let mut files = Vec::new();
    let mut put = |name: &str, bytes: Vec<u8>| {
        std::fs::write(place(name), bytes).unwrap();
        files.push(place(name));
    };
    let head = |format: &str| {
        format!(
            "ply\nformat {format} 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\nend_header\n",
            points.len()
        )
    };
    let ply = [head("binary_little_endian").into_bytes(), floats(&points)].concat();
    put("binary.ply", ply.clone());
    let big: Vec<u8> = points.iter().flatten().flat_map(|value| (*value as f32).to_be_bytes()).collect();
    put("big.ply", [head("binary_big_endian").into_bytes(), big].concat());
    put("text.ply", (head("ascii") + &rows(&points, "", " ")).into_bytes());
    put("cloud.xyz", rows(&points, "", " ").into_bytes());
    put("cloud.csv", ("x,y,z\n".to_owned() + &rows(&points, "", ",")).into_bytes());
    put("comma.txt", rows(&points, "", ";").replace('.', ",").into_bytes());
    put("cloud.obj", rows(&points, "v ", " ").into_bytes());
    put("text.pcd", (pcd(&points, "ascii") + &rows(&points, "", " ")).into_bytes());
    put("binary.pcd", [pcd(&points, "binary").into_bytes(), floats(&points)].concat());
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    gzip.write_all(&ply).unwrap();
    put("binary.ply.gz", gzip.finish().unwrap());
    for name in ["cloud.las", "cloud.laz"] {
        las(&place(name), &points);
        files.push(place(name));
    }
    e57(&place("cloud.e57"), &points);
    files.push(place("cloud.e57"));
    check(&plan, &files);
}

#[test]
fn meshes_of_every_format_give_the_same_readings() {
    let Made { plan, points, triangles } = made(true);
    assert!(triangles.len() > 1000);
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    let mut put = |name: &str, bytes: Vec<u8>| {
        std::fs::write(folder.path().join(name), bytes).unwrap();
        files.push(folder.path().join(name));
    };
    let head = format!(
        "element vertex {}\nproperty float x\nproperty float y\nproperty float z\nelement face {}\n\
         property list uchar int vertex_indices\nend_header\n",
        points.len(),
        triangles.len()
    );
    let mut ply = format!("ply\nformat binary_little_endian 1.0\n{head}").into_bytes();
    ply.extend(floats(&points));
    for corners in &triangles {
        ply.push(3);
        ply.extend(corners.iter().flat_map(|corner| corner.to_le_bytes()));
    }
    put("mesh.ply", ply);
    let faces = |first: u32, begin: &str| {
        triangles.iter().fold(String::new(), |mut text, [a, b, c]| {
            writeln!(text, "{begin}{} {} {}", a + first, b + first, c + first).unwrap();
            text
        })
    };
    let text = format!("ply\nformat ascii 1.0\n{head}") + &rows(&points, "", " ") + &faces(0, "3 ");
    put("text.ply", text.into_bytes());
    put("mesh.obj", (rows(&points, "v ", " ") + &faces(1, "f ")).into_bytes());
    let corners = |triangle: &[u32; 3]| triangle.map(|corner| points[corner as usize]);
    let mut stl = vec![0; 80];
    stl.extend((triangles.len() as u32).to_le_bytes());
    for triangle in &triangles {
        stl.extend([0; 12]);
        stl.extend(floats(&corners(triangle)));
        stl.extend([0; 2]);
    }
    put("binary.stl", stl);
    let mut text = "solid scan\n".to_owned();
    for triangle in &triangles {
        let loops = rows(&corners(triangle), "vertex ", " ");
        write!(text, "facet normal 0 0 0\nouter loop\n{loops}endloop\nendfacet\n").unwrap();
    }
    put("text.stl", (text + "endsolid scan\n").into_bytes());
    put("mesh.glb", glb(&points, &triangles));
    check(&plan, &files);
}

/// Khronos, glTF 2.0 specification, 4: head, JSON chunk, binary chunk.
fn glb(points: &[[f64; 3]], triangles: &[[u32; 3]]) -> Vec<u8> {
    let mut binary = floats(points);
    let corners_at = binary.len();
    binary.extend(triangles.iter().flatten().flat_map(|corner| corner.to_le_bytes()));
    let mut json = format!(
        r#"{{"asset":{{"version":"2.0"}},"scene":0,"scenes":[{{"nodes":[0]}}],"nodes":[{{"mesh":0}}],
        "meshes":[{{"primitives":[{{"attributes":{{"POSITION":0}},"indices":1}}]}}],"buffers":[{{"byteLength":{}}}],
        "bufferViews":[{{"buffer":0,"byteLength":{corners_at}}},{{"buffer":0,"byteOffset":{corners_at},"byteLength":{}}}],
        "accessors":[{{"bufferView":0,"componentType":5126,"count":{},"type":"VEC3"}},
        {{"bufferView":1,"componentType":5125,"count":{},"type":"SCALAR"}}]}}"#,
        binary.len(),
        binary.len() - corners_at,
        points.len(),
        3 * triangles.len()
    );
    while !json.len().is_multiple_of(4) {
        json.push(' ');
    }
    let mut bytes = b"glTF".to_vec();
    let length = 12 + 8 + json.len() + 8 + binary.len();
    for number in [2, length as u32, json.len() as u32] {
        bytes.extend(number.to_le_bytes());
    }
    bytes.extend(b"JSON");
    bytes.extend(json.bytes());
    bytes.extend((binary.len() as u32).to_le_bytes());
    bytes.extend(b"BIN\0");
    bytes.extend(binary);
    bytes
}
