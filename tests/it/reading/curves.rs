//! Reference curves in formats with several of them; expected places by hand from what the writer was told.

use std::path::{Path, PathBuf};

use nalgebra::Point3;
use shutline::files::{CurveFile, CurvePoints, ReadError, read_curve};
use shutline::units::LengthUnit;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/reading/data").join(name)
}

fn dxf(layer: &str) -> CurvePoints {
    read_curve(&data("ezdxf.dxf"), Some(layer), LengthUnit::Millimetre).unwrap()
}

fn length(points: &[Point3<f64>]) -> f64 {
    points.windows(2).map(|pair| (pair[1] - pair[0]).norm()).sum()
}

/// Ends and length of a curve; chords that leave an arc of 5 mm by 0.0001 mm shorten it by a share of 7e-6.
fn check(layer: &str, first: [f64; 3], last: [f64; 3], wanted_length: f64) {
    let points = dxf(layer).points;
    let (start, end) = (points.first().unwrap(), points.last().unwrap());
    assert!((start - Point3::from(first)).norm() < 1e-9, "{layer} starts at {start}");
    assert!((end - Point3::from(last)).norm() < 1e-9, "{layer} ends at {end}");
    let found = length(&points);
    assert!((found - wanted_length).abs() < 2e-5 * wanted_length, "{layer} is {found} long");
}

#[test]
fn dxf_layers_are_curves() {
    let half_root_three = 0.75_f64.sqrt();
    let quarter = std::f64::consts::FRAC_PI_2;
    check("line", [0.0; 3], [10.0, 0.0, 5.0], 125.0_f64.sqrt());
    check(
        "arc",
        [1.0 + 5.0 * half_root_three, 4.5, 3.0],
        [-1.5, 2.0 + 5.0 * half_root_three, 3.0],
        5.0 * quarter,
    );
    check("circle", [6.0, 2.0, 3.0], [6.0, 2.0, 3.0], 20.0 * quarter);
    check("bulge", [0.0; 3], [0.0, 10.0, 0.0], 20.0 + 10.0 * quarter);
    check("poly3d", [0.0; 3], [4.0, 5.0, 6.0], 14.0_f64.sqrt() + 27.0_f64.sqrt());
    check("chain", [0.0; 3], [20.0, 5.0, 0.0], 10.0 + 125.0_f64.sqrt());
    // A quarter of an ellipse with axes 10 and 5: 10 E(3/4) = 12.1105602756... (E: complete elliptic integral).
    check("ellipse", [10.0, 0.0, 0.0], [0.0, 5.0, 0.0], 12.110_560_276);
    assert!(dxf("bulge").points.iter().any(|point| (point - Point3::new(15.0, 5.0, 0.0)).norm() < 1e-9));
    // The middle of a cubic Bezier curve is (p0 + 3 p1 + 3 p2 + p3) / 8.
    let middle = Point3::new(10.0, 5.0, 0.625);
    assert!(dxf("spline").points.iter().any(|point| (point - middle).norm() < 1e-9));
}

#[test]
fn dxf_units_and_names_are_checked() {
    assert_eq!(dxf("line").source_unit, Some(LengthUnit::Millimetre));
    let wrong = read_curve(&data("ezdxf.dxf"), Some("line"), LengthUnit::Inch);
    assert!(matches!(wrong, Err(ReadError::UnitContradiction { .. })));
    let unnamed = read_curve(&data("ezdxf.dxf"), None, LengthUnit::Millimetre).unwrap_err().to_string();
    assert!(unnamed.contains("\"chain\""), "{unnamed}");
    let unknown =
        read_curve(&data("ezdxf.dxf"), Some("roof"), LengthUnit::Millimetre).unwrap_err().to_string();
    assert!(unknown.contains("\"roof\"") && unknown.contains("\"arc\""), "{unknown}");
}

#[test]
fn obj_lines_are_curves() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("curves.obj");
    std::fs::write(&path, "v 0 0 0\nv 1 0 0\nv 2 0 0\no hood\nl 1 2\nl 2 3\no door\nl -1 -3\n").unwrap();
    let read = |name| read_curve(&path, Some(name), LengthUnit::Inch).unwrap().points;
    assert_eq!(read("hood"), [Point3::origin(), Point3::new(25.4, 0.0, 0.0), Point3::new(50.8, 0.0, 0.0)]);
    assert_eq!(read("door"), [Point3::new(50.8, 0.0, 0.0), Point3::origin()]);
}

/// How far a place is from a run of points.
fn off(points: &[Point3<f64>], place: &Point3<f64>) -> f64 {
    let chord = |pair: &[Point3<f64>]| {
        let along = pair[1] - pair[0];
        let share = ((place - pair[0]).dot(&along) / along.norm_squared()).clamp(0.0, 1.0);
        (pair[0] + along * share - place).norm()
    };
    points.windows(2).map(chord).fold(f64::INFINITY, f64::min)
}

/// `ezdxf-more.csv` has what the library that wrote the drawing makes of each layer, to 1e-6.
#[test]
fn dxf_curves_are_as_their_writer_draws_them() {
    check_layers("ezdxf-more", 14);
}

/// The same for blocks: placed, turned, mirrored, stretched, tilted, in rows and in each other.
#[test]
fn inserted_blocks_are_as_their_writer_draws_them() {
    check_layers("ezdxf-blocks", 12);
    // What has a layer of its own keeps it: a line up from the base point (1, 2, 3), inserted at (100, 50, 5).
    let file = CurveFile::open(&data("ezdxf-blocks.dxf")).unwrap();
    let own = file.curve(Some("own"), &[], LengthUnit::Millimetre).unwrap().points;
    let wanted = [Point3::new(99.0, 48.0, 2.0), Point3::new(99.0, 55.0, 2.0)];
    assert!(
        own.len() == 2 && own.iter().zip(wanted).all(|(found, wanted)| (found - wanted).norm() < 1e-9),
        "{own:?}"
    );
}

#[test]
fn blocks_that_hold_each_other_or_are_drawn_without_end_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("blocks.dxf");
    let block = |name: &str, inner: &str, times: u32| {
        let insert = format!("0\nINSERT\n2\n{inner}\n8\n0\n70\n{times}\n71\n{times}\n44\n1\n45\n1\n");
        format!("0\nBLOCK\n2\n{name}\n10\n0\n20\n0\n{insert}0\nENDBLK\n")
    };
    let drawing = |blocks: &str| {
        format!(
            "0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n0\nSECTION\n2\nENTITIES\n0\nINSERT\n2\na\n8\nseam\n\
             0\nENDSEC\n0\nEOF\n"
        )
    };
    for (blocks, wanted) in [
        (block("a", "b", 1) + &block("b", "a", 1), "nested too deep"),
        (block("a", "b", 900) + &block("b", "c", 900) + &block("c", "none", 900), "too often"),
    ] {
        std::fs::write(&path, drawing(&blocks)).unwrap();
        let error = read_curve(&path, Some("seam"), LengthUnit::Millimetre).unwrap_err().to_string();
        assert!(error.contains(wanted), "{error}");
    }
}

fn check_layers(name: &str, layer_count: usize) {
    let file = CurveFile::open(&data(&format!("{name}.dxf"))).unwrap();
    let mut layers: Vec<(String, f64, Vec<Point3<f64>>)> = Vec::new();
    for row in csv::Reader::from_path(data(&format!("{name}.csv"))).unwrap().records() {
        let row = row.unwrap();
        let number = |column: usize| row[column].parse::<f64>().unwrap();
        if layers.last().is_none_or(|(layer, ..)| *layer != row[0]) {
            layers.push((row[0].to_owned(), number(1), Vec::new()));
        }
        layers.last_mut().unwrap().2.push(Point3::new(number(2), number(3), number(4)));
    }
    assert_eq!(layers.len(), layer_count);
    for (layer, wanted, places) in &layers {
        let points = file
            .curve(Some(layer), &[], LengthUnit::Millimetre)
            .unwrap_or_else(|error| panic!("{error}"))
            .points;
        // Chords leave our curve by at most 0.0001 mm, the writer's by 0.000001 mm.
        for place in places {
            assert!(off(&points, place) < 1.1e-4, "{layer}: {place} is {} off", off(&points, place));
        }
        // A sagitta of 0.0001 on a radius of 2 shortens an arc by a share of 1.7e-5.
        let found = length(&points);
        assert!((found - wanted).abs() < 2e-5 * wanted, "{layer} is {found} long, not {wanted}");
        // A ring may begin anywhere.
        let is_ring = (places[0] - places[places.len() - 1]).norm() < 1e-6;
        assert!(is_ring || (points[0] - places[0]).norm() < 1e-6, "{layer} starts at {}", points[0]);
    }
}

#[test]
fn only_curves_of_the_car_are_taken_from_a_drawing() {
    let file = CurveFile::open(&data("ezdxf-more.dxf")).unwrap();
    for layer in ["paper", "mesh", "text"] {
        let error = file.curve(Some(layer), &[], LengthUnit::Millimetre).unwrap_err();
        assert!(matches!(error, ReadError::NoSuchCurve { .. }), "{layer}: {error}");
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("binary.dxf");
    std::fs::write(&path, b"AutoCAD Binary DXF\r\n\x1a\0\0\0SECTION\0").unwrap();
    let binary = read_curve(&path, None, LengthUnit::Millimetre).unwrap_err().to_string();
    assert!(binary.contains("save it as text"), "{binary}");
}

#[test]
fn dxf_units_that_are_not_the_plans_are_refused() {
    let read = |name: &str, unit| read_curve(&data(name), Some("seam"), unit);
    let inch = read("ezdxf-inch.dxf", LengthUnit::Inch).unwrap();
    assert_eq!(inch.points[1], Point3::new(50.8, 0.0, 25.4));
    assert!(matches!(
        read("ezdxf-inch.dxf", LengthUnit::Millimetre),
        Err(ReadError::UnitContradiction { .. })
    ));
    let feet = read("ezdxf-feet.dxf", LengthUnit::Inch).unwrap_err().to_string();
    assert!(feet.contains("number 2"), "{feet}");
}

#[test]
fn places_pick_layers_and_say_what_is_wrong() {
    let file = CurveFile::open(&data("ezdxf.dxf")).unwrap();
    let near =
        |places: &[[f64; 3]]| file.curve(None, places, LengthUnit::Millimetre).map(|curve| curve.points);
    let points = near(&[[9.0, 0.0, 5.1], [1.0, 0.0, 0.4]]).unwrap();
    assert_eq!(
        (points[0], points[1]),
        (Point3::new(10.0, 0.0, 5.0), Point3::origin()),
        "from the first place to the last"
    );
    let far = near(&[[0.0, 0.0, 900.0]]).unwrap_err().to_string();
    assert!(far.contains("20 mm are allowed"), "{far}");
    let apart = near(&[[9.0, 0.0, 5.1], [6.0, 2.0, 3.0]]).unwrap_err().to_string();
    assert!(apart.contains("mm apart"), "{apart}");
}

#[test]
fn edges_of_a_ply_are_curves() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("edges.ply");
    let head = |format: &str, extra: &str| {
        format!(
            "ply\nformat {format} 1.0\nelement vertex 4\n{extra}property float x\nproperty float y\n\
             property float z\nelement edge 3\nproperty int vertex1\nproperty int vertex2\n\
             property uchar red\nend_header\n"
        )
    };
    let wanted = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0], [2.0, 5.0, 0.0]].map(Point3::from);
    let text = head("ascii", "property list uchar float row\n")
        + "0 0 0 0\n2 7 8 1 0 0\n1 9 2 0 0\n0 2 5 0\n0 1 255\n2 1 255\n3 2 255\n";
    std::fs::write(&path, &text).unwrap();
    assert_eq!(read_curve(&path, None, LengthUnit::Millimetre).unwrap().points, wanted);

    let mut bytes = head("binary_little_endian", "").into_bytes();
    bytes.extend(
        wanted.iter().flat_map(|point| point.iter().map(|value| *value as f32)).flat_map(f32::to_le_bytes),
    );
    for [first, second] in [[0_i32, 1], [2, 1], [3, 2]] {
        bytes.extend(first.to_le_bytes().into_iter().chain(second.to_le_bytes()).chain([255]));
    }
    std::fs::write(&path, &bytes).unwrap();
    assert_eq!(read_curve(&path, Some("edge-1"), LengthUnit::Millimetre).unwrap().points, wanted);

    std::fs::write(&path, &bytes[..bytes.len() - 1]).unwrap();
    assert!(matches!(read_curve(&path, None, LengthUnit::Millimetre), Err(ReadError::CutOff { .. })));
    std::fs::write(&path, text.replace("2 1 255", "9 1 255")).unwrap();
    let wrong = read_curve(&path, None, LengthUnit::Millimetre).unwrap_err().to_string();
    assert!(wrong.contains("corner 9"), "{wrong}");
    let none = read_curve(&data("o3d.ply"), None, LengthUnit::Millimetre).unwrap_err().to_string();
    assert!(none.contains("vertex1"), "{none}");
}
