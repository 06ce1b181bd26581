//! The same small plate in files written by general-purpose libraries; `data/README.md` says which and how.
//!
//! Tolerance: none, but where a writer rounds: half a unit of its last digit, on the one coordinate that has more digits.

use std::path::{Path, PathBuf};

use nalgebra::Point3;
use shutline::units::LengthUnit;

use crate::memory::peak_of;

use super::collect::{Collected, collect, collect_path};

/// Six significant digits: x and y, multiples of 0.5, are exact in them, and z is below 10. A
/// little more than half a unit, for 1.265625 lies in the very middle.
const SIX_DIGITS: f64 = 5.000_001e-6;
/// Eight decimals.
const EIGHT_DECIMALS: f64 = 5e-9;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/reading/data").join(name)
}

fn plate() -> Vec<Point3<f64>> {
    let text = std::fs::read_to_string(data("plate.csv")).unwrap();
    let number = |word: &str| word.parse::<f64>().unwrap();
    let rows = text.lines().map(|line| line.split(',').map(number).collect::<Vec<f64>>());
    rows.map(|row| Point3::new(row[0], row[1], row[2])).collect()
}

fn read(name: &str) -> Collected {
    collect_path(&data(name), LengthUnit::Millimetre).unwrap_or_else(|failure| panic!("{}", failure.text()))
}

#[test]
fn clouds_hold_the_same_points_in_the_same_order() {
    for (name, tolerance) in [
        ("o3d-ascii.ply", SIX_DIGITS),
        ("o3d.ply", 0.0),
        ("plyfile-big-endian.ply", 0.0),
        ("o3d-ascii.pcd", 0.0),
        ("o3d.pcd", 0.0),
        ("o3d-packed.pcd", 0.0),
        ("o3d.xyzn", 0.0),
        ("o3d.pts", 0.0),
        ("o3d.xyz", 0.0),
        ("plate.csv", 0.0),
        ("o3d.ply.gz", 0.0),
        ("o3d.ply.zst", 0.0),
        ("laspy.las", 1e-12),
        ("laspy.laz", 1e-12),
        ("laspy-6.laz", 1e-12),
        ("pye57.e57", 0.0),
        ("pye57-pose.e57", 1e-12),
        ("trimesh.ply", 0.0),
        ("trimesh-ascii.ply", EIGHT_DECIMALS),
        ("trimesh.obj", EIGHT_DECIMALS),
        ("o3d-mesh.ply", 0.0),
        ("o3d-mesh.obj", SIX_DIGITS),
        ("trimesh.glb", 0.0),
    ] {
        let (scan, wanted) = (read(name), plate());
        assert_eq!(scan.points.len(), wanted.len(), "{name}");
        assert_eq!(scan.facts.point_count, Some(wanted.len() as u64), "{name}");
        for (point, wanted) in scan.points.iter().zip(&wanted) {
            let distance = (Point3::from(*point) - wanted).norm();
            assert!(distance <= tolerance, "{name}: {point:?} is not {wanted:?}");
        }
    }
}

#[test]
fn normals_arrive_where_the_file_has_them() {
    for name in ["o3d-ascii.ply", "o3d.ply", "o3d.pcd", "o3d-packed.pcd", "o3d-ascii.pcd", "o3d.xyzn"] {
        let scan = read(name);
        assert!(scan.facts.has_normals && scan.normals.len() == 120, "{name}");
        let [x, y, z] = scan.normals[7];
        assert!(x.abs() < 1e-6 && (y - 0.6).abs() < 1e-6 && (z - 0.8).abs() < 1e-6, "{name}: {x} {y} {z}");
    }
}

#[test]
fn meshes_hold_the_same_triangles() {
    let plate = plate();
    let wanted = [plate[0], plate[10], plate[1]];
    for name in [
        "trimesh.stl",
        "trimesh-ascii.stl",
        "trimesh.obj",
        "trimesh.ply",
        "trimesh-ascii.ply",
        "trimesh.glb",
        "o3d-mesh.ply",
        "o3d-mesh.stl",
        "o3d-mesh.obj",
        "o3d-mesh.glb",
        "o3d-mesh.gltf",
    ] {
        let scan = read(name);
        assert_eq!(scan.triangles.len(), 198, "{name}");
        assert_eq!(scan.facts.triangle_count, Some(198), "{name}");
        for (corner, wanted) in scan.triangles[0].iter().zip(&wanted) {
            // 1/64, the only height among them, has few enough digits for every writer.
            assert!((corner - wanted).norm() == 0.0, "{name}: {corner} is not {wanted}");
        }
    }
}

#[test]
fn the_unit_only_scales() {
    let metres = collect_path(&data("o3d.ply"), LengthUnit::Metre).unwrap();
    for (point, wanted) in metres.points.iter().zip(plate()) {
        assert_eq!(Point3::from(*point), wanted * 1000.0);
    }
}

/// Found by broken files: packed fields that never change take no bytes, and a huge count would be decoded from nothing.
#[test]
fn a_packed_file_that_promises_points_without_end_is_refused() {
    // LAS 1.4 R15, table 3: the number of point records stands at byte 247.
    let mut bytes = std::fs::read(data("laspy-6.laz")).unwrap();
    bytes[247..255].copy_from_slice(&(1_u64 << 40).to_le_bytes());
    let text = collect(&bytes).unwrap_err().text();
    assert!(text.contains("1099511627776 points are promised"), "{text}");
}

/// Found by fuzzing: the decoder unpacks chunks that its table does not list, and looks for the table at the end of the file where
/// the place of it makes no sense; either way it made room for more than a gigabyte.
#[test]
fn packed_files_are_looked_at_as_their_decoder_reads_them() {
    let whole = std::fs::read(data("laspy-6.laz")).unwrap();
    let number = |at: usize| u32::from_le_bytes(whole[at..at + 4].try_into().unwrap()) as usize;
    // LAS 1.4 R15, table 3; the points begin with the place of the table, which begins with version and count.
    let data_at = number(96);
    let table_at = number(data_at);
    let mut not_listed = whole.clone();
    not_listed[table_at + 4..table_at + 8].fill(0);
    // Behind the first point of 30 bytes and a count: the size of the first layer.
    not_listed[data_at + 42..data_at + 46].copy_from_slice(&0x4000_0000_u32.to_le_bytes());
    let mut at_the_end = whole.clone();
    at_the_end[data_at..data_at + 8].copy_from_slice(&(-2_i64).to_le_bytes());
    at_the_end.extend_from_slice(&[[0; 4], [0xff; 4]].concat());
    at_the_end.extend_from_slice(&(whole.len() as u64).to_le_bytes());
    for (bytes, wanted) in [(not_listed, "more bytes than there are"), (at_the_end, "chunks are promised")] {
        let (outcome, peak) = peak_of(|| collect(&bytes).map(|scan| scan.points.len()));
        let text = outcome.unwrap_err().text();
        assert!(text.contains(wanted), "{text}");
        assert!(peak < 8 << 20, "{peak} bytes held");
    }
}

/// Found by broken files: the decoder made room for points of the size that a field says it has, and unpacked what its kind has:
/// one byte of a file of 770 bytes changed, and 82 MB were held.
#[test]
fn a_packed_field_has_the_size_of_its_kind() {
    let mut bytes = std::fs::read(data("laspy-6.laz")).unwrap();
    // The record about packing: kind 10 (a whole point of format 6) with 30 bytes in version 3.
    let field = [10_u16, 30, 3].map(u16::to_le_bytes).concat();
    let at = bytes.windows(6).position(|window| window == field).unwrap();
    bytes[at + 2] = 5;
    let (outcome, peak) = peak_of(|| collect(&bytes).map(|scan| scan.points.len()));
    let text = outcome.unwrap_err().text();
    assert!(text.contains("do not make a point"), "{text}");
    assert!(peak < 8 << 20, "{peak} bytes held");
}

/// Found by fuzzing: points that are packed without chunks begin where those in chunks have the place of their table. Looked at eight
/// bytes too far, 765 bytes held 252 MB.
#[test]
fn points_that_are_not_in_chunks_are_looked_at_where_they_begin() {
    let bytes = std::fs::read(data("layer-of-252-mb.laz")).unwrap();
    let (outcome, peak) = peak_of(|| collect(&bytes).map(|scan| scan.points.len()));
    let text = outcome.unwrap_err().text();
    assert!(text.contains("more bytes than there are"), "{text}");
    assert!(peak < 8 << 20, "{peak} bytes held");
}

/// Found by fuzzing: records behind the points may say that they have any number of bytes, and an allocation that fails ends the
/// program. Nothing in them is needed.
#[test]
fn records_behind_the_points_are_not_looked_at() {
    let mut bytes = std::fs::read(data("laspy-6.laz")).unwrap();
    // LAS 1.4 R15, table 3 and 2.7: place and count of the extended records; a record's length stands at its byte 20.
    let place = (bytes.len() as u64).to_le_bytes();
    bytes[235..243].copy_from_slice(&place);
    bytes[243..247].copy_from_slice(&1_u32.to_le_bytes());
    bytes.extend_from_slice(&[[0; 20].as_slice(), &(1_u64 << 55).to_le_bytes(), &[0; 32]].concat());
    assert_eq!(collect(&bytes).unwrap().points, read("laspy-6.laz").points);
}

/// The content of an E57 file without its checksums, changed, with its checksums again (ASTM E2807, 6.3: pages of 1024 bytes, the
/// last four CRC-32C of the others).
fn e57_with(name: &str, change: &[(&str, &str)]) -> Vec<u8> {
    let bytes = std::fs::read(data(name)).unwrap();
    let mut content: Vec<u8> = bytes.chunks(1024).flat_map(|page| page[..1020].to_vec()).collect();
    for (old, new) in change {
        assert_eq!(old.len(), new.len(), "lengths stand in the head");
        let place = content.windows(old.len()).position(|window| window == old.as_bytes()).unwrap();
        content[place..place + old.len()].copy_from_slice(new.as_bytes());
    }
    let checksum = |page: &[u8]| {
        !page.iter().fold(!0_u32, |sum, byte| {
            (0..8)
                .fold(sum ^ u32::from(*byte), |sum, _| (sum >> 1) ^ (0x82F6_3B78 & (sum & 1).wrapping_neg()))
        })
    };
    content
        .chunks(1020)
        .flat_map(|page| [page.to_vec(), checksum(page).to_be_bytes().to_vec()].concat())
        .collect()
}

/// The same for E57, where a count stands in text: room for a longer one is taken from the blanks before it.
#[test]
fn an_e57_file_that_promises_points_without_end_is_refused() {
    let unchanged = collect(&e57_with("pye57.e57", &[])).unwrap();
    assert_eq!(unchanged.points, read("pye57.e57").points, "the checksums are right");
    let count = r#"      <points type="CompressedVector" fileOffset="48" recordCount="120">"#;
    let huge = r#"<points type="CompressedVector" fileOffset="48" recordCount="120000000">"#;
    let text = collect(&e57_with("pye57.e57", &[(count, huge)])).unwrap_err().text();
    assert!(text.contains("120000000 points are promised"), "{text}");
    // A count that the guard believes, but that the file does not hold.
    let some = r#"   <points type="CompressedVector" fileOffset="48" recordCount="120000">"#;
    assert!(collect(&e57_with("pye57.e57", &[(count, some)])).is_err());
}
