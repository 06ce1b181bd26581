//! The best that any estimate of the pose can do on the trials of `align_surface`, computed without the program's alignment.
//!
//! For normal noise of known covariance `V` no unbiased estimate of the pose has a smaller covariance than `(Xᵀ V⁻¹ X)⁻¹`
//! (H. Cramér, 1946; C. R. Rao, 1945), and generalised least squares has just that (A. Aitken, 1935). `X` are the rows of
//! point-to-plane residuals at the true pose over all points of the fixed panels that a trial shows; `V` is the covariance the
//! trial's noise was made with. From it comes the share of trials, over many draws, that the best estimate has in the budget.
//! The six waves of `ORDINARY` are normal noise only by covariance: an estimate that knew them to be six plane waves could do
//! better; for those it is the bound of linear estimates.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, Isometry3, Matrix6, Point3, Translation3, UnitQuaternion, Vector3, Vector6};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use shutline::geometry::large_cholesky;
use shutline::plan::Plan;

use super::align_surface::{BUDGET, asked};
use super::front_end::{
    Disturbance, GOOD_SCANNER, ORDINARY, ORDINARY_SCANNER, POOR_SCANNER, Shown, Waves, plan, pose_error,
    scanned_and_shown,
};

/// Points are averaged over cells of this side: a quarter of the shortest wave.
const CELL_MM: f64 = 30.0;
/// Nearer to a seam lie hems, mm: where the reference's patches would reach over the hood.
const HEM_MM: f64 = 27.0;

struct Cell {
    point: Vector3<f64>,
    row: Vector6<f64>,
    count: f64,
}

fn correlation(waves: Waves, distance_mm: f64) -> f64 {
    match waves {
        Waves::Six => {
            let phase = std::f64::consts::TAU / 120.0 * distance_mm;
            if phase > 0.0 { phase.sin() / phase } else { 1.0 }
        }
        Waves::Normal(length_mm) => (-0.5 * (distance_mm / length_mm).powi(2)).exp(),
    }
}

/// Least covariance of `(ω, τ)` about the pivot, and the pivot.
fn least_covariance(how: &Disturbance, plan: &Plan, seed: u64) -> (Matrix6<f64>, Point3<f64>) {
    let shown = scanned_and_shown(how, seed).1;
    let seams: Vec<Point3<f64>> =
        plan.seams.iter().flat_map(|seam| seam.curve.positions().iter().step_by(10).copied()).collect();
    // At the very front the shell's formula has no normal.
    let has_normal = |place: &&Shown| place.normal.iter().all(|value| value.is_finite());
    let is_near = |point: &Point3<f64>| seams.iter().any(|seam| (point - seam).norm() < HEM_MM);
    let fixed: Vec<&Shown> =
        shown.iter().filter(has_normal).filter(|place| !place.is_hood && !is_near(&place.point)).collect();
    let pivot =
        Point3::from(fixed.iter().map(|place| place.point.coords).sum::<Vector3<f64>>() / fixed.len() as f64);
    let mut cells: BTreeMap<[i64; 3], Cell> = BTreeMap::new();
    for place in fixed {
        let arm = (place.point - pivot).cross(&place.normal);
        let key = [0, 1, 2].map(|axis| (place.point[axis] / CELL_MM).floor() as i64);
        let empty = || Cell { point: Vector3::zeros(), row: Vector6::zeros(), count: 0.0 };
        let cell = cells.entry(key).or_insert_with(empty);
        cell.point += place.point.coords;
        cell.row += Vector6::new(arm.x, arm.y, arm.z, place.normal.x, place.normal.y, place.normal.z);
        cell.count += 1.0;
    }
    let cells: Vec<Cell> = cells
        .into_values()
        .map(|sum| Cell { point: sum.point / sum.count, row: sum.row / sum.count, count: sum.count })
        .collect();
    let covariance = DMatrix::from_fn(cells.len(), cells.len(), |one, other| {
        let distance_mm = (cells[one].point - cells[other].point).norm();
        let white_mm2 = if one == other { how.noise_mm.powi(2) / cells[one].count } else { 0.0 };
        how.wave_mm.powi(2) * correlation(how.waves, distance_mm) + white_mm2
    });
    let lower = large_cholesky(covariance).unwrap();
    let mut rows = DMatrix::from_fn(cells.len(), 6, |cell, column| cells[cell].row[column]);
    assert!(lower.solve_lower_triangular_mut(&mut rows));
    let information: Matrix6<f64> = (rows.transpose() * rows).fixed_view::<6, 6>(0, 0).into_owned();
    (information.cholesky().unwrap().inverse(), pivot)
}

/// Share of draws from the covariance that are in the budget.
fn share_in_budget(covariance: &Matrix6<f64>, pivot: &Point3<f64>, plan: &Plan, draws: usize) -> f64 {
    let root = covariance.cholesky().unwrap().l();
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let normal = Normal::new(0.0, 1.0).unwrap();
    let good = (0..draws).filter(|_| {
        let movement = root * Vector6::from_fn(|_, _| normal.sample(&mut random));
        let turn = UnitQuaternion::from_scaled_axis(movement.fixed_rows::<3>(0).into_owned());
        let shift = pivot.coords - turn * pivot.coords + movement.fixed_rows::<3>(3).into_owned();
        let off = Isometry3::from_parts(Translation3::from(shift), turn);
        let error = pose_error(plan, &off, &Isometry3::identity());
        error.0 <= BUDGET.0 && error.1 <= BUDGET.1
    });
    good.count() as f64 / draws as f64
}

#[test]
#[ignore = "prints the share of trials that the best possible estimate has in the budget, for four scanners"]
fn best_possible_share_of_alignments_in_budget() {
    let plan = plan("");
    let (first, count) = (asked("FIRST_SEED", 0), asked("SEEDS", 40));
    for (name, how) in [
        ("six waves", &ORDINARY),
        ("good scanner", &GOOD_SCANNER),
        ("ordinary scanner", &ORDINARY_SCANNER),
        ("poor scanner", &POOR_SCANNER),
    ] {
        let mut shares: Vec<f64> = (first..first + count)
            .map(|seed| {
                let (covariance, pivot) = least_covariance(how, &plan, seed);
                share_in_budget(&covariance, &pivot, &plan, 1000)
            })
            .collect();
        shares.sort_by(f64::total_cmp);
        let mean = shares.iter().sum::<f64>() / shares.len() as f64;
        println!("{name}: {:.1} % (worst trial {:.1} %)", 100.0 * mean, 100.0 * shares[0]);
    }
}
