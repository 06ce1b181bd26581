//! Registers points to a surface from a start pose: robust, point to plane.
//!
//! In: thinned points (Scanner frame), a [`Surface`] (Car frame), which of its nodes may carry, a start. Out: a
//! [`Registered`] pose. Units: mm.
//! Method: Chen and Medioni 1992 with weights of Geman and McClure, `1/(1+(r/c)²)²`, whose scale `c` shrinks from the
//! start's error to the noise (graduated non-convexity: A. Blake, A. Zisserman, 1987; H. Yang et al., IEEE RA-L 5(2),
//! 2020), so that strays, missing parts and a moved minority lose their say.
//! The last step and the covariance allow for the scan's long waves: see `correlated_step`, and `pose_covariance` for
//! what is too small for it.
//! Does not search: see `coarse`.

use nalgebra::{Isometry3, Matrix6, Point3, Vector3};

use super::alignment::moment_row;
use super::correlated_step::correlated_step;
use super::followed::Followed;
use super::pose_covariance::{WeightedRow, pose_covariance};
use super::pose_step::{Step, StepSums, moved, pivot_of};
use super::surface::Surface;

/// Shrinking of the weights' scale in each iteration.
const ANNEALING: f64 = 0.75;
/// Least scale of the weights in units of the residuals' robust standard deviation: 3 leaves little to a moved panel, but
/// keeps only 91 % efficiency for normal noise.
const LEAST_SCALE_SIGMAS: f64 = 3.0;
/// Scale of the last step over that of the pose that it starts from: 96 % efficiency, from a pose that the narrow weights have
/// freed of what does not belong (V. Yohai, Ann. Statist. 15(2), 1987).
const LAST_SCALE: f64 = 4.0 / 3.0;
/// Least scale of the weights, mm: a tenth of what any scan of a car resolves.
const LEAST_SCALE_MM: f64 = 0.01;
/// Above this scale every panel helps to find the way, below it only what may carry, mm: panels are moved by less.
const EVERY_PANEL_ABOVE_MM: f64 = 8.0;
/// Points used while the scale is large.
const EARLY_POINTS: usize = 3000;
/// Movement at which the last iterations stand still, mm at the mean distance from the pivot.
const STILL_MM: f64 = 2e-5;
/// Iterations at the last scale.
const MOST_LAST: u32 = 30;

/// Least slope of weighted means: normal noise has 0.73 at the least scale of the weights, 0.82 at the last.
const LEAST_SLOPE: f64 = 0.4;

/// What to register.
pub(super) struct Task<'t> {
    pub points: &'t [Point3<f64>],
    /// Points of the last step: more of them, as its noise is averaged in cells.
    pub last_points: &'t [Point3<f64>],
    pub surface: &'t Surface,
    /// For each node, whether it may carry the alignment.
    pub carries: &'t [bool],
    pub first_scale_mm: f64,
}

/// A pose with its quality.
#[derive(Debug, Clone)]
pub(super) struct Registered {
    pub pose: Isometry3<f64>,
    pub step: Step,
    pub pivot: Point3<f64>,
    pub rms_mm: f64,
    pub worst_mm: f64,
    /// Points on carrying nodes.
    pub on_surface: u64,
    /// Of those, how many took part with more than a tenth of full weight.
    pub used: u64,
    /// Median absolute residual of those on carrying nodes, mm: not robust on purpose, as a wrong car must show.
    pub typical_mm: f64,
    pub iterations: u32,
    pub converged: bool,
    pub covariance: Matrix6<f64>,
}

/// One point on the surface.
pub(super) struct Contact {
    pub point: Point3<f64>,
    pub normal: Vector3<f64>,
    pub residual_mm: f64,
}

/// A pose at which the robust fit stands still.
pub(super) struct Settled {
    pub pose: Isometry3<f64>,
    pub step: Step,
    pivot: Point3<f64>,
    iterations: u32,
    converged: bool,
    scale_mm: f64,
}

/// Registers; `None` where too few points lie on the surface or nothing holds the pose.
pub(super) fn register(task: &Task<'_>, start: &Isometry3<f64>) -> Option<Registered> {
    let found = settle(task, start)?;
    let reach_mm = reach_mm(task, found.scale_mm);
    let contacts = contacts_of(task.last_points, task.surface, task.carries, &found.pose, reach_mm);
    Some(assess(&contacts, found))
}

/// The robust fit alone, without last step and covariance: enough to compare poses.
pub(super) fn settle(task: &Task<'_>, start: &Isometry3<f64>) -> Option<Settled> {
    let everything = vec![true; task.surface.nodes.len()];
    let mut pose = *start;
    let mut scale_mm = task.first_scale_mm;
    let mut iterations = 0;
    let early: Vec<Point3<f64>> =
        task.points.iter().step_by((task.points.len() / EARLY_POINTS).max(1)).copied().collect();
    // The noise is known only once the pose is; this is the scale at which all points join.
    let all_join_mm = (20.0 * task.surface.roughness_mm()).clamp(0.2, 1.0);
    while scale_mm > all_join_mm {
        let carries = if scale_mm > EVERY_PANEL_ABOVE_MM { &everything } else { task.carries };
        let contacts = contacts_of(&early, task.surface, carries, &pose, reach_mm(task, scale_mm));
        pose = advance(&contacts, &pose, scale_mm)?.0;
        iterations += 1;
        scale_mm *= ANNEALING;
    }
    let mut last = None;
    let mut followed = Followed::new(task.points, task.surface);
    for _ in 0..MOST_LAST {
        let contacts = followed.contacts(task.carries, &pose, reach_mm(task, scale_mm));
        let floor_mm = (LEAST_SCALE_SIGMAS * robust_sigma_mm(&contacts)).max(LEAST_SCALE_MM);
        let at_floor = scale_mm <= floor_mm;
        scale_mm = scale_mm.max(floor_mm);
        let (next, step, pivot, arm_mm) = advance(&contacts, &pose, scale_mm)?;
        let moved_mm =
            step.movement.fixed_rows::<3>(0).norm() * arm_mm + step.movement.fixed_rows::<3>(3).norm();
        pose = next;
        iterations += 1;
        let converged = at_floor && moved_mm < STILL_MM;
        last = Some((step, pivot, converged));
        if converged {
            break;
        }
        scale_mm = if at_floor { floor_mm } else { (scale_mm * ANNEALING).max(floor_mm) };
    }
    let (step, pivot, converged) = last?;
    Some(Settled { pose, step, pivot, iterations, converged, scale_mm })
}

fn reach_mm(task: &Task<'_>, scale_mm: f64) -> f64 {
    2.0 * scale_mm.max(2.0) + 2.0 * task.surface.spacing_mm
}

fn contacts_of(
    points: &[Point3<f64>],
    surface: &Surface,
    carries: &[bool],
    pose: &Isometry3<f64>,
    reach_mm: f64,
) -> Vec<Contact> {
    points
        .iter()
        .filter_map(|point| {
            let point = pose * point;
            let near = surface.near(&point, reach_mm)?;
            carries[near.node].then_some(Contact {
                point,
                normal: near.normal,
                residual_mm: near.distance_mm,
            })
        })
        .collect()
}

fn weight(residual_mm: f64, scale_mm: f64) -> f64 {
    (1.0 + (residual_mm / scale_mm).powi(2)).powi(-2)
}

/// How a weighted mean of residuals moves with what it is the mean of: less than one to one, as the weights favour those
/// residuals that are small, whatever the mean. One step from fixed weights would stop that short, and the scan's waves would
/// look that much smaller. Mean slope of the influence over mean weight (P. Huber, Ann. Math. Statist. 35(1), 1964).
fn slope_of_means(contacts: &[Contact], scale_mm: f64) -> f64 {
    let (mut slopes, mut weights) = (0.0, 0.0);
    for contact in contacts {
        let square = (contact.residual_mm / scale_mm).powi(2);
        slopes += (1.0 - 3.0 * square) / (1.0 + square).powi(3);
        weights += weight(contact.residual_mm, scale_mm);
    }
    if weights > 0.0 { (slopes / weights).clamp(LEAST_SLOPE, 1.0) } else { 1.0 }
}

fn advance(
    contacts: &[Contact],
    pose: &Isometry3<f64>,
    scale_mm: f64,
) -> Option<(Isometry3<f64>, Step, Point3<f64>, f64)> {
    if contacts.len() < 12 {
        return None;
    }
    let (pivot, arm_mm) = pivot_of(contacts.iter().map(|contact| &contact.point));
    let mut sums = StepSums::new(pivot, arm_mm);
    for contact in contacts {
        sums.add(&contact.point, &contact.normal, contact.residual_mm, weight(contact.residual_mm, scale_mm));
    }
    let step = sums.solve()?;
    Some((moved(pose, &step.movement, &pivot), step, pivot, arm_mm))
}

fn robust_sigma_mm(contacts: &[Contact]) -> f64 {
    1.4826 * median_abs_mm(contacts)
}

fn median_abs_mm(contacts: &[Contact]) -> f64 {
    let mut sizes: Vec<f64> = contacts.iter().map(|contact| contact.residual_mm.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(sizes.len() / 2).copied().unwrap_or(0.0)
}

/// What each contact asks of a small movement about the pivot, with its weight.
fn rows_of(
    contacts: &[Contact],
    pivot: Point3<f64>,
    scale_mm: f64,
) -> impl Iterator<Item = WeightedRow> + Clone {
    let slope = slope_of_means(contacts, scale_mm);
    contacts.iter().map(move |contact| WeightedRow {
        point: contact.point,
        row: moment_row(&(contact.point - pivot), &contact.normal),
        residual_mm: contact.residual_mm / slope,
        weight: weight(contact.residual_mm, scale_mm),
    })
}

fn assess(contacts: &[Contact], found: Settled) -> Registered {
    let (mut weights, mut weighted_sq, mut worst_mm, mut used) = (0.0, 0.0, 0.0_f64, 0);
    for contact in contacts {
        let share = weight(contact.residual_mm, found.scale_mm);
        weights += share;
        weighted_sq += share * contact.residual_mm.powi(2);
        if share > 0.1 {
            used += 1;
            worst_mm = worst_mm.max(contact.residual_mm.abs());
        }
    }
    let variance_mm2 = if weights > 0.0 { weighted_sq / weights } else { 0.0 };
    let rows = |scale_mm: f64| rows_of(contacts, found.pivot, scale_mm);
    let correlated = correlated_step(rows(LAST_SCALE * found.scale_mm), variance_mm2);
    let covariance = correlated.as_ref().map_or_else(
        || pose_covariance(rows(found.scale_mm), &found.step.inverse, variance_mm2),
        |step| step.covariance,
    );
    Registered {
        pose: correlated.map_or(found.pose, |step| moved(&found.pose, &step.movement, &found.pivot)),
        pivot: found.pivot,
        rms_mm: variance_mm2.sqrt(),
        worst_mm,
        on_surface: contacts.len() as u64,
        used,
        typical_mm: median_abs_mm(contacts),
        iterations: found.iterations,
        converged: found.converged,
        covariance,
        step: found.step,
    }
}
