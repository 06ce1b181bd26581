//! From no pose to a believed one: candidates, refinement, and the refusal of anything that might be something else.
//!
//! In: the scan's and the reference's surfaces. Out: a pose good enough for `register`, or why none is believed.
//! Units: mm. Method: candidates of `coarse` are refined (`register::settle`) and ranked by the share of the scan's nodes within a
//! tight limit; the best must be clearly better than any pose apart from it, and than the best mirror image.
//! A moved panel helps to find the way while distances are large; the pose and its fit are those of the fixed panels.

use nalgebra::{Isometry3, Point3};

use super::align_error::AlignError;
use super::coarse::{Candidate, candidates};
use super::register::{Task, settle};
use super::surface::Surface;

/// Least share of the scan that must fit: a scan overlaps by 40 % or more.
const LEAST_SHARE: f64 = 0.3;
/// Least share among the scan's nodes that come to lie over the fixed panels.
const LEAST_SHARE_OVER: f64 = 0.6;
/// A second pose this good, relative to the best, makes both unbelievable.
const TOO_GOOD_SECOND: f64 = 0.85;
/// Distance within which a node fits, in units of the noise, and its least and largest value, mm.
const FIT_SIGMAS: f64 = 6.0;
const FIT_RANGE_MM: (f64, f64) = (0.5, 3.0);
/// Poses nearer than this are one: a moved panel's worth, mm, at the scan's middle and ends.
const SAME_POSE_MM: f64 = 8.0;
/// Candidates refined roughly, then fully.
const ROUGH: usize = 24;
const FULL: usize = 5;
/// Share below which a mirror image need not fit closer, only more of the scan.
const MIRROR_BELOW: f64 = 0.8;
/// A mirror image that fits this much closer is the truth: chance changes the median of hundreds of nodes by a tenth.
const MIRROR_CLOSER: f64 = 0.6;
/// Worst condition that is believed without a start pose: a surface of revolution or a single panel slides.
const WORST_CONDITION: f64 = 60.0;

/// A refined pose with the shares that fit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ranked {
    pub pose: Isometry3<f64>,
    /// Of all of the scan's nodes.
    pub share: f64,
    /// Of those that lie over what may carry.
    pub share_over: f64,
    pub condition: f64,
    /// Median distance of the nodes that lie over what may carry, mm.
    typical_mm: f64,
}

/// Finds the pose of `scan` on `reference`.
///
/// # Errors
/// Nothing fits, two poses fit, or the mirror image fits.
pub(super) fn search(
    scan: &Surface,
    reference: &Surface,
    carries: &[bool],
    seed: u64,
) -> Result<Ranked, AlignError> {
    let ranked = rank(scan, reference, carries, seed);
    let Some(best) = ranked.first().copied() else {
        return Err(AlignError::NotFound { fitting_percent: 0.0 });
    };
    refuse_mirrored(&best, rank(&mirrored(scan)?, reference, carries, seed).first())?;
    if best.share < LEAST_SHARE || best.share_over < LEAST_SHARE_OVER || best.condition > WORST_CONDITION {
        return Err(AlignError::NotFound { fitting_percent: best.share * 100.0 });
    }
    let second = ranked[1..].iter().find(|other| distance_mm(scan, &other.pose, &best.pose) > SAME_POSE_MM);
    if let Some(second) = second.filter(|second| second.share > TOO_GOOD_SECOND * best.share) {
        return Err(AlignError::Ambiguous {
            best_percent: best.share * 100.0,
            second_percent: second.share * 100.0,
            apart_mm: distance_mm(scan, &second.pose, &best.pose),
            apart_deg: second.pose.rotation.angle_to(&best.pose.rotation).to_degrees(),
        });
    }
    Ok(best)
}

/// The mirror image fits more of the scan, or, on a car that is nearly its own mirror image, fits it far closer.
fn refuse_mirrored(best: &Ranked, mirrored: Option<&Ranked>) -> Result<(), AlignError> {
    let Some(mirrored) = mirrored.filter(|mirrored| mirrored.share > LEAST_SHARE) else { return Ok(()) };
    let fits_more = best.share < MIRROR_BELOW && mirrored.share * TOO_GOOD_SECOND > best.share;
    let fits_closer = mirrored.share > TOO_GOOD_SECOND * best.share
        && mirrored.typical_mm < MIRROR_CLOSER * best.typical_mm;
    if fits_more || fits_closer {
        return Err(AlignError::MirroredSurface {
            fitting_percent: best.share * 100.0,
            mirrored_percent: mirrored.share * 100.0,
            typical_mm: best.typical_mm,
            mirrored_mm: mirrored.typical_mm,
        });
    }
    Ok(())
}

fn mirrored(scan: &Surface) -> Result<Surface, AlignError> {
    let flip = |point: &Point3<f64>| Point3::new(-point.x, point.y, point.z);
    let nodes = scan
        .nodes
        .iter()
        .map(|node| {
            let mut node = node.clone();
            node.origin = flip(&node.origin);
            for axis in &mut node.axes {
                axis.x = -axis.x;
            }
            node
        })
        .collect();
    Surface::of_nodes(nodes, scan.spacing_mm)
}

/// Largest distance between two poses over a few of the scan's nodes, mm.
fn distance_mm(scan: &Surface, a: &Isometry3<f64>, b: &Isometry3<f64>) -> f64 {
    let step = (scan.nodes.len() / 50).max(1);
    let moved = scan.nodes.iter().step_by(step).map(|node| (a * node.origin - b * node.origin).norm());
    moved.fold(0.0, f64::max)
}

fn rank(scan: &Surface, reference: &Surface, carries: &[bool], seed: u64) -> Vec<Ranked> {
    let points: Vec<Point3<f64>> = scan.nodes.iter().map(|node| node.origin).collect();
    // Without normals in the file the outside is a guess: both are tried, and the scores decide.
    let mut found: Vec<Candidate> = candidates(scan, reference, 1.0, seed);
    found.extend(candidates(scan, reference, -1.0, seed));
    found.sort_by(|a, b| b.share.total_cmp(&a.share));
    let few: Vec<Point3<f64>> = points.iter().step_by((points.len() / 600).max(1)).copied().collect();
    let rough =
        refine(found.iter().take(ROUGH).map(|candidate| candidate.pose), &few, (reference, carries), 60.0);
    let poses: Vec<Isometry3<f64>> = rough.iter().map(|ranked| ranked.pose).collect();
    let mut full = Vec::new();
    for pose in poses {
        // The same pose reached from several candidates is refined once.
        if full.len() < FULL
            && full.iter().all(|other: &Ranked| distance_mm(scan, &other.pose, &pose) > SAME_POSE_MM)
        {
            full.extend(refine(std::iter::once(pose), &points, (reference, carries), 3.0));
        }
    }
    full.sort_by(|a, b| b.share.total_cmp(&a.share));
    full
}

fn refine(
    starts: impl Iterator<Item = Isometry3<f64>>,
    points: &[Point3<f64>],
    (reference, carries): (&Surface, &[bool]),
    first_scale_mm: f64,
) -> Vec<Ranked> {
    let task = Task { points, last_points: points, surface: reference, carries, first_scale_mm };
    let mut ranked: Vec<Ranked> = starts
        .filter_map(|start| {
            let found = settle(&task, &start)?;
            Some(score(points, (reference, carries), &found.pose, found.step.condition))
        })
        .collect();
    ranked.sort_by(|a, b| b.share.total_cmp(&a.share));
    ranked
}

/// Share of points within the tight limit among those that come to lie over nodes that may carry.
pub(super) fn share_over(
    points: &[Point3<f64>],
    reference: &Surface,
    carries: &[bool],
    pose: &Isometry3<f64>,
) -> f64 {
    let limit_mm = fit_limit_mm(reference);
    let over = distances_over(points, reference, carries, pose);
    let fitting = over.iter().filter(|distance_mm| **distance_mm < limit_mm).count();
    if over.is_empty() { 0.0 } else { fitting as f64 / over.len() as f64 }
}

/// Distances of the points that come to lie over nodes that may carry, mm.
fn distances_over(
    points: &[Point3<f64>],
    reference: &Surface,
    carries: &[bool],
    pose: &Isometry3<f64>,
) -> Vec<f64> {
    let reach_mm = 3.0 * reference.spacing_mm;
    let near = points.iter().filter_map(|point| reference.near(&(pose * point), reach_mm));
    near.filter(|found| carries[found.node]).map(|found| found.distance_mm.abs()).collect()
}

fn fit_limit_mm(reference: &Surface) -> f64 {
    (FIT_SIGMAS * reference.roughness_mm()).clamp(FIT_RANGE_MM.0, FIT_RANGE_MM.1)
}

/// Shares of points within the tight limit.
fn score(
    points: &[Point3<f64>],
    (reference, carries): (&Surface, &[bool]),
    pose: &Isometry3<f64>,
    condition: f64,
) -> Ranked {
    let everything = vec![true; reference.nodes.len()];
    let limit_mm = fit_limit_mm(reference);
    let all = distances_over(points, reference, &everything, pose);
    let fitting = all.iter().filter(|distance_mm| **distance_mm < limit_mm).count();
    let mut over = distances_over(points, reference, carries, pose);
    let fitting_over = over.iter().filter(|distance_mm| **distance_mm < limit_mm).count();
    over.sort_by(f64::total_cmp);
    Ranked {
        pose: *pose,
        share: fitting as f64 / points.len().max(1) as f64,
        share_over: fitting_over as f64 / over.len().max(1) as f64,
        condition,
        typical_mm: over.get(over.len() / 2).copied().unwrap_or(0.0),
    }
}
