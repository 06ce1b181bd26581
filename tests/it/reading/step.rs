//! Curves of STEP files written by a CAD kernel; `data/README.md` says which. Truth: closed forms from what the kernel was told,
//! and for edges of solids the kernel's own lengths and points (`ocp-*.csv`: nine points an edge, in the file's unit).

use std::f64::consts::{FRAC_PI_2, TAU};
use std::path::{Path, PathBuf};

use nalgebra::Point3;
use shutline::files::{CurveFile, ReadError, read_curve};
use shutline::units::LengthUnit;

/// What 1e-6 of a curve's size as sagitta leaves of its length: less than this share.
const LENGTH_SHARE: f64 = 2e-6;
/// Sagitta of chords, and the digits of the file (1e-12 of lengths, 1e-7 between vertex and curve).
const OFF_SHARE: f64 = 2e-6;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/reading/data").join(name)
}

fn only(name: &str) -> Vec<Point3<f64>> {
    read_curve(&data(name), None, LengthUnit::Millimetre).unwrap_or_else(|error| panic!("{error}")).points
}

fn near(
    file: &CurveFile,
    name: Option<&str>,
    places: &[[f64; 3]],
    unit: LengthUnit,
) -> Result<Vec<Point3<f64>>, ReadError> {
    file.curve(name, places, unit).map(|curve| curve.points)
}

fn length(points: &[Point3<f64>]) -> f64 {
    points.windows(2).map(|pair| (pair[1] - pair[0]).norm()).sum()
}

fn off(points: &[Point3<f64>], place: &Point3<f64>) -> f64 {
    let chord = |pair: &[Point3<f64>]| {
        let along = pair[1] - pair[0];
        let share = ((place - pair[0]).dot(&along) / along.norm_squared()).clamp(0.0, 1.0);
        (pair[0] + along * share - place).norm()
    };
    points.windows(2).map(chord).fold(f64::INFINITY, f64::min)
}

/// Ends to 1e-9: files are written to 1e-12 or so.
fn check(points: &[Point3<f64>], first: [f64; 3], last: [f64; 3], wanted: f64) {
    let (start, end) = (points.first().unwrap(), points.last().unwrap());
    assert!((start - Point3::from(first)).norm() < 1e-9, "starts at {start}");
    assert!((end - Point3::from(last)).norm() < 1e-9, "ends at {end}");
    let found = length(points);
    assert!((found - wanted).abs() < LENGTH_SHARE * wanted, "{found} long, not {wanted}");
}

/// The kernel's edges: length and points, mm.
fn truth(name: &str, unit: LengthUnit) -> Vec<(f64, Vec<Point3<f64>>)> {
    let mut edges: Vec<(f64, Vec<Point3<f64>>)> = Vec::new();
    for row in csv::Reader::from_path(data(name)).unwrap().records() {
        let row = row.unwrap();
        let number = |column: usize| row[column].parse::<f64>().unwrap() * unit.mm();
        if edges.last().is_none_or(|(_, points)| points.len() == 9) {
            edges.push((number(1), Vec::new()));
        }
        edges.last_mut().unwrap().1.push(Point3::new(number(2), number(3), number(4)));
    }
    // Poles of round corners are edges without length in the kernel and none in the file.
    edges.retain(|(length, _)| *length > 1e-6);
    edges
}

/// Picks every edge by three places on it, in its direction and against it.
fn check_edges(name: &str, unit: LengthUnit, wanted_count: usize) {
    let file = CurveFile::open(&data(&format!("{name}.step"))).unwrap();
    let edges = truth(&format!("{name}.csv"), unit);
    assert_eq!(edges.len(), wanted_count);
    for (index, (wanted, points)) in edges.iter().enumerate() {
        let mut places: Vec<[f64; 3]> = [2, 4, 6].map(|place| points[place].into()).to_vec();
        for direction in ["along", "against"] {
            let found =
                near(&file, None, &places, unit).unwrap_or_else(|error| panic!("edge {index}: {error}"));
            let what = format!("{name}, edge {index}, {direction}");
            assert!(
                (length(&found) - wanted).abs() < LENGTH_SHARE * wanted,
                "{what}: {} not {wanted}",
                length(&found)
            );
            for point in points {
                assert!(
                    off(&found, point) < OFF_SHARE * wanted,
                    "{what}: {point} is {} off",
                    off(&found, point)
                );
            }
            let start = if direction == "along" { points.first() } else { points.last() };
            assert!((found[0] - start.unwrap()).norm() < OFF_SHARE * wanted, "{what} starts at {}", found[0]);
            places.reverse();
        }
    }
}

#[test]
fn one_curve_files_need_no_name() {
    let (half_root_three, quarter) = (0.75_f64.sqrt(), FRAC_PI_2);
    check(&only("ocp-line.step"), [0.0; 3], [10.0, 0.0, 5.0], 125.0_f64.sqrt());
    // A quarter of a circle of radius 5 round (1, 2, 3), from 30° on, in a plane turned by 30° about x.
    let arc = only("ocp-arc.step");
    assert!(arc.iter().all(|point| ((point - Point3::new(1.0, 2.0, 3.0)).norm() - 5.0).abs() < 1e-9));
    assert!((arc[0].x - (1.0 + 5.0 * half_root_three)).abs() < 1e-9);
    assert!((length(&arc) - 5.0 * quarter).abs() < LENGTH_SHARE * 5.0 * quarter);
    // A quarter of an ellipse with axes 10 and 5: 10 E(3/4), E the complete elliptic integral.
    let ellipse = length(&only("ocp-ellipse.step"));
    assert!((ellipse - 12.110_560_276).abs() < LENGTH_SHARE * 12.2, "{ellipse}");
    // The middle of a cubic Bezier curve is (p0 + 3 p1 + 3 p2 + p3) / 8; the part from 0.25 to 0.75 has the same middle.
    let middle = Point3::new(10.0, 5.0, 0.625);
    for name in ["ocp-spline.step", "ocp-part.step"] {
        assert!(off(&only(name), &middle) < 1e-4 * OFF_SHARE.sqrt(), "{name}");
    }
    check(
        &only("ocp-part.step"),
        [5.9375, 1.5625, 0.078_125],
        [14.0625, 8.4375, 2.109_375],
        length(&only("ocp-part.step")),
    );
    // The rational quadratic with weights 1, cos 45°, 1 is a quarter of a circle of radius 10.
    let rational = only("ocp-rational.step");
    check(&rational, [0.0; 3], [10.0, 10.0, 0.0], 10.0 * quarter);
    assert!(rational.iter().all(|point| ((point - Point3::new(0.0, 10.0, 0.0)).norm() - 10.0).abs() < 1e-9));
}

#[test]
fn closed_edges_go_round_from_their_vertex() {
    let file = CurveFile::open(&data("ocp-cylinder.step")).unwrap();
    let top = near(&file, None, &[[5.0, 0.0, 11.0]], LengthUnit::Millimetre).unwrap();
    check(&top, [5.0, 0.0, 10.0], [5.0, 0.0, 10.0], 5.0 * TAU);
}

#[test]
fn edges_of_solids_are_as_the_kernel_says() {
    check_edges("ocp-rounded-box", LengthUnit::Millimetre, 48);
    check_edges("ocp-prism-inch", LengthUnit::Inch, 12);
    check_edges("ocp-assembly", LengthUnit::Millimetre, 96);
}
