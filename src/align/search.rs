//! From no pose to a believed one: candidates, refinement, and the refusal of anything that might be something else.
//!
//! In: the scan's and the reference's surfaces. Out: a pose good enough for `register`, or why none is believed.
//! Units: mm. Method: candidates of `coarse` are refined (`register`) and ranked by the share of the scan's nodes within a
//! tight limit; the best must be clearly better than any pose apart from it, and than the best mirror image.
//! A moved panel helps to find the way while distances are large; the pose and its fit are those of the fixed panels.

use nalgebra::{Isometry3, Point3};

use super::align_error::AlignError;
use super::coarse::{Candidate, candidates};
use super::register::{Task, register};
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
/// Share below which a mirror image is tried.
const MIRROR_BELOW: f64 = 0.8;
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
    if best.share < MIRROR_BELOW {
        let mirrored = rank(&mirrored(scan)?, reference, carries, seed);
        let mirrored_share = mirrored.first().map_or(0.0, |found| found.share);
        if mirrored_share * TOO_GOOD_SECOND > best.share && mirrored_share > LEAST_SHARE {
            let (fitting_percent, mirrored_percent) = (best.share * 100.0, mirrored_share * 100.0);
            return Err(AlignError::MirroredSurface { fitting_percent, mirrored_percent });
        }
    }
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
    let task = Task { points, surface: reference, carries, first_scale_mm };
    let mut ranked: Vec<Ranked> = starts
        .filter_map(|start| {
            let found = register(&task, &start)?;
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
    let reach_mm = 3.0 * reference.spacing_mm;
    let limit_mm = fit_limit_mm(reference);
    let near = points.iter().filter_map(|point| reference.near(&(pose * point), reach_mm));
    let (mut over, mut fitting) = (0.0, 0.0);
    for found in near.filter(|found| carries[found.node]) {
        over += 1.0;
        fitting += if found.distance_mm.abs() < limit_mm { 1.0 } else { 0.0 };
    }
    if over > 0.0 { fitting / over } else { 0.0 }
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
    let over = points
        .iter()
        .filter(|point| reference.near(&(pose * *point), 3.0 * reference.spacing_mm).is_some())
        .count();
    let fitting = share_over(points, reference, &everything, pose) * over as f64;
    Ranked {
        pose: *pose,
        share: if points.is_empty() { 0.0 } else { fitting / points.len() as f64 },
        share_over: share_over(points, reference, carries, pose),
        condition,
    }
}
