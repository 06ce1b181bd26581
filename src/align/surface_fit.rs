//! Alignment to a reference surface over the plan's fixed panels: `best-fit` and `coarse`.
//!
//! In: a scan, a reference (mesh or earlier scan, Car frame), the plan. Out: an [`Alignment`]. Units: mm.
//! Method: both are thinned and laid out as patches; a start pose, or the pose that `search` believes, is made exact by
//! `register` on the fixed panels alone; what is left on every panel is reported.
//! Does not use points near seams: hems and gaps are what is measured later.

use nalgebra::{Isometry3, Point3};

use super::align_error::AlignError;
use super::alignment::{AlignWarning, Alignment, PanelResidual, ResidualPoint};
use super::entry::AlignSettings;
use super::panels::{Division, divide};
use super::register::{Registered, Task, register};
use super::search::{search, share_over};
use super::surface::Surface;
use super::thin::{SurfacePoints, spread_out, thinned, typical_extent_mm};
use super::unit_check::check_unit_of_lengths;
use crate::geometry::RigidTransform;
use crate::plan::{Panel, Plan};
use crate::scan::ScanSource;

/// Nodes of the reference: about 9 mm apart on a front end, where a patch of six numbers is off by a third of a thousandth of a mm.
const REFERENCE_NODES: usize = 24_000;
/// Reference points for each node: patches of some 60 points.
const POINTS_PER_NODE: usize = 12;
/// Points of the last step for each one that finds the pose.
const LAST_POINTS_PER_POINT: usize = 3;
/// Nodes of the scan in a search.
const SCAN_NODES: usize = 2_500;
/// Fewest points on the fixed panels.
const LEAST_POINTS: u64 = 200;
/// First scale of the weights for a start pose: 10° and 50 mm off on a front end, mm.
const START_SCALE_MM: f64 = 80.0;
/// First scale after a search, mm.
const SEARCHED_SCALE_MM: f64 = 2.0;
/// Share of the scan's points over fixed panels that must fit, or the start pose led nowhere.
const LEAST_FITTING: f64 = 0.7;
/// Least overlap of a start pose's fit, or it led nowhere: 40 % is wanted of a scan, strays and holes taken off.
const LEAST_OVERLAP: f64 = 0.3;
/// Worst condition that is reported without a warning, and at all.
const WEAK_CONDITION: f64 = 30.0;
const WORST_CONDITION: f64 = 300.0;
/// A fixed panel whose median is further off than this many times the typical residual, and the next, has moved.
const MOVED_PANEL_SIGMAS: f64 = 5.0;
const MOVED_PANEL_MM: f64 = 0.3;
/// Points kept for drawing.
const DRAWN_POINTS: usize = 6_000;
/// Overlap below which a warning is given.
const LITTLE_OVERLAP: f64 = 0.2;

/// A reference made ready; can be used for many scans.
#[derive(Debug)]
pub struct Reference {
    surface: Surface,
    /// For each node, its panel's place in the plan.
    panel_of: Vec<Option<usize>>,
    carries: Vec<bool>,
    extent_mm: f64,
}

impl Reference {
    /// Lays the reference out and finds which part of it is which panel.
    ///
    /// # Errors
    /// It cannot be read, has no surface, or the plan names no fixed panel on it.
    pub fn prepare(source: &dyn ScanSource, plan: &Plan) -> Result<Self, AlignError> {
        if !plan.panels.iter().any(|panel| panel.is_fixed) {
            return Err(AlignError::NoFixedPanel);
        }
        let points = thinned(source, REFERENCE_NODES * POINTS_PER_NODE)?;
        let surface = Surface::lay(&points, REFERENCE_NODES.min(points.points.len() / POINTS_PER_NODE))?;
        let Division { panel_of, carries } = divide(plan, &surface);
        if !carries.contains(&true) {
            let reason = "none of it lies beside the plan's seams on a fixed panel".to_owned();
            return Err(AlignError::ReferenceWithoutSurface { reason });
        }
        Ok(Self { surface, panel_of, carries, extent_mm: typical_extent_mm(&points.points) })
    }

    /// A panel that was moved by up to a wide gap is still its own.
    const fn reach_mm(&self) -> f64 {
        3.0 * self.surface.spacing_mm + 10.0
    }

    fn task<'t>(&'t self, scan: &'t Thinned, first_scale_mm: f64) -> Task<'t> {
        Task {
            points: &scan.few.points,
            last_points: &scan.many.points,
            surface: &self.surface,
            carries: &self.carries,
            first_scale_mm,
        }
    }
}

/// A scan thinned twice.
struct Thinned {
    /// To find the pose with.
    few: SurfacePoints,
    /// For the last step, and for what is left on the panels.
    many: SurfacePoints,
}

impl Thinned {
    fn of(source: &dyn ScanSource, wanted: usize) -> Result<Self, AlignError> {
        let many = thinned(source, LAST_POINTS_PER_POINT * wanted)?;
        Ok(Self { few: many.at(&spread_out(&many.points, wanted)), many })
    }
}

/// Aligns to a prepared reference; from `start`, or from nothing.
///
/// # Errors
/// See [`AlignError`].
pub fn align_to_surface(
    source: &dyn ScanSource,
    plan: &Plan,
    reference: &Reference,
    start: Option<&Isometry3<f64>>,
    settings: &AlignSettings,
) -> Result<Alignment, AlignError> {
    let limit_mm = plan.align.limit_mm();
    let scan = Thinned::of(source, settings.scan_points)?;
    let points = &scan.few.points;
    if points.len() < LEAST_POINTS as usize {
        return Err(AlignError::ScanWithoutSurface { reason: format!("it has {} points", points.len()) });
    }
    refuse_other_unit(points, reference)?;
    let mut warnings = Vec::new();
    let from_start = start.and_then(|start| register(&reference.task(&scan, START_SCALE_MM), start));
    let believed = from_start.filter(|found| is_plausible(found, points, reference, limit_mm));
    let found = match believed {
        Some(found) => found,
        None => {
            if start.is_some() {
                warnings.push(AlignWarning::StartPoseUseless);
            }
            from_scratch(&scan, reference, settings)?
        }
    };
    refuse_bad_fit(&found, limit_mm)?;
    Ok(gather(plan, reference, &scan.many, &found, warnings))
}

fn from_scratch(
    scan: &Thinned,
    reference: &Reference,
    settings: &AlignSettings,
) -> Result<Registered, AlignError> {
    let surface = Surface::lay(&scan.few, SCAN_NODES).map_err(|error| match error {
        AlignError::ReferenceWithoutSurface { reason } => AlignError::ScanWithoutSurface { reason },
        other => other,
    })?;
    let coarse = search(&surface, &reference.surface, &reference.carries, settings.seed)?;
    register(&reference.task(scan, SEARCHED_SCALE_MM), &coarse.pose)
        .ok_or(AlignError::NoOverlap { points: 0, needed: LEAST_POINTS })
}

/// A scan of a part may be small; one a hundredth of the reference or a hundred times it is in another unit.
fn refuse_other_unit(points: &[Point3<f64>], reference: &Reference) -> Result<(), AlignError> {
    let scan_mm = typical_extent_mm(points);
    let ratio = scan_mm / reference.extent_mm;
    if (0.01..=100.0).contains(&ratio) {
        // Nearly the same extent but for 10 or 25.4 is a unit, not a part.
        return check_unit_of_lengths(scan_mm, reference.extent_mm, 0.1);
    }
    check_unit_of_lengths(scan_mm, reference.extent_mm, 0.9)
}

/// Good enough not to search: scan and reference overlap, most of what lies over the fixed panels fits, and they are held.
fn is_plausible(found: &Registered, points: &[Point3<f64>], reference: &Reference, limit_mm: f64) -> bool {
    if overlap(points, reference, &found.pose) < LEAST_OVERLAP {
        return false;
    }
    let step = (points.len() / 2000).max(1);
    let few: Vec<Point3<f64>> = points.iter().step_by(step).copied().collect();
    let fitting = share_over(&few, &reference.surface, &reference.carries, &found.pose);
    found.typical_mm <= limit_mm && fitting > LEAST_FITTING && found.on_surface >= LEAST_POINTS
}

/// Share of the scan that lies on the reference, or of the fixed panels that lie on the scan, whichever is more: the one may
/// be a part of the other. A corner that happens to fit somewhere is little of both.
fn overlap(points: &[Point3<f64>], reference: &Reference, pose: &Isometry3<f64>) -> f64 {
    let mut is_met = vec![false; reference.carries.len()];
    let mut lying = 0_usize;
    for near in
        points.iter().filter_map(|point| reference.surface.near(&(pose * point), reference.reach_mm()))
    {
        is_met[near.node] = true;
        lying += 1;
    }
    let carrying = reference.carries.iter().filter(|carries| **carries).count();
    let met = is_met.iter().zip(&reference.carries).filter(|(is_met, carries)| **is_met && **carries).count();
    let share = |part: usize, whole: usize| part as f64 / whole.max(1) as f64;
    share(lying, points.len()).max(share(met, carrying))
}

fn refuse_bad_fit(found: &Registered, limit_mm: f64) -> Result<(), AlignError> {
    if found.on_surface < LEAST_POINTS {
        return Err(AlignError::NoOverlap { points: found.on_surface, needed: LEAST_POINTS });
    }
    let fitting = found.used as f64 / found.on_surface as f64;
    if found.rms_mm > limit_mm || found.typical_mm > limit_mm {
        let fitting_percent = fitting * 100.0;
        return Err(AlignError::OtherCar {
            rms_mm: found.rms_mm.max(found.typical_mm),
            limit_mm,
            fitting_percent,
        });
    }
    if found.step.condition > WORST_CONDITION {
        let direction = found.step.weak_direction.clone();
        return Err(AlignError::WeakSurface { direction, condition: found.step.condition });
    }
    Ok(())
}

fn gather(
    plan: &Plan,
    reference: &Reference,
    scan: &SurfacePoints,
    found: &Registered,
    mut warnings: Vec<AlignWarning>,
) -> Alignment {
    let points = residual_points(reference, scan, &found.pose);
    let panels = panel_residuals(plan, &points);
    let moved_mm = (MOVED_PANEL_SIGMAS * found.rms_mm).max(MOVED_PANEL_MM);
    warnings.extend(panels.iter().filter(|panel| panel.is_used && panel.median_mm.abs() > moved_mm).map(
        |panel| AlignWarning::FixedPanelMoved { panel: panel.panel.clone(), median_mm: panel.median_mm },
    ));
    let fraction = found.on_surface as f64 / scan.points.len() as f64;
    if fraction < LITTLE_OVERLAP {
        warnings.push(AlignWarning::LittleOverlap { fraction });
    }
    if found.step.condition > WEAK_CONDITION {
        let direction = found.step.weak_direction.clone();
        warnings.push(AlignWarning::WeakDirection { direction, condition: found.step.condition });
    }
    Alignment {
        car_from_scanner: RigidTransform::new(found.pose),
        way: plan.align.way(),
        rms_residual_mm: found.rms_mm,
        worst_residual_mm: found.worst_mm,
        points_used: found.used,
        iterations: found.iterations,
        converged: found.converged,
        covariance: found.covariance,
        pivot: found.pivot,
        condition: found.step.condition,
        panels,
        residual_points: points.iter().step_by(points.len().div_ceil(DRAWN_POINTS).max(1)).copied().collect(),
        warnings,
        ..Alignment::none()
    }
}

/// What the scan's points leave on the reference, panels or none.
fn residual_points(reference: &Reference, scan: &SurfacePoints, pose: &Isometry3<f64>) -> Vec<ResidualPoint> {
    let reach_mm = reference.reach_mm();
    let at = |point: &Point3<f64>| {
        let point = pose * point;
        let near = reference.surface.near(&point, reach_mm)?;
        Some(ResidualPoint {
            point,
            normal: near.normal,
            residual_mm: near.distance_mm,
            panel: reference.panel_of[near.node],
            is_used: reference.carries[near.node],
        })
    };
    scan.points.iter().filter_map(at).collect()
}

fn panel_residuals(plan: &Plan, points: &[ResidualPoint]) -> Vec<PanelResidual> {
    let mut of_panel: Vec<Vec<f64>> = vec![Vec::new(); plan.panels.len()];
    for point in points {
        if let Some(index) = point.panel {
            of_panel[index].push(point.residual_mm);
        }
    }
    plan.panels.iter().zip(of_panel).filter_map(|(panel, residuals)| summary(panel, residuals)).collect()
}

fn summary(panel: &Panel, mut residuals: Vec<f64>) -> Option<PanelResidual> {
    residuals.sort_by(f64::total_cmp);
    let median_mm = *residuals.get(residuals.len() / 2)?;
    let count = residuals.len();
    // Strays lie on panels too: the middle 95 % speak for the panel.
    let middle = &residuals[count / 40..count - count / 40];
    let sum_sq: f64 = middle.iter().map(|value| value * value).sum();
    Some(PanelResidual {
        panel: panel.id.clone(),
        point_count: count as u64,
        median_mm,
        rms_mm: (sum_sq / middle.len().max(1) as f64).sqrt(),
        is_used: panel.is_fixed,
    })
}
