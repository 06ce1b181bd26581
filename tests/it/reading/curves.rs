//! Reference curves in formats with several of them; expected places by hand from what the writer was told.

use std::path::{Path, PathBuf};

use nalgebra::Point3;
use shutline::files::{CurvePoints, ReadError, read_curve};
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

/// Ends and length of a curve; chords of 1° shorten an arc by a share of 1.3e-5, the rest is the file's digits.
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
