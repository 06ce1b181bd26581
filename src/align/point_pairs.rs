//! Alignment by point pairs: stickers, tooling holes, sphere centres known in the scan and on the car.
//!
//! In: pairs with names, all points final (sphere centres fitted before). Out: an [`Alignment`]. Units: mm.
//! Method: the largest set of pairs that a rigid movement takes to within the limit, found by trying every triple (or,
//! for many pairs, a fixed sample of triples: M. Fischler, R. Bolles, Comm. ACM 24(6), 1981), then a least-squares fit
//! to that set; see `rigid_fit`. The search does not depend on the order in which an outlier is found.
//! Does not scale: a scan in another unit is named, not corrected.

use nalgebra::{Isometry3, Point3};
use rand::SeedableRng;
use rand::seq::index::sample;
use rand_chacha::ChaCha8Rng;

use super::align_error::AlignError;
use super::alignment::{AlignWarning, Alignment, TargetResidual};
use super::pose_step::{StepSums, pivot_of};
use super::rigid_fit::{RigidFit, rigid_fit};
use super::unit_check::check_unit_of_pairs;
use crate::geometry::RigidTransform;
use crate::plan::PointPair;

/// All triples are tried for up to this many pairs (1140 of them), a sample for more.
const MOST_PAIRS_IN_FULL: usize = 20;
/// Triples sampled: with a third of the pairs wrong, the chance of never meeting three good ones is below 1e-100.
const SAMPLED_TRIPLES: usize = 2000;
/// Least root-mean-square distance off a common line, as a share of the pairs' size and in mm.
const LEAST_OFF_LINE_SHARE: f64 = 0.02;

/// Finds the pose that takes the scan's points to the car's, leaving out pairs further off than `limit_mm`.
///
/// # Errors
/// Fewer than three pairs, pairs in line, a mirror image, a wrong unit, or no three pairs (and more than half of all)
/// that agree.
pub fn align_point_pairs(pairs: &[PointPair], limit_mm: f64) -> Result<Alignment, AlignError> {
    if pairs.len() < 3 {
        return Err(AlignError::TooFew { things: "point pairs", found: pairs.len(), needed: 3 });
    }
    if let Some(bad) =
        pairs.iter().find(|pair| !pair.scan.iter().chain(pair.car.iter()).all(|value| value.is_finite()))
    {
        return Err(AlignError::NotFinite { what: format!("pair `{}`", bad.id) });
    }
    let (scan, car): (Vec<_>, Vec<_>) = pairs.iter().map(|pair| (pair.scan, pair.car)).unzip();
    let all = rigid_fit(&scan, &car).ok_or(AlignError::NotFinite { what: "a pair".to_owned() })?;
    check_unit_of_pairs(&scan, &car)?;
    refuse_line(&scan)?;
    refuse_line(&car)?;
    let used = largest_agreeing_set(&scan, &car, limit_mm);
    let used_count = used.iter().filter(|is_used| **is_used).count();
    refuse_mirrored((&scan, &car), used_count, &all, limit_mm)?;
    if used_count < 3 || used_count * 2 <= pairs.len() {
        return Err(disagreement(pairs, &all, limit_mm));
    }
    let (good_scan, good_car) = (chosen(&scan, &used), chosen(&car, &used));
    refuse_line(&good_scan)?;
    let fit = rigid_fit(&good_scan, &good_car).ok_or(AlignError::NotFinite { what: "a pair".to_owned() })?;
    gather(pairs, &used, &fit, limit_mm)
}

fn chosen(points: &[Point3<f64>], used: &[bool]) -> Vec<Point3<f64>> {
    points.iter().zip(used).filter(|(_, is_used)| **is_used).map(|(point, _)| *point).collect()
}

fn refuse_line(points: &[Point3<f64>]) -> Result<(), AlignError> {
    let Some(fit) = rigid_fit(points, points) else { return Ok(()) };
    let needed_mm = (pivot_of(points.iter()).1 * LEAST_OFF_LINE_SHARE).max(1e-6);
    if fit.off_line_mm < needed_mm {
        return Err(AlignError::Collinear { found_mm: fit.off_line_mm, needed_mm });
    }
    Ok(())
}

/// More pairs agree on a mirror image than on a movement. Three or more in one plane agree on both, so it is the number that
/// tells, and a mixed-up pair among mirrored ones does not hide it.
fn refuse_mirrored(
    (scan, car): (&[Point3<f64>], &[Point3<f64>]),
    used_count: usize,
    all: &RigidFit,
    limit_mm: f64,
) -> Result<(), AlignError> {
    if used_count == scan.len() {
        return Ok(());
    }
    let mirrored: Vec<Point3<f64>> =
        scan.iter().map(|point| Point3::new(-point.x, point.y, point.z)).collect();
    let agreeing = largest_agreeing_set(&mirrored, car, limit_mm);
    let agreeing_count = agreeing.iter().filter(|agrees| **agrees).count();
    if agreeing_count < 4 || agreeing_count <= used_count || agreeing_count * 2 <= scan.len() {
        return Ok(());
    }
    let Some(fit) = rigid_fit(&chosen(&mirrored, &agreeing), &chosen(car, &agreeing)) else { return Ok(()) };
    Err(AlignError::Mirrored {
        rms_mm: (all.sum_sq_mm2 / scan.len() as f64).sqrt(),
        mirrored_rms_mm: (fit.sum_sq_mm2 / agreeing_count as f64).sqrt(),
    })
}

fn disagreement(pairs: &[PointPair], all: &RigidFit, limit_mm: f64) -> AlignError {
    let rms_mm = (all.sum_sq_mm2 / pairs.len() as f64).sqrt();
    let left = |pair: &PointPair| (all.pose * pair.scan - pair.car).norm();
    let worst = pairs.iter().max_by(|a, b| left(a).total_cmp(&left(b)));
    let worst = worst.map_or_else(String::new, |pair| format!("`{}`, {:.2} mm", pair.id, left(pair)));
    AlignError::PairsDisagree { needed: (pairs.len() / 2 + 1).max(3), limit_mm, rms_mm, worst }
}

/// Which pairs agree: most of them, then the smallest sum of squares; ties go to the earlier triple.
fn largest_agreeing_set(scan: &[Point3<f64>], car: &[Point3<f64>], limit_mm: f64) -> Vec<bool> {
    let mut best = (vec![false; scan.len()], 0, f64::INFINITY);
    for triple in triples(scan.len()) {
        let corners = |points: &[Point3<f64>]| triple.map(|index| points[index]);
        let Some(fit) = rigid_fit(&corners(scan), &corners(car)) else { continue };
        // Grown from three points the far ones are uncertain: refit to what agrees until it stands still.
        let mut agreeing = within(scan, car, &fit.pose, 2.0 * limit_mm);
        for _ in 0..5 {
            let Some(refit) = rigid_fit(&chosen(scan, &agreeing), &chosen(car, &agreeing)) else { break };
            agreeing = within(scan, car, &refit.pose, limit_mm);
        }
        let count = agreeing.iter().filter(|is_used| **is_used).count();
        let Some(refit) = rigid_fit(&chosen(scan, &agreeing), &chosen(car, &agreeing)) else { continue };
        if count > best.1 || (count == best.1 && refit.sum_sq_mm2 < best.2) {
            best = (agreeing, count, refit.sum_sq_mm2);
        }
        if best.1 == scan.len() {
            break;
        }
    }
    best.0
}

fn within(scan: &[Point3<f64>], car: &[Point3<f64>], pose: &Isometry3<f64>, limit_mm: f64) -> Vec<bool> {
    scan.iter().zip(car).map(|(a, b)| (pose * a - b).norm() <= limit_mm).collect()
}

fn triples(count: usize) -> Vec<[usize; 3]> {
    if count > MOST_PAIRS_IN_FULL {
        let mut random = ChaCha8Rng::seed_from_u64(3);
        return (0..SAMPLED_TRIPLES)
            .map(|_| {
                let drawn = sample(&mut random, count, 3);
                [drawn.index(0), drawn.index(1), drawn.index(2)]
            })
            .collect();
    }
    let mut all = Vec::new();
    for first in 0..count {
        for second in first + 1..count {
            all.extend((second + 1..count).map(|third| [first, second, third]));
        }
    }
    all
}

fn gather(
    pairs: &[PointPair],
    used: &[bool],
    fit: &RigidFit,
    limit_mm: f64,
) -> Result<Alignment, AlignError> {
    let targets: Vec<TargetResidual> = pairs
        .iter()
        .zip(used)
        .map(|(pair, is_used)| {
            let residual = fit.pose * pair.scan - pair.car;
            let id = pair.id.clone();
            TargetResidual { id, residual, residual_mm: residual.norm(), is_used: *is_used }
        })
        .collect();
    let car: Vec<Point3<f64>> = pairs.iter().map(|pair| pair.car).collect();
    let good_car = chosen(&car, used);
    let (pivot, arm_mm) = pivot_of(good_car.iter());
    let mut sums = StepSums::new(pivot, arm_mm);
    for point in &good_car {
        for axis in [nalgebra::Vector3::x(), nalgebra::Vector3::y(), nalgebra::Vector3::z()] {
            sums.add(point, &axis, 0.0, 1.0);
        }
    }
    let step = sums.solve().ok_or(AlignError::NoConvergence { iterations: 1 })?;
    let count = good_car.len() as f64;
    let variance_mm2 = fit.sum_sq_mm2 / (3.0 * count - 6.0);
    let outliers = targets.iter().filter(|left| !left.is_used);
    Ok(Alignment {
        car_from_scanner: RigidTransform::new(fit.pose),
        way: "point-pairs",
        rms_residual_mm: (fit.sum_sq_mm2 / count).sqrt(),
        worst_residual_mm: targets
            .iter()
            .filter(|left| left.is_used)
            .map(|left| left.residual_mm)
            .fold(0.0, f64::max),
        points_used: good_car.len() as u64,
        iterations: 1,
        converged: true,
        covariance: step.inverse * variance_mm2,
        pivot,
        condition: step.condition,
        warnings: outliers
            .map(|left| AlignWarning::OutlierPair {
                id: left.id.clone(),
                residual_mm: left.residual_mm,
                limit_mm,
            })
            .collect(),
        targets,
        ..Alignment::none()
    })
}
