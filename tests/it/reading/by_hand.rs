//! Small files written by hand, of every kind that real programs write.

use crate::memory::peak_of;

use super::collect::{Collected, collect};

fn floats(values: &[f32], is_big_endian: bool) -> Vec<u8> {
    values
        .iter()
        .flat_map(|value| if is_big_endian { value.to_be_bytes() } else { value.to_le_bytes() })
        .collect()
}

fn read(bytes: &[u8]) -> Collected {
    collect(bytes).unwrap_or_else(|failure| panic!("{}\n{}", failure.text(), String::from_utf8_lossy(bytes)))
}

fn refused(bytes: &[u8], expected: &str) {
    let text = collect(bytes).expect_err(&String::from_utf8_lossy(bytes)).text();
    assert!(text.contains(expected), "{text:?} does not say {expected:?}");
}

const TWO: [[f64; 3]; 2] = [[1.0, 2.0, 3.0], [-4.5, 5.0, 6.0]];

#[test]
fn ascii_ply_as_people_write_it() {
    let plain = "ply\nformat ascii 1.0\nelement vertex 2\nproperty float x\nproperty float y\nproperty float z\nend_header\n1 2 3\n-4.5 5 6\n";
    for text in [
        plain.to_owned(),
        plain.replace('\n', "\r\n"),
        plain.replace('\n', "\r"),
        plain.replace("element", "\ncomment gr\u{fc}n\n  obj_info\n   element"),
        plain.replace("-4.5 5 6\n", "-.45E1 5. +6"),
        format!("  {plain}"),
    ] {
        assert_eq!(read(text.as_bytes()).points, TWO, "{text}");
    }
    let latin = [b"ply\ncomment gr\xfcn\n".as_slice(), &plain.as_bytes()[4..]].concat();
    assert_eq!(read(&latin).points, TWO);
}

#[test]
fn ascii_ply_with_normals_other_elements_and_faces() {
    let text = "ply\nformat ascii 1.0\nelement camera 1\nproperty list uchar float row\nelement vertex 4\n\
        property uchar red\nproperty double z\nproperty float nx\nproperty float ny\nproperty float nz\n\
        property double y\nproperty double x\nproperty float scalar_(Z)\nelement face 2\nproperty uchar flag\n\
        property list uchar int vertex_indices\nend_header\n2 7 8\n9 3 0 0 1 2 1 5\n9 0 0 0 1 0 0 5\n\
        9 0 0 0 1 0 1 5\n9 0 0 0 1 1 1 5\n0 3 0 1 2\n0 4 0 1 2 3\n";
    let scan = read(text.as_bytes());
    assert_eq!(scan.points[0], [1.0, 2.0, 3.0]);
    assert_eq!(scan.normals, [[0.0, 0.0, 1.0]; 4]);
    assert_eq!(scan.triangles.len(), 3);
    assert_eq!(scan.facts.triangle_count, Some(3));
    assert_eq!(scan.triangles[2][2], nalgebra::Point3::new(1.0, 1.0, 0.0));
    refused(text.replace("3 0 1 2", "3 0 1 9").as_bytes(), "corner 9 of 4");
}

#[test]
fn binary_ply_of_either_order_with_odd_types() {
    for (name, is_big_endian) in [("binary_little_endian", false), ("binary_big_endian", true)] {
        let head = format!(
            "ply\nformat {name} 1.0\nelement vertex 2\nproperty int64 stamp\nproperty float32 x\n\
             property float y\nproperty float z\nproperty uchar red\nelement face 1\n\
             property list uchar ushort vertex_index\nend_header\n"
        );
        let mut bytes = head.into_bytes();
        for point in TWO {
            bytes.extend([0; 8]);
            bytes.extend(floats(&point.map(|value| value as f32), is_big_endian));
            bytes.push(255);
        }
        bytes.push(3);
        for index in [0_u16, 1, 0] {
            bytes.extend(if is_big_endian { index.to_be_bytes() } else { index.to_le_bytes() });
        }
        let scan = read(&bytes);
        assert_eq!(scan.points, TWO);
        assert_eq!(scan.triangles.len(), 1);
        refused(&bytes[..bytes.len() - 1], "promises 1 faces and holds 0");
        refused(&bytes[..bytes.len() - 8], "promises 2 points and holds 1");
    }
}

#[test]
fn ply_rows_may_be_of_changing_length() {
    let head = |format: &str| {
        format!(
            "ply\nformat {format} 1.0\nelement vertex 2\nproperty list uchar short before\nproperty double x\n\
             property list uint uchar between\nproperty double y\nproperty float nz\nproperty double z\n\
             property float nx\nproperty float ny\nproperty list uchar int behind\nelement face 1\n\
             property list uchar int vertex_indices\nend_header\n"
        )
    };
    let text = head("ascii") + "2 7 8 1 0 2 1 3 0 0 1 9\n0 -4.5 3 1 2 3 5 0.5 6 0 0 0\n3 0 1 0\n";
    let scan = read(text.as_bytes());
    assert_eq!((&scan.points, scan.triangles.len()), (&TWO.to_vec(), 1));
    assert_eq!(scan.normals, [[0.0, 0.0, 1.0], [0.0, 0.0, 0.5]]);
    refused(text.replace("0 -4.5 3 1", "0 -4.5 99999999999 1").as_bytes(), "row 2");
    refused(&text.as_bytes()[..text.len() - 38], "holds 1");

    let mut bytes = head("binary_big_endian").into_bytes();
    for (before, point, between, nz, behind) in [(2_u8, TWO[0], 0_u32, 1.0_f32, 1_u8), (0, TWO[1], 3, 0.5, 0)]
    {
        bytes.push(before);
        bytes.extend(vec![9; 2 * usize::from(before)]);
        bytes.extend(point[0].to_be_bytes());
        bytes.extend(between.to_be_bytes());
        bytes.extend(vec![9; between as usize]);
        bytes.extend(point[1].to_be_bytes());
        bytes.extend(nz.to_be_bytes());
        bytes.extend(point[2].to_be_bytes());
        bytes.extend([0; 8]);
        bytes.push(behind);
        bytes.extend(vec![9; 4 * usize::from(behind)]);
    }
    let rows_end = bytes.len();
    bytes.push(3);
    bytes.extend([0, 1, 0].into_iter().flat_map(i32::to_be_bytes));
    let scan = read(&bytes);
    assert_eq!((scan.points, scan.triangles.len()), (TWO.to_vec(), 1));
    assert_eq!(scan.normals, [[0.0, 0.0, 1.0], [0.0, 0.0, 0.5]]);
    refused(&bytes[..rows_end - 1], "promises 2 points and holds 1");
}

#[test]
fn triangle_strips_turn_and_begin_anew() {
    let text = "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n\
        element tristrips 1\nproperty list int int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n\
        8 0 1 2 3 -1 0 1 2\n";
    let triangles = read(text.as_bytes()).triangles;
    assert_eq!(triangles.len(), 3);
    for [a, b, c] in triangles {
        assert!((b - a).cross(&(c - a)).z > 0.0, "every triangle keeps its outside");
    }
}

#[test]
fn hostile_ply_heads_are_refused_with_their_line() {
    let head = |lines: &str| format!("ply\nformat ascii 1.0\n{lines}\nend_header\n1 2 3\n").into_bytes();
    let xyz = "property float x\nproperty float y\nproperty float z";
    refused(&head(&format!("element vertex 18446744073709551615\n{xyz}")), "holds 1");
    refused(&head(&format!("element vertex 99999999999999999999999\n{xyz}")), "line 3");
    refused(&head(&format!("element vertex -1\n{xyz}")), "is no count");
    refused(&head(&format!("element vertex 1\n{xyz}\nproperty int x")), "comes twice");
    refused(&head(&format!("element vertex 1\n{xyz}\nelement vertex 1")), "comes twice");
    refused(&head("element vertex 1\nproperty float x"), "x, y and z");
    refused(
        &head(&format!("element vertex 1\n{}", xyz.replace("float z", "quaternion z"))),
        "no number type",
    );
    refused(&head(&format!("element vertex 0\n{xyz}")), "no points");
    refused(b"ply\nformat ascii 1.0\nelement vertex 3", "cut off");
    refused(b"ply\nformat ascii 9.9\nend_header\n", "line 2");
}

#[test]
fn text_clouds_in_any_dialect() {
    for text in [
        "1 2 3\n-4.5 5 6\n",
        "2\n1 2 3\n-4.5 5 6",
        "x;y;z\n1,0;2,0;3,0\n-4,5;5;6\n",
        "//X,Y,Z\n1,2,3\n-4.5,5,6\n",
        "# made by hand\n1\t2\t3\n-4.5\t5\t6\n",
        "id,z,y,x\n7,3,2,1\n8,6,5,-4.5\n",
        "1,0 2,0 3,0\r\n-4,5 5,0 6,0\r\n",
    ] {
        assert_eq!(read(text.as_bytes()).points, TWO, "{text}");
    }
    let scan = read(b"1 2 3 0 0 1 7\n-4.5 5 6 0 0.6 0.8 7\n");
    assert_eq!(scan.normals.len(), 2);
    assert!(scan.facts.format.contains("with normals"), "{}", scan.facts.format);
    assert!(read(b"1 2 3 255 0 1\n-4.5 5 6 0 6 8\n").normals.is_empty(), "colours are no normals");
    refused(b"1 2 3\n4 5\n", "point 2");
    refused(b"1 2\n4 5\n", "x, y and z");
}

#[test]
fn stl_is_told_by_its_size_and_not_by_its_first_word() {
    let mut bytes = b"solid but binary".to_vec();
    bytes.resize(80, 0);
    bytes.extend(1_u32.to_le_bytes());
    bytes.extend(floats(&[0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0], false));
    bytes.extend([0, 0]);
    let scan = read(&bytes);
    assert_eq!((scan.points.len(), scan.triangles.len()), (3, 1));
    refused(&bytes[..120], "promises 1 triangles and holds 0");
    let text = "solid part\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid part\n";
    assert_eq!(read(text.as_bytes()).triangles, scan.triangles);
    refused(&text.as_bytes()[..text.len() - 44], "holds 0");
}

#[test]
fn obj_corners_are_counted_from_either_end() {
    let text = "# made by hand\nmtllib none.mtl\nv 0 0 0 0.5 0.5 0.5\nv 1 0 0\nv 1 1 0\nv 0 1 0\nvn 0 0 1\n\
        f 1/1/1 2//1 3/2 \\\n4\nf -4 -3 -2\n";
    let scan = read(text.as_bytes());
    assert_eq!((scan.points.len(), scan.triangles.len()), (4, 3));
    assert_eq!(scan.triangles[0], scan.triangles[2]);
    refused(b"v 0 0 0\nf 1 2 3\n", "line 2");
    refused(b"v 0 0 0\nf 0 1 1\n", "line 2");
    assert_eq!(read(b"v 1 2 3\nv -4.5 5 6\n").points, TWO);
}

#[test]
fn obj_clouds_have_their_normals() {
    let scan = read(b"vn 0 0 1\nv 1 2 3\nvn 0 0.6 -0.8\nv -4.5 5 6\n");
    assert_eq!(scan.points, TWO);
    assert!(scan.facts.has_normals);
    assert_eq!(scan.normals, [[0.0, 0.0, 1.0], [0.0, 0.6, -0.8]]);
    // One too few are nobody's; a mesh's belong to corners of faces.
    for text in [
        "v 1 2 3\nv -4.5 5 6\nvn 0 0 1\n",
        "v 0 0 0\nv 1 0 0\nv 0 1 0\nvn 0 0 1\nvn 0 0 1\nvn 0 0 1\nf 1 2 3\n",
    ] {
        let scan = read(text.as_bytes());
        assert!(!scan.facts.has_normals && scan.normals.is_empty(), "{text}");
    }
}

/// Two points with normals, at a node that turns x to y, stretches by (2, 1, 1) and moves by (10, 0, 0).
#[test]
fn gltf_points_have_their_normals() {
    let numbers = floats(&[1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 1.0, 0.0, 0.0, 0.6, 0.8, 0.0], false);
    let json = r#"{"scenes":[{"nodes":[0]}],"nodes":[{"mesh":0,"translation":[10,0,0],"scale":[2,1,1],
        "rotation":[0,0,0.7071067811865476,0.7071067811865476]}],
        "meshes":[{"primitives":[{"mode":0,"attributes":{"POSITION":0,"NORMAL":1}}]}],
        "accessors":[{"bufferView":0,"componentType":5126,"count":2,"type":"VEC3"},
        {"bufferView":0,"byteOffset":24,"componentType":5126,"count":2,"type":"VEC3"}],
        "bufferViews":[{"buffer":0,"byteLength":48}],"buffers":[{"byteLength":48}]}"#;
    let length = |bytes: &[u8]| (bytes.len() as u32).to_le_bytes();
    let glb = [
        &b"glTF\x02\0\0\0\0\0\0\0"[..],
        &length(json.as_bytes()),
        b"JSON",
        json.as_bytes(),
        &length(&numbers),
        b"BIN\0",
        &numbers,
    ]
    .concat();
    let scan = read(&glb);
    for (found, wanted) in scan.points.iter().zip([[8.0, 2.0, 3.0], [5.0, 8.0, 6.0]]) {
        assert!(found.iter().zip(wanted).all(|(found, wanted)| (found - wanted).abs() < 1e-12), "{found:?}");
    }
    // A surface across (0.6, 0.8) is across (0.6 / 2, 0.8) when stretched, which is then turned.
    let length = 0.3_f32.hypot(0.8);
    for (found, wanted) in scan.normals.iter().zip([[0.0, 1.0, 0.0], [-0.8 / length, 0.3 / length, 0.0]]) {
        assert!(found.iter().zip(wanted).all(|(found, wanted)| (found - wanted).abs() < 1e-6), "{found:?}");
    }
}

#[test]
fn pcd_rows_in_text_and_binary() {
    let head = |data: &str| {
        format!(
            "# .PCD v.7\nVERSION .7\nFIELDS x y z rgb\nSIZE 4 4 4 4\nTYPE F F F U\nCOUNT 1 1 1 1\nWIDTH 2\nHEIGHT 1\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS 2\nDATA {data}\n"
        )
    };
    assert_eq!(read(format!("{}1 2 3 9\n-4.5 5 6 nan\n", head("ascii")).as_bytes()).points, TWO);
    let mut bytes = head("binary").into_bytes();
    for point in TWO {
        bytes.extend(floats(&point.map(|value| value as f32), false));
        bytes.extend([0; 4]);
    }
    assert_eq!(read(&bytes).points, TWO);
    refused(&bytes[..bytes.len() - 1], "promises 2 points and holds 1");
}

/// Found by fuzzing: rows of no bytes, by which the file's length was divided.
#[test]
fn pcd_fields_that_hold_no_numbers_are_no_positions() {
    for data in ["ascii", "binary", "binary_compressed"] {
        for counts in ["0 0 0", "1 0 1"] {
            let head = format!(
                "# .PCD v.7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT {counts}\nPOINTS 2\nDATA {data}\n"
            );
            refused(&[head.as_bytes(), &[b' '; 40]].concat(), "it has no fields x, y, z");
        }
    }
}

#[test]
fn packed_scans_are_unpacked() {
    use std::io::Write;
    let text = b"1 2 3\n-4.5 5 6\n";
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    gzip.write_all(text).unwrap();
    let gzip = gzip.finish().unwrap();
    assert_eq!(read(&gzip).points, TWO);
    refused(&gzip[..gzip.len() - 9], "could not read");
    // One raw block in one frame, by RFC 8878: magic, single-segment flag, content size, block head (last, raw, length).
    let mut zstd = vec![0x28, 0xb5, 0x2f, 0xfd, 0x20, text.len() as u8];
    zstd.extend([1 | (text.len() as u8) << 3, 0, 0]);
    zstd.extend_from_slice(text);
    assert_eq!(read(&zstd).points, TWO);
    refused(&zstd[..zstd.len() - 3], "could not read");
}

/// Found by fuzzing: runs of one byte (RFC 8878, 3.1.1.2.2) that unpack to 60 MB, all of which the frame wants to look back on.
#[test]
fn a_small_packed_file_that_wants_a_large_window_is_refused() {
    let magic = [0x28, 0xb5, 0x2f, 0xfd];
    let run = |is_last: bool| {
        [(((128 << 10) << 3 | 2 | u32::from(is_last)).to_le_bytes())[..3].to_vec(), vec![b' ']].concat()
    };
    let runs: Vec<u8> = (0..480).flat_map(|number| run(number == 479)).collect();
    let packed = |window: u8| [&magic[..], &[0, window], &runs].concat();
    let (outcome, peak) = peak_of(|| collect(&packed(0x80)).map(|scan| scan.points.len()));
    let text = outcome.unwrap_err().text();
    assert!(text.contains("looks back over 64 MB"), "{text}");
    assert!(peak < 8 << 20, "{peak} bytes held");
    // The same with a window as packers take it is unpacked, within the bound, and is no scan.
    let (outcome, peak) = peak_of(|| collect(&packed(0x68)).map(|scan| scan.points.len()));
    assert!(outcome.is_err() && peak < 64 << 20, "{peak} bytes held");
}

#[test]
fn what_is_no_scan_is_said_to_be_none() {
    refused(b"", "is empty");
    refused(b"hello, this is a letter\n", "no format known");
    refused(b"\x00\x01\x02\x03", "no format known");
    refused(b"%PDF-1.7 \x00\x00", "no format known");
}
