//! Memory on large files: every format in more than 100 MB is read with at most twice the file and 64 MB on the heap.
//!
//! The files are written piece by piece in the densest form of each format that still holds something to keep: that is where a reader
//! that keeps too much shows it. Points come from a counter, so that packing finds little to save.

use std::fs::File;
use std::io::{BufWriter, Seek, Write};
use std::path::Path;

use shutline::files::open_scan;
use shutline::scan::{PointBlock, PointSink, Triangle, TriangleSink};
use shutline::units::LengthUnit;

use crate::memory::peak_of;

const LEAST_BYTES: u64 = 100_000_000;
const SPARE_BYTES: u64 = 64 << 20;

/// What is read is counted and dropped.
#[derive(Default)]
struct Count(u64);

impl PointSink for Count {
    fn take(&mut self, block: &PointBlock<'_>) {
        self.0 += block.len() as u64;
    }
}

impl TriangleSink for Count {
    fn take(&mut self, triangles: &[Triangle]) {
        self.0 += triangles.len() as u64;
    }
}

/// Coordinates below 8192 with 1/1024 as their last digit: noise of 23 bits each.
fn place(index: u64) -> [f32; 3] {
    [1_u64, 2, 3].map(|axis| {
        let mixed = (index * 3 + axis).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        ((mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9) >> 41) as f32 / 1024.0
    })
}

fn bytes(values: &[f32]) -> Vec<u8> {
    values.iter().flat_map(|value| value.to_le_bytes()).collect()
}

/// Writes rows until there are `count`.
fn rows(out: &mut impl Write, count: u64, row: impl Fn(u64) -> Vec<u8>) {
    for index in 0..count {
        out.write_all(&row(index)).unwrap();
    }
}

fn ply(out: &mut impl Write, format: &str, vertices: u64, faces: u64) {
    let faces = if faces > 0 {
        format!("element face {faces}\nproperty list uchar int vertex_indices\n")
    } else {
        String::new()
    };
    let coordinates = "property float x\nproperty float y\nproperty float z\n";
    write!(out, "ply\nformat {format} 1.0\nelement vertex {vertices}\n{coordinates}{faces}end_header\n")
        .unwrap();
}

/// Three corners of a mesh of `count` corners.
fn corners(index: u64, count: u64) -> [u32; 3] {
    [index % count, (index * 7 + 1) % count, (index * 13 + 2) % count].map(|corner| corner as u32)
}

fn ply_mesh(out: &mut impl Write) {
    const CORNERS: u64 = 3_000_000;
    ply(out, "binary_little_endian", CORNERS, 2 * CORNERS);
    rows(out, CORNERS, |index| bytes(&place(index)));
    rows(out, 2 * CORNERS, |index| {
        let numbers = corners(index, CORNERS).map(u32::to_le_bytes);
        [&[3], numbers.as_flattened()].concat()
    });
}

fn stl_text(out: &mut impl Write) {
    writeln!(out, "solid").unwrap();
    rows(out, 1_000_000, |index| {
        let corner =
            |number| format!("vertex {} {} {}\n", place(number)[0], place(number)[1], place(number)[2]);
        let corners: String = (3 * index..3 * index + 3).map(corner).collect();
        format!("facet normal 0 0 1\nouter loop\n{corners}endloop\nendfacet\n").into_bytes()
    });
    writeln!(out, "endsolid").unwrap();
}

fn stl_binary(out: &mut impl Write) {
    const TRIANGLES: u64 = 2_200_000;
    out.write_all(&[b' '; 80]).unwrap();
    out.write_all(&(TRIANGLES as u32).to_le_bytes()).unwrap();
    rows(out, TRIANGLES, |index| {
        let corners = [3 * index, 3 * index + 1, 3 * index + 2].map(place);
        [&[0; 12], bytes(corners.as_flattened()).as_slice(), &[0; 2]].concat()
    });
}

/// A mesh in the fewest digits.
fn obj_mesh(out: &mut impl Write) {
    const CORNERS: u64 = 9_000_000;
    rows(out, CORNERS, |index| {
        format!("v {} {} {}\n", index % 9, index / 9 % 9, index / 81 % 9).into_bytes()
    });
    rows(out, 3_000_000, |index| {
        let [a, b, c] = corners(index, 99);
        format!("f {} {} {}\n", a + 1, b + 1, c + 1).into_bytes()
    });
}

fn obj_cloud(out: &mut impl Write) {
    rows(out, 5_000_000, |index| format!("vn 0 0 1\nv {} 2 3.5\n", index % 1000).into_bytes());
}

fn pcd(out: &mut impl Write, count: u64, data: &str) {
    let head = "VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\n";
    write!(out, "{head}WIDTH {count}\nHEIGHT 1\nPOINTS {count}\nDATA {data}\n").unwrap();
}

/// LZF in runs of 32 bytes as they are; axis after axis, as the format wants it.
fn pcd_packed(out: &mut impl Write) {
    const COUNT: u64 = 9_000_000;
    pcd(out, COUNT, "binary_compressed");
    let plain_len = COUNT * 12;
    out.write_all(&((plain_len + plain_len.div_ceil(32)) as u32).to_le_bytes()).unwrap();
    out.write_all(&(plain_len as u32).to_le_bytes()).unwrap();
    for axis in 0..3 {
        rows(out, COUNT / 8, |index| {
            let values: Vec<f32> = (8 * index..8 * index + 8).map(|index| place(index)[axis]).collect();
            [&[31], bytes(&values).as_slice()].concat()
        });
    }
}

fn glb(out: &mut impl Write, is_text: bool) {
    const CORNERS: u64 = 6_000_000;
    const TRIANGLES: u64 = 3_000_000;
    let (positions, indices) = (CORNERS * 12, TRIANGLES * 12);
    let binary: Vec<u8> = (0..CORNERS)
        .flat_map(|index| bytes(&place(index)))
        .chain((0..TRIANGLES).flat_map(|index| corners(index, CORNERS).map(u32::to_le_bytes).concat()))
        .collect();
    let uri = if is_text { format!(r#""uri":"data:;base64,{}","#, base64(&binary)) } else { String::new() };
    let json = format!(
        r#"{{"scenes":[{{"nodes":[0]}}],"nodes":[{{"mesh":0}}],"meshes":[{{"primitives":[{{"attributes":{{"POSITION":0}},"indices":1}}]}}],
        "accessors":[{{"bufferView":0,"componentType":5126,"count":{CORNERS},"type":"VEC3"}},
        {{"bufferView":1,"componentType":5125,"count":{},"type":"SCALAR"}}],
        "bufferViews":[{{"buffer":0,"byteLength":{positions}}},{{"buffer":0,"byteOffset":{positions},"byteLength":{indices}}}],
        "buffers":[{{{uri}"byteLength":{}}}]}}"#,
        3 * TRIANGLES,
        binary.len()
    );
    if is_text {
        return out.write_all(json.as_bytes()).unwrap();
    }
    let length = |bytes: &[u8]| (bytes.len() as u32).to_le_bytes();
    let head = [&b"glTF\x02\0\0\0\0\0\0\0"[..], &length(json.as_bytes()), b"JSON", json.as_bytes()].concat();
    out.write_all(&[&head[..], &length(&binary), b"BIN\0", &binary].concat()).unwrap();
}

fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    assert!(bytes.len().is_multiple_of(3));
    let word = |three: &[u8]| three.iter().fold(0, |word, byte| word << 8 | usize::from(*byte));
    let letter = |word: usize, at: usize| char::from(LETTERS[word >> (18 - 6 * at) & 63]);
    bytes.chunks(3).map(word).flat_map(|word| [0, 1, 2, 3].map(|at| letter(word, at))).collect()
}

fn gzip(out: &mut impl Write) {
    let mut packed = flate2::write::GzEncoder::new(out, flate2::Compression::fast());
    ply(&mut packed, "binary_little_endian", 12_000_000, 0);
    rows(&mut packed, 12_000_000, |index| bytes(&place(index)));
    packed.finish().unwrap();
}

/// Zstandard in blocks as they are (RFC 8878, 3.1.1.2: raw blocks), no checksum, a window of 128 kB.
fn zstd(out: &mut impl Write) {
    let mut plain = Vec::new();
    ply(&mut plain, "binary_little_endian", 9_000_000, 0);
    rows(&mut plain, 9_000_000, |index| bytes(&place(index)));
    out.write_all(&[0x28, 0xb5, 0x2f, 0xfd, 0x00, 0x38]).unwrap();
    let count = plain.chunks(128 << 10).len();
    for (number, block) in plain.chunks(128 << 10).enumerate() {
        let head = (block.len() as u32) << 3 | u32::from(number + 1 == count);
        out.write_all(&head.to_le_bytes()[..3]).unwrap();
        out.write_all(block).unwrap();
    }
}

fn las(out: impl Write + Seek + Send + Sync + 'static, is_packed: bool, count: u64) {
    let mut builder = las::Builder::from((1, 2));
    builder.point_format = las::point::Format::new(0).unwrap();
    builder.point_format.is_compressed = is_packed;
    let mut writer = las::Writer::new(out, builder.into_header().unwrap()).unwrap();
    for index in 0..count {
        let [x, y, z] = place(index).map(f64::from);
        writer.write_point(las::Point { x, y, z, ..las::Point::default() }).unwrap();
    }
    writer.close().unwrap();
}

fn e57(path: &Path) {
    use e57::{Record, RecordValue};
    let mut writer = e57::E57Writer::from_file(path, "{scan}").unwrap();
    let prototype = vec![Record::CARTESIAN_X_F32, Record::CARTESIAN_Y_F32, Record::CARTESIAN_Z_F32];
    let mut cloud = writer.add_pointcloud("{cloud}", prototype).unwrap();
    for index in 0..9_000_000 {
        cloud.add_point(place(index).map(RecordValue::Single).to_vec()).unwrap();
    }
    cloud.finalize().unwrap();
    writer.finalize().unwrap();
}

fn written(path: &Path, write: impl FnOnce(&mut BufWriter<File>)) {
    let mut out = BufWriter::new(File::create(path).unwrap());
    write(&mut out);
    out.flush().unwrap();
}

/// Writes one kind of file.
fn make(kind: &str, path: &Path) {
    let text = |index: u64| {
        let [x, y, z] = place(index);
        format!("{x} {y} {z}\n").into_bytes()
    };
    match kind {
        "e57" => e57(path),
        "las" => las(File::create(path).unwrap(), false, 5_500_000),
        "laz" => las(File::create(path).unwrap(), true, 13_000_000),
        _ => written(path, |out| match kind {
            "ply text" => {
                ply(out, "ascii", 4_000_000, 0);
                rows(out, 4_000_000, text);
            }
            "ply mesh" => ply_mesh(out),
            "stl text" => stl_text(out),
            "stl binary" => stl_binary(out),
            "obj mesh" => obj_mesh(out),
            "obj cloud" => obj_cloud(out),
            "xyz" => rows(out, 4_000_000, text),
            "pcd text" => {
                pcd(out, 4_000_000, "ascii");
                rows(out, 4_000_000, text);
            }
            "pcd binary" => {
                pcd(out, 9_000_000, "binary");
                rows(out, 9_000_000, |index| bytes(&place(index)));
            }
            "pcd packed" => pcd_packed(out),
            "glb" => glb(out, false),
            "gltf" => glb(out, true),
            "gzip" => gzip(out),
            _ => zstd(out),
        }),
    }
}

const KINDS: [&str; 17] = [
    "ply text",
    "ply mesh",
    "stl text",
    "stl binary",
    "obj mesh",
    "obj cloud",
    "xyz",
    "pcd text",
    "pcd binary",
    "pcd packed",
    "glb",
    "gltf",
    "gzip",
    "zstd",
    "e57",
    "las",
    "laz",
];

#[test]
#[ignore = "writes and reads 17 files of 100 MB, one after the other; prints bytes held for each format"]
fn large_files_are_read_within_twice_their_size() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("scan");
    let mut failed = Vec::new();
    for kind in KINDS {
        make(kind, &path);
        let size = std::fs::metadata(&path).unwrap().len();
        assert!(size >= LEAST_BYTES, "{kind} has {size} bytes");
        let ((points, triangles), peak) = peak_of(|| {
            let scan =
                open_scan(&path, LengthUnit::Millimetre).unwrap_or_else(|error| panic!("{kind}: {error}"));
            let mut counts = [Count::default(), Count::default()];
            (0..scan.part_count()).for_each(|part| scan.read_points(part, &mut counts[0]).unwrap());
            (0..scan.triangle_part_count())
                .for_each(|part| scan.read_triangles(part, &mut counts[1]).unwrap());
            (counts[0].0, counts[1].0)
        });
        assert!(points > 1_000_000, "{kind}: {points} points");
        let mb = |bytes: u64| bytes as f64 / 1e6;
        println!(
            "{kind:<10} {:>6.0} MB, {points} points, {triangles} triangles: {:>6.1} MB held",
            mb(size),
            mb(peak)
        );
        if peak > 2 * size + SPARE_BYTES {
            failed.push(kind);
        }
    }
    assert!(failed.is_empty(), "{failed:?}");
}
