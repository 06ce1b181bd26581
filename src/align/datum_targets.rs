//! Alignment by datum targets: each fixes one coordinate of its point at the nominal value (3-2-1 and more).
//!
//! In: [`DatumTarget`]s. Out: an [`Alignment`]. Units: mm; measured points in the Scanner frame, nominal in the Car's.
//! Method: ISO 5459:2011 and ASME Y14.5-2018 (datum targets); the conditions `n · (R m + t − p) = 0` solved by
//! Gauss-Newton from the pose that fits the points themselves, which six well-placed targets meet exactly and more
//! meet in weighted least squares. This is not a best fit of the points.
//! Does not find the targets in the scan.

use nalgebra::Isometry3;

use super::align_error::AlignError;
use super::alignment::{Alignment, TargetResidual};
use super::pose_step::{Step, StepSums, moved, pivot_of};
use super::rigid_fit::rigid_fit;
use super::unit_check::check_unit_of_pairs;
use crate::geometry::RigidTransform;
use crate::plan::DatumTarget;

/// Worst condition that is accepted: one hundredth of the influence in the weakest direction; a targets' error of 0.03 mm
/// would there become 3 mm.
const WORST_CONDITION: f64 = 100.0;
/// Steps allowed. Newton doubles the digits each time, from any start within some 60°.
const MOST_STEPS: u32 = 50;
/// A movement smaller than this ends the search, mm: well below any use, well above f64 rounding within 100 m.
const STILL_MM: f64 = 1e-9;

/// Finds the pose in which every target's coordinate is nominal.
///
/// # Errors
/// Fewer than six targets, targets that leave a direction free, a wrong unit, no convergence.
pub fn align_datum_targets(targets: &[DatumTarget]) -> Result<Alignment, AlignError> {
    if targets.len() < 6 {
        return Err(AlignError::TooFew { things: "datum targets", found: targets.len(), needed: 6 });
    }
    for target in targets {
        let numbers = target.scan.iter().chain(target.car.iter()).chain(target.direction.iter());
        if !numbers.chain([&target.u_mm]).all(|value| value.is_finite()) || target.u_mm <= 0.0 {
            return Err(AlignError::NotFinite { what: format!("datum target `{}`", target.id) });
        }
    }
    let (scan, car): (Vec<_>, Vec<_>) = targets.iter().map(|target| (target.scan, target.car)).unzip();
    check_unit_of_pairs(&scan, &car)?;
    // Six targets need not tell a turn from the points alone; then the identity about the centres is the start.
    let start = rigid_fit(&scan, &car).map_or_else(|| centres_together(&scan, &car), |fit| fit.pose);
    let (pose, step, iterations) = solve(targets, start)?;
    Ok(gather(targets, &pose, &step, iterations))
}

fn centres_together(scan: &[nalgebra::Point3<f64>], car: &[nalgebra::Point3<f64>]) -> Isometry3<f64> {
    let shift = pivot_of(car.iter()).0 - pivot_of(scan.iter()).0;
    Isometry3::translation(shift.x, shift.y, shift.z)
}

fn solve(targets: &[DatumTarget], start: Isometry3<f64>) -> Result<(Isometry3<f64>, Step, u32), AlignError> {
    let (pivot, arm_mm) = pivot_of(targets.iter().map(|target| &target.car));
    let mut pose = start;
    for iteration in 1..=MOST_STEPS {
        let step = sums_at(targets, &pose, &pivot, arm_mm).solve();
        let step = step.ok_or(AlignError::NoConvergence { iterations: iteration })?;
        if step.condition > WORST_CONDITION {
            let direction = step.weak_direction;
            return Err(AlignError::WeakTargets { direction, condition: step.condition });
        }
        pose = moved(&pose, &step.movement, &pivot);
        let turn_mm = step.movement.fixed_rows::<3>(0).norm() * arm_mm;
        if turn_mm + step.movement.fixed_rows::<3>(3).norm() < STILL_MM {
            return Ok((pose, step, iteration));
        }
    }
    Err(AlignError::NoConvergence { iterations: MOST_STEPS })
}

fn sums_at(
    targets: &[DatumTarget],
    pose: &Isometry3<f64>,
    pivot: &nalgebra::Point3<f64>,
    arm_mm: f64,
) -> StepSums {
    // Relative weights keep the condition a matter of geometry.
    let finest_mm = targets.iter().map(|target| target.u_mm).fold(f64::INFINITY, f64::min);
    let mut sums = StepSums::new(*pivot, arm_mm);
    for target in targets {
        let point = pose * target.scan;
        let weight = (finest_mm / target.u_mm).powi(2);
        sums.add(&point, &target.direction, target.direction.dot(&(point - target.car)), weight);
    }
    sums
}

fn gather(targets: &[DatumTarget], pose: &Isometry3<f64>, step: &Step, iterations: u32) -> Alignment {
    let finest_mm = targets.iter().map(|target| target.u_mm).fold(f64::INFINITY, f64::min);
    let residuals: Vec<TargetResidual> = targets
        .iter()
        .map(|target| {
            let residual_mm = target.direction.dot(&(pose * target.scan - target.car));
            let id = target.id.clone();
            TargetResidual { id, residual: target.direction * residual_mm, residual_mm, is_used: true }
        })
        .collect();
    let sum_sq_mm2: f64 = residuals.iter().map(|residual| residual.residual_mm.powi(2)).sum();
    let spare = targets.len() - 6;
    // What the targets themselves show, where there are more than six and they show more than was stated.
    let shown = targets.iter().zip(&residuals).map(|(target, left)| (left.residual_mm / target.u_mm).powi(2));
    let inflation = if spare > 0 { (shown.sum::<f64>() / spare as f64).max(1.0) } else { 1.0 };
    Alignment {
        car_from_scanner: RigidTransform::new(*pose),
        way: "datum-targets",
        rms_residual_mm: (sum_sq_mm2 / targets.len() as f64).sqrt(),
        worst_residual_mm: residuals.iter().map(|left| left.residual_mm.abs()).fold(0.0, f64::max),
        points_used: targets.len() as u64,
        iterations,
        converged: true,
        covariance: step.inverse * (finest_mm.powi(2) * inflation),
        pivot: pivot_of(targets.iter().map(|target| &target.car)).0,
        condition: step.condition,
        targets: residuals,
        ..Alignment::none()
    }
}
