//! Orthogonal-distance fits against exact solutions and published ones.
//!
//! `fit_*_nullspace.csv`: solutions exact by construction (Cox and Forbes, NPL report DITC 211/92, 1992).
//! `circle_gander_golub_strebel_1994.csv`: BIT 34 (1994) 558–578, recomputed to 20 digits.
//! `nist_sphere_scan_tSPH102.csv`: a real laser scan of a sphere (usnistgov/DMG_SphereFitting, public domain), fits
//! recomputed.

use nalgebra::{Isometry3, Point2, Point3, Vector3};
use shutline::geometry::fits::{
    fit_circle, fit_cylinder, fit_line, fit_plane, fit_sphere, fit_sphere_of_radius,
};
use shutline::statistics::precision::FIT;

use super::check_table::{CheckTable, assert_close, read};

fn flat_points(table: &CheckTable) -> Vec<Point2<f64>> {
    table.numbers("x").into_iter().zip(table.numbers("y")).map(|(x, y)| Point2::new(x, y)).collect()
}

fn points(table: &CheckTable) -> Vec<Point3<f64>> {
    let (x, y, z) = (table.numbers("x"), table.numbers("y"), table.numbers("z"));
    (0..x.len()).map(|index| Point3::new(x[index], y[index], z[index])).collect()
}

fn stated_vector(table: &CheckTable, label: &str) -> Vector3<f64> {
    Vector3::from_column_slice(&table.stated_list("solution", label))
}

/// Error allowed in a place: a share of the largest coordinate.
fn slack(points: &[Point3<f64>]) -> f64 {
    FIT * points.iter().map(|point| point.coords.amax()).fold(0.0, f64::max)
}

/// `sum_sq` is printed with 12 digits or more.
fn assert_sum_of_squares(table: &CheckTable, rms_mm: f64, count: usize) {
    assert_close("sum of squares", rms_mm * rms_mm * count as f64, table.stated("solution", "sum_sq"), 1e-9);
}

#[test]
fn circles_are_exact() {
    for name in ["fit_circle_full_nullspace.csv", "fit_circle_arc70_nullspace.csv"] {
        let table = read(name);
        let seen = flat_points(&table);
        let fit = fit_circle(&seen).unwrap();
        let centre = table.stated_list("solution", "centre");
        let allowed = FIT * 50.0;
        assert!((fit.centre - Point2::new(centre[0], centre[1])).norm() < allowed, "{name}: {fit:?}");
        assert!((fit.radius_mm - table.stated("solution", "radius")).abs() < allowed, "{name}: {fit:?}");
        assert_sum_of_squares(&table, fit.rms_mm, seen.len());
    }
}

#[test]
fn the_six_point_circle_is_the_published_one() {
    let table = read("circle_gander_golub_strebel_1994.csv");
    let fit = fit_circle(&flat_points(&table)).unwrap();
    let line = "recomputed here (50";
    assert_close("a", fit.centre.x, table.stated(line, "geometric a"), FIT);
    assert_close("b", fit.centre.y, table.stated(line, " b"), FIT);
    assert_close("R", fit.radius_mm, table.stated(line, " R"), FIT);
    // As printed in the paper, seven digits.
    assert_close("R", fit.radius_mm, 4.714226, 1e-7);
}

#[test]
fn planes_and_lines_are_exact() {
    let table = read("fit_plane_nullspace.csv");
    let seen = points(&table);
    let fit = fit_plane(&seen).unwrap();
    assert!((fit.point.coords - stated_vector(&table, "centroid")).norm() < slack(&seen), "{fit:?}");
    assert!(fit.normal.cross(&stated_vector(&table, "normal=+/-")).norm() < FIT, "{fit:?}");
    assert_sum_of_squares(&table, fit.rms_mm, seen.len());

    let table = read("fit_line3d_nullspace.csv");
    let seen = points(&table);
    let fit = fit_line(&seen).unwrap();
    assert!((fit.point.coords - stated_vector(&table, "centroid")).norm() < slack(&seen), "{fit:?}");
    assert!(fit.direction.cross(&stated_vector(&table, "direction=+/-")).norm() < FIT, "{fit:?}");
    assert_sum_of_squares(&table, fit.rms_mm, seen.len());
}

#[test]
fn the_sphere_cap_is_exact() {
    let table = read("fit_sphere_cap_nullspace.csv");
    let seen = points(&table);
    let fit = fit_sphere(&seen).unwrap();
    assert!((fit.centre.coords - stated_vector(&table, "centre")).norm() < slack(&seen), "{fit:?}");
    assert!((fit.radius_mm - table.stated("solution", "radius")).abs() < slack(&seen), "{fit:?}");
    assert_sum_of_squares(&table, fit.rms_mm, seen.len());
}

#[test]
fn a_scanned_sphere_is_found_with_free_and_with_known_radius() {
    let table = read("nist_sphere_scan_tSPH102.csv");
    let seen = points(&table);
    // Coordinates in metres; the recomputed fits are printed with nine decimals.
    let printed = 2e-9;
    let line = "recomputed here: free";
    let free = fit_sphere(&seen).unwrap();
    let centre = Vector3::from_column_slice(&table.stated_list(line, "sphere centre"));
    assert!((free.centre.coords - centre).norm() < printed, "{free:?}");
    assert!((free.radius_mm - table.stated(line, " R")).abs() < printed, "{free:?}");
    assert!((free.rms_mm - table.stated(line, "rms")).abs() < printed, "{free:?}");
    let known = fit_sphere_of_radius(&seen, 0.05).unwrap();
    let centre = Vector3::from_column_slice(&table.stated_list(line, "fixed R=0.05: centre"));
    assert!((known.centre.coords - centre).norm() < printed, "{known:?}");
}

#[test]
fn cylinders_whole_and_a_quarter_seen_are_exact() {
    for name in ["fit_cylinder_full_nullspace.csv", "fit_cylinder_hem90_nullspace.csv"] {
        let table = read(name);
        let seen = points(&table);
        let fit = fit_cylinder(&seen).unwrap();
        let direction = stated_vector(&table, "direction=+/-");
        let axis_point = Point3::from(stated_vector(&table, "point on axis"));
        // A quarter of a hem of 1.5 mm fixes its axis some hundred times less firmly than a whole cylinder does.
        let allowed = 100.0 * slack(&seen);
        assert!(fit.direction.cross(&direction).norm() < allowed, "{name}: {fit:?}");
        assert!((fit.point - axis_point).cross(&direction).norm() < allowed, "{name}: {fit:?}");
        assert!((fit.radius_mm - table.stated("solution", "radius")).abs() < allowed, "{name}: {fit:?}");
        assert_sum_of_squares(&table, fit.rms_mm, seen.len());
    }
}

#[test]
fn fits_move_with_their_points() {
    let table = read("fit_cylinder_hem90_nullspace.csv");
    let seen = points(&table);
    let still = fit_cylinder(&seen).unwrap();
    for turn in [0.3, 1.1, 2.5] {
        let pose = Isometry3::new(Vector3::new(-900.0, 40.0, 77.0), Vector3::new(turn, -0.4 * turn, 0.9));
        let moved: Vec<Point3<f64>> = seen.iter().map(|point| pose * point).collect();
        let fit = fit_cylinder(&moved).unwrap();
        assert!((fit.radius_mm - still.radius_mm).abs() < 100.0 * slack(&moved), "{turn}: {fit:?}");
        assert!(
            fit.direction.cross(&(pose * still.direction)).norm() < 100.0 * slack(&moved),
            "{turn}: {fit:?}"
        );
    }
}

#[test]
fn points_that_fix_nothing_are_refused() {
    let row: Vec<Point3<f64>> = (0..9).map(|index| Point3::new(f64::from(index), 0.0, 0.0)).collect();
    let flat: Vec<Point2<f64>> = row.iter().map(|point| Point2::new(point.x, point.y)).collect();
    assert_eq!(fit_plane(&row), None);
    assert_eq!(fit_sphere(&row), None);
    assert_eq!(fit_circle(&flat), None);
    assert_eq!(fit_cylinder(&row), None);
    assert_eq!(fit_line(&[Point3::origin(); 4]), None);
    assert_eq!(fit_plane(&[]), None);
    assert_eq!(fit_plane(&[Point3::new(f64::NAN, 0.0, 0.0); 5]), None);
}
