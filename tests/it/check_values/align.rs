//! Rigid alignment against published and exact values; each file in `data/` names its source at its head.

use nalgebra::{Matrix3, Point3, UnitQuaternion, Vector3};
use shutline::align::{AlignError, AlignWarning, align_datum_targets, align_point_pairs, rigid_fit};
use shutline::plan::{DatumTarget, PointPair};

fn rows(text: &str) -> Vec<Vec<String>> {
    text.lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .skip(1)
        .map(|line| line.split(',').map(str::to_owned).collect())
        .collect()
}

fn point(row: &[String], from: usize) -> Point3<f64> {
    Point3::new(row[from].parse().unwrap(), row[from + 1].parse().unwrap(), row[from + 2].parse().unwrap())
}

fn pairs_of(text: &str) -> (Vec<Point3<f64>>, Vec<Point3<f64>>) {
    rows(text).iter().map(|row| (point(row, 0), point(row, 3))).unzip()
}

fn named(from: &[Point3<f64>], to: &[Point3<f64>]) -> Vec<PointPair> {
    from.iter()
        .zip(to)
        .enumerate()
        .map(|(index, (scan, car))| PointPair {
            id: format!("p{}", index + 1),
            scan: *scan,
            car: *car,
            sphere_diameter_mm: None,
        })
        .collect()
}

/// A point in the scan and where it must come to lie.
type Expected = (Point3<f64>, Point3<f64>);

fn six_targets() -> (Vec<DatumTarget>, Vec<Expected>) {
    let mut targets = Vec::new();
    let mut expected = Vec::new();
    for row in rows(include_str!("data/align_321_rps_exact.csv")) {
        let direction = match row[1].as_str() {
            "x" => Vector3::x(),
            "y" => Vector3::y(),
            "z" => Vector3::z(),
            _ => Vector3::zeros(),
        };
        expected.push((point(&row, 5), point(&row, 8)));
        if direction != Vector3::zeros() {
            let (scan, car) = (point(&row, 5), point(&row, 2));
            targets.push(DatumTarget { id: row[0].to_lowercase(), scan, car, direction, u_mm: 0.03 });
        }
    }
    (targets, expected)
}

/// Source: exact by construction in 40-digit arithmetic; the file's numbers carry 16 digits at 2000 mm: 5e-12 after a few
/// operations.
#[test]
fn six_datum_targets_give_the_exact_pose() {
    let (targets, expected) = six_targets();
    let alignment = align_datum_targets(&targets).unwrap();
    for (scan, car) in &expected {
        assert!((alignment.car_from_scanner.point(scan) - car).norm() < 5e-11, "{scan} {car}");
    }
    let pose = alignment.car_from_scanner.isometry();
    let turn = Vector3::new(-0.02005240359053026, 0.014357005543276424, -0.009224597754567874);
    let shift = Vector3::new(-36.099306669614974, 11.083797571243962, -8.84544186008942);
    assert!((pose.rotation.scaled_axis() - turn).norm() < 1e-13);
    assert!((pose.translation.vector - shift).norm() < 1e-10);
    assert!(alignment.worst_residual_mm < 1e-10 && alignment.converged);
    // 3-2-1 is not a best fit of the points.
    let (scan, car): (Vec<_>, Vec<_>) = targets.iter().map(|target| (target.scan, target.car)).unzip();
    let best_fit = rigid_fit(&scan, &car).unwrap().pose;
    assert!((best_fit.translation.vector - shift).norm() > 0.1);
}

#[test]
fn more_targets_than_six_are_least_squares() {
    let (mut targets, expected) = six_targets();
    // The three check points, each with one coordinate at its exact place: the pose must not change.
    for (index, (scan, car)) in expected[6..].iter().enumerate() {
        let direction = Vector3::new(0.3, 1.0, -0.2).normalize();
        let id = format!("d{index}");
        targets.push(DatumTarget { id, scan: *scan, car: *car, direction, u_mm: 0.03 });
    }
    let exact = align_datum_targets(&targets).unwrap();
    assert!(exact.worst_residual_mm < 1e-10);
    // 0.1 mm of disagreement at one of two equal targets at the same place is shared half and half.
    let mut twin = targets[5].clone();
    twin.id = "c2".to_owned();
    twin.car.x += 0.1;
    let mut doubled = targets[..6].to_vec();
    doubled.push(twin);
    let shared = align_datum_targets(&doubled).unwrap();
    assert!((shared.targets[5].residual_mm - 0.05).abs() < 1e-9, "{:?}", shared.targets);
    assert!((shared.targets[6].residual_mm + 0.05).abs() < 1e-9);
}

#[test]
fn badly_placed_targets_are_refused_and_the_weak_direction_named() {
    let (targets, _) = six_targets();
    // Nothing holds x: the x target is turned to z.
    let mut loose = targets.clone();
    loose[5].direction = Vector3::z();
    let shown = align_datum_targets(&loose).unwrap_err().to_string();
    assert!(shown.contains("a shift along x"), "{shown}");
    // The three y targets in line: the turn about that line is free.
    let mut in_line = targets.clone();
    for (index, target) in in_line[..3].iter_mut().enumerate() {
        let moved = Vector3::new(1200.0 + 300.0 * index as f64, -780.0, 900.0) - target.car.coords;
        target.car += moved;
        target.scan += moved;
    }
    assert!(matches!(align_datum_targets(&in_line), Err(AlignError::WeakTargets { .. })));
    let few = align_datum_targets(&targets[..5]).unwrap_err();
    assert_eq!(few, AlignError::TooFew { things: "datum targets", found: 5, needed: 6 });
}

/// Rotation and rigid shift as recomputed in the files' heads, which print 15 decimals of R and 6 of t.
fn check_rigid(text: &str, rotation: [f64; 9], shift: [f64; 3], sum_sq: f64, scale: f64) {
    let (from, to) = pairs_of(text);
    let fit = rigid_fit(&from, &to).unwrap();
    let expected = Matrix3::from_row_slice(&rotation);
    let found = fit.pose.rotation.to_rotation_matrix();
    assert!((found.matrix() - expected).abs().max() < 1e-12, "{}", found.matrix() - expected);
    assert!((fit.pose.translation.vector - Vector3::from(shift)).norm() < 2e-6);
    assert!((fit.sum_sq_mm2 - sum_sq).abs() < 2e-9 * sum_sq.max(1.0), "{}", fit.sum_sq_mm2);
    // The scale is reported, never applied.
    assert!((fit.free_scale - scale).abs() < 1e-9, "{}", fit.free_scale);
}

#[test]
fn the_four_point_photogrammetry_example_without_scale() {
    check_rigid(
        include_str!("data/align_conformal3d_4pt_photogrammetry.csv"),
        [
            0.296129341381979,
            -0.955142855136834,
            -0.003088600610640,
            0.954883668420149,
            0.296121936965198,
            -0.022560545925498,
            0.022463146644061,
            0.003731585324763,
            0.999740707540616,
        ],
        [1391.254089, -383.855756, -118.460039],
        26330.945741501,
        1.528286951564993,
    );
}

/// P. R. Wolf and C. D. Ghilani, Adjustment Computations.
#[test]
fn the_adjustment_textbook_example_without_scale() {
    check_rigid(
        include_str!("data/align_conformal3d_ghilani.csv"),
        [
            -0.712763522399989,
            0.701338534723725,
            -0.009613576209554,
            -0.700540601273092,
            -0.712498868457863,
            -0.039852583532305,
            -0.034799814710642,
            -0.021670767357000,
            0.999159321999382,
        ],
        [10246.665513, 6632.531404, 716.855945],
        7332.624458697,
        0.949956940242194,
    );
}

/// E. W. Grafarend and J. L. Awange, J. Geodesy 77, 2003: coordinates of 4e6 with residuals of 0.1.
#[test]
fn the_seven_stations_example_far_from_the_origin() {
    check_rigid(
        include_str!("data/align_helmert_7stations.csv"),
        [
            0.999999999979023,
            0.000004814625180,
            -0.000004332759334,
            -0.000004814646154,
            0.999999999976693,
            -0.000004840853314,
            0.000004332736027,
            0.000004840874175,
            0.999999999978897,
        ],
        // Six decimals of a shift that a turn of 1e-13 rad moves by 6e-7 at this distance.
        [665.070341, 72.426013, 443.061231],
        0.234346036,
        1.000005582519851,
    );
    let (from, to) = pairs_of(include_str!("data/align_helmert_7stations.csv"));
    let alignment = align_point_pairs(&named(&from, &to), 1.0).unwrap();
    assert_eq!(alignment.points_used, 7);
    assert!((alignment.rms_residual_mm - (0.234346036_f64 / 7.0).sqrt()).abs() < 1e-8);
}

/// S. Umeyama, IEEE TPAMI 13(4), 1991: the best orthogonal matrix is a reflection, and a rotation must be found. The
/// planar example stands in space with a fourth pair above it, as a flat one may be turned over instead.
#[test]
fn a_reflection_is_not_taken_for_a_rotation() {
    let (mut from, mut to) = (Vec::new(), Vec::new());
    for row in rows(include_str!("data/align_umeyama1991_reflection.csv")) {
        let number = |index: usize| row[index].parse::<f64>().unwrap();
        for z in [-1.0, 1.0] {
            // Doubled above and below with a strong z agreement, so that the turn stays in the plane.
            from.push(Point3::new(number(0), number(1), z * 100.0));
            to.push(Point3::new(number(2), number(3), z * 100.0));
        }
    }
    let fit = rigid_fit(&from, &to).unwrap();
    let found = fit.pose.rotation.to_rotation_matrix();
    let root = 13.0_f64.sqrt();
    let expected = Matrix3::new(3.0 / root, 2.0 / root, 0.0, -2.0 / root, 3.0 / root, 0.0, 0.0, 0.0, 1.0);
    assert!((found.matrix() - expected).abs().max() < 1e-12);
    // As recomputed in the file's head for scale 1.
    assert!(
        (fit.pose.translation.vector - Vector3::new(-0.980483562263, 0.296866535850, 0.0)).norm() < 1e-11
    );
    assert!((fit.sum_sq_mm2 / 6.0 - 0.619754988683).abs() < 1e-11);
    assert!(fit.mirrored_sum_sq_mm2 < 1e-9);
}

fn eight_pairs() -> Vec<PointPair> {
    let turn = UnitQuaternion::from_scaled_axis(Vector3::new(0.4, -1.1, 0.7));
    let car: Vec<Point3<f64>> = (0..8)
        .map(|index| {
            let step = f64::from(index);
            Point3::new(600.0 * (step * 1.3).sin(), 800.0 * (step * 2.1).cos(), 90.0 * step)
        })
        .collect();
    let scan: Vec<Point3<f64>> =
        car.iter().map(|point| turn * point + Vector3::new(50.0, 900.0, -30.0)).collect();
    named(&scan, &car)
}

#[test]
fn outlier_pairs_are_found_named_and_left_out() {
    let mut pairs = eight_pairs();
    pairs[2].scan.z += 4.0;
    pairs[6].scan = pairs[5].scan;
    let alignment = align_point_pairs(&pairs, 0.5).unwrap();
    let outliers: Vec<&str> = alignment
        .warnings
        .iter()
        .map(|warning| match warning {
            AlignWarning::OutlierPair { id, .. } => id.as_str(),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(outliers, ["p3", "p7"]);
    assert!(alignment.rms_residual_mm < 1e-9 && alignment.points_used == 6);
    // Exactly the displacement that was put in.
    assert!((alignment.targets[2].residual_mm - 4.0).abs() < 1e-9);
}

#[test]
fn pairs_that_cannot_carry_a_pose_are_refused_with_the_reason() {
    let pairs = eight_pairs();
    assert!(matches!(align_point_pairs(&pairs[..2], 0.5), Err(AlignError::TooFew { .. })));
    let mut in_line = pairs.clone();
    for (index, pair) in in_line.iter_mut().enumerate() {
        pair.scan = Point3::new(index as f64 * 100.0, 0.01 * (index % 2) as f64, 0.0);
        pair.car = pair.scan;
    }
    assert!(matches!(align_point_pairs(&in_line, 0.5), Err(AlignError::Collinear { .. })));
    let mut mirrored = pairs.clone();
    mirrored.iter_mut().for_each(|pair| pair.scan.y *= -1.0);
    assert!(matches!(align_point_pairs(&mirrored, 0.5), Err(AlignError::Mirrored { .. })));
    let mut not_finite = pairs.clone();
    not_finite[1].scan.x = f64::NAN;
    assert!(matches!(align_point_pairs(&not_finite, 0.5), Err(AlignError::NotFinite { .. })));
    let mut mixed_up = pairs.clone();
    mixed_up.iter_mut().zip(pairs.iter().rev()).for_each(|(pair, other)| pair.scan = other.scan);
    assert!(matches!(align_point_pairs(&mixed_up, 0.5), Err(AlignError::PairsDisagree { .. })));
    for (factor, unit) in [(1000.0, "\"m\""), (25.4, "\"inch\""), (10.0, "\"cm\"")] {
        let mut small = pairs.clone();
        small.iter_mut().for_each(|pair| pair.scan /= factor);
        let shown = align_point_pairs(&small, 0.5).unwrap_err().to_string();
        assert!(shown.contains(unit) && shown.contains("too small"), "{shown}");
    }
}
