//! `align` on files with every way of the plan, and what it says when there is no alignment.

use std::fmt::Write;
use std::path::Path;
use std::process::Output;

use nalgebra::{Isometry3, Point3, Vector3};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::program::{run, talk};
use crate::recovery::front_end::{
    Disturbance, ORDINARY, is_hood_point, mesh_obj, pose, reference_points, scanned, write_plan,
};

const FEW: Disturbance = Disturbance { points: 40_000, missing: 0.1, ..ORDINARY };
const BEST_FIT: &str = "[align]\nway = 'best-fit'\nreference = 'car.obj'";
const COARSE: &str = "[align]\nway = 'coarse'\nreference = 'car.xyz'";

fn write_points(path: &Path, points: impl Iterator<Item = Point3<f64>>) {
    let mut text = String::new();
    for point in points {
        writeln!(text, "{:.5} {:.5} {:.5}", point.x, point.y, point.z).unwrap();
    }
    std::fs::write(path, text).unwrap();
}

fn align(folder: &Path, out: &str) -> Output {
    run(folder, &["align", "scan.xyz", "--plan", "front.seams.toml", "--out", out])
}

/// A folder with plan, mesh and cloud of the car, and a scan put somewhere else.
fn folder_with(align: &str, scan: impl Iterator<Item = Point3<f64>>) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    write_plan(folder.path(), align);
    if align.contains("car.obj") {
        std::fs::write(folder.path().join("car.obj"), mesh_obj()).unwrap();
    }
    if align.contains("car.xyz") {
        write_points(&folder.path().join("car.xyz"), reference_points(150_000).into_iter());
    }
    write_points(&folder.path().join("scan.xyz"), scan);
    folder
}

fn moved(truth: &Isometry3<f64>, seed: u64) -> impl Iterator<Item = Point3<f64>> {
    let scanner_from_car = truth.inverse();
    scanned(&FEW, seed).into_iter().map(move |point| scanner_from_car * point)
}

fn json(folder: &Path, name: &str) -> serde_json::Value {
    serde_json::from_str(&std::fs::read_to_string(folder.join(name)).unwrap()).unwrap()
}

/// Largest distance between the written pose and the true one over the corners of the car, mm.
fn pose_error_mm(written: &serde_json::Value, truth: &Isometry3<f64>) -> f64 {
    let number = |row: usize, column: usize| written["car_from_scanner"][row][column].as_f64().unwrap();
    let place = |point: &Point3<f64>| {
        Point3::from(
            [0, 1, 2]
                .map(|row| (0..3).map(|axis| number(row, axis) * point[axis]).sum::<f64>() + number(row, 3)),
        )
    };
    let corners = [[0.0, 0.0, 500.0], [1200.0, 600.0, 700.0], [1200.0, -600.0, 700.0]].map(Point3::from);
    corners.iter().map(|corner| (place(&(truth.inverse() * corner)) - corner).norm()).fold(0.0, f64::max)
}

#[test]
fn best_fit_to_a_mesh_writes_pose_covariance_and_map_into_a_folder() {
    let truth = pose(5.0_f64.to_radians(), 30.0, &mut ChaCha8Rng::seed_from_u64(11));
    let folder = folder_with(BEST_FIT, moved(&truth, 11));
    let output = align(folder.path(), "aligned");
    assert_eq!(output.status.code(), Some(0), "{}", talk(&output));
    let written = json(folder.path(), "aligned/aligned.json");
    // The budget of hard trials is 0.02 mm at the seams; the corners here lie a little outside of them.
    let error_mm = pose_error_mm(&written, &truth);
    assert!(error_mm < 0.05, "{error_mm} {written}");
    assert_eq!(written["way"], "best-fit");
    assert_eq!(written["converged"], true);
    for key in ["rms_residual_mm", "worst_residual_mm", "points_used", "condition"] {
        assert!(written[key].as_f64().unwrap() > 0.0, "{key}: {written}");
    }
    assert_eq!(written["covariance"].as_array().unwrap().len(), 6);
    let hood = written["panels"].as_array().unwrap().iter().find(|panel| panel["panel"] == "hood").unwrap();
    assert_eq!(hood["is_used"], false, "{hood}");
    let map = std::fs::read(folder.path().join("aligned/residuals.png")).unwrap();
    assert!(map.starts_with(b"\x89PNG") && map.len() > 20_000, "{} bytes", map.len());
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(told.contains("best-fit") && told.contains("not fixed"), "{told}");
}

#[test]
fn coarse_finds_a_scan_from_anywhere_and_writes_beside_a_json_file() {
    let truth = pose(2.5, 1500.0, &mut ChaCha8Rng::seed_from_u64(12));
    let folder = folder_with(COARSE, moved(&truth, 12));
    let output = align(folder.path(), "aligned.json");
    assert_eq!(output.status.code(), Some(0), "{}", talk(&output));
    assert!(pose_error_mm(&json(folder.path(), "aligned.json"), &truth) < 0.05);
    assert!(folder.path().join("aligned.residuals.png").is_file());
}

#[test]
fn frames_that_agree_targets_and_pairs_need_no_surface() {
    let scan = || (0..50).map(|index| Point3::new(f64::from(index), 0.0, 0.0));
    let folder = folder_with("[align]\nway = 'none'", scan());
    assert_eq!(align(folder.path(), "a.json").status.code(), Some(0));
    assert_eq!(json(folder.path(), "a.json")["way"], "none");
    // A shift of (1, 2, 3) by 3-2-1: three along z, two along y, one along x.
    let target = |id: &str, [x, y, z]: [f64; 3], direction: &str| {
        format!(
            "[[align.target]]\nid = '{id}'\nscan = [{}, {}, {}]\ncar = [{x}, {y}, {z}]\ndirection = {direction}\n",
            x - 1.0,
            y - 2.0,
            z - 3.0
        )
    };
    let six = [
        target("a1", [0.0, 0.0, 0.0], "[0, 0, 1]"),
        target("a2", [1000.0, 0.0, 0.0], "[0, 0, 1]"),
        target("a3", [0.0, 900.0, 0.0], "[0, 0, 1]"),
        target("b1", [0.0, 0.0, 100.0], "[0, 1, 0]"),
        target("b2", [1000.0, 0.0, 100.0], "[0, 1, 0]"),
        target("c1", [0.0, 500.0, 100.0], "[1, 0, 0]"),
    ];
    let folder = folder_with(&format!("[align]\nway = 'datum-targets'\n{}", six.concat()), scan());
    assert_eq!(align(folder.path(), "a.json").status.code(), Some(0));
    let shift = isometry_shift(&json(folder.path(), "a.json"));
    assert!((shift - Vector3::new(1.0, 2.0, 3.0)).norm() < 1e-6, "{shift}");
    let folder = folder_with(&pairs(&[[0.0; 3], [900.0, 0.0, 0.0], [0.0, 800.0, 0.0]], 1.0), scan());
    assert_eq!(align(folder.path(), "a.json").status.code(), Some(0));
    let shift = isometry_shift(&json(folder.path(), "a.json"));
    assert!((shift - Vector3::new(1.0, 2.0, 3.0)).norm() < 1e-6, "{shift}");
}

fn isometry_shift(written: &serde_json::Value) -> Vector3<f64> {
    Vector3::from([0, 1, 2].map(|row| written["car_from_scanner"][row][3].as_f64().unwrap()))
}

/// Pairs shifted by (1, 2, 3), the scan's points multiplied.
fn pairs(car: &[[f64; 3]], factor: f64) -> String {
    let one = |(index, [x, y, z]): (usize, &[f64; 3])| {
        format!(
            "[[align.pair]]\nid = 'p{index}'\nscan = [{}, {}, {}]\ncar = [{x}, {y}, {z}]\n",
            (x - 1.0) * factor,
            (y - 2.0) * factor,
            (z - 3.0) * factor
        )
    };
    format!("[align]\nway = 'point-pairs'\n{}", car.iter().enumerate().map(one).collect::<String>())
}

/// Ends with 2, says each of the parts, and leaves no file.
fn refuses(folder: &Path, parts: &[&str]) {
    let output = align(folder, "refused.json");
    let said = talk(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(parts.iter().any(|part| said.contains(part)), "none of {parts:?} in: {said}");
    assert!(!folder.join("refused.json").exists());
}

#[test]
fn pairs_that_cannot_carry_a_pose_are_refused() {
    let scan = || (0..50).map(|index| Point3::new(f64::from(index), 0.0, 0.0));
    let square = [[0.0; 3], [900.0, 0.0, 0.0], [0.0, 800.0, 0.0], [900.0, 800.0, 400.0]];
    refuses(folder_with(&pairs(&square[..2], 1.0), scan()).path(), &["at least 3"]);
    let line = [[0.0; 3], [500.0, 0.0, 0.0], [900.0, 0.0, 0.0]];
    refuses(folder_with(&pairs(&line, 1.0), scan()).path(), &["on a line"]);
    // Mirrored, and four of the six in one plane, so that half a turn takes those four to their places.
    let six = [&square[..], &[[500.0, 100.0, 700.0], [200.0, 600.0, 300.0]]].concat();
    let mirrored = pairs(&six, 1.0).replace("scan = [", "scan = [-");
    let mirrored = mirrored.replace("[--", "[");
    refuses(folder_with(&mirrored, scan()).path(), &["mirror image"]);
    for (factor, unit) in [(0.001, "\"m\""), (1.0 / 25.4, "\"inch\""), (0.1, "\"cm\"")] {
        refuses(folder_with(&pairs(&square, factor), scan()).path(), &[unit]);
    }
}

#[test]
fn scans_that_do_not_belong_are_refused() {
    let car = || scanned(&FEW, 13).into_iter();
    let hood = scanned(&Disturbance { strays: 0.0, ..FEW }, 14).into_iter().filter(is_hood_point);
    let parts = ["do not overlap", "no pose was found", "two poses", "do not hold", "mirror image"];
    refuses(folder_with(BEST_FIT, hood).path(), &parts);
    let other = car().map(|point| {
        Point3::new(point.x * 1.25, point.y * 0.85, point.z * 0.8 + 40.0 * (point.x / 150.0).sin())
    });
    refuses(folder_with(BEST_FIT, other).path(), &["does not fit", "no pose was found"]);
    let in_metres = car().map(|point| point / 1000.0);
    refuses(folder_with(BEST_FIT, in_metres).path(), &["units = \"m\""]);
}

/// A whole car is its own mirror image, so that no mirrored scan of it can be told; half a car is not.
#[test]
fn a_mirrored_scan_is_refused() {
    let is_left_half = |point: &Point3<f64>| point.y > -150.0;
    let mirrored = scanned(&FEW, 16)
        .into_iter()
        .filter(is_left_half)
        .map(|point| Point3::new(point.x, -point.y, point.z));
    let folder = folder_with(COARSE, mirrored);
    write_points(&folder.path().join("car.xyz"), reference_points(150_000).into_iter().filter(is_left_half));
    refuses(folder.path(), &["mirror image"]);
}

#[test]
fn a_reference_without_a_surface_is_refused() {
    let folder = folder_with(COARSE, scanned(&FEW, 15).into_iter());
    let line = (0..500).map(|index| Point3::new(f64::from(index), 0.0, 0.0));
    write_points(&folder.path().join("car.xyz"), line);
    refuses(folder.path(), &["no surface to align to"]);
    std::fs::remove_file(folder.path().join("car.xyz")).unwrap();
    refuses(folder.path(), &["car.xyz"]);
}
