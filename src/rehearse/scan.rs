//! A whole rehearsal: every seam of a plan scanned, put together, displaced; and its truth.
//!
//! In: a plan and [`Rehearsal`]. Out: [`RehearsedScan`], or points one by one for scans that do not fit in memory.
//! Frame: Scanner where a displacement is set, otherwise the plan's; truth always in the plan's. Units: mm.
//! Deterministic: the same plan, settings and seed give the same points in the same order.
//! Does not write files and does not know the file's unit.

use nalgebra::{Isometry3, Point3, Translation3, UnitQuaternion, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use thiserror::Error;

use super::holes::Holes;
use super::mesh::Lattice;
use super::noise::mix;
use super::settings::{Displacement, Rehearsal};
use super::sweep::{ScannedPoint, Sweep};
use super::true_curve::true_curve;
use super::truth::{TruthRow, seam_truth};
use crate::frames::{Car, Scanner};
use crate::geometry::{Curve, CurveError, RigidTransform};
use crate::plan::{Plan, SeamId};
use crate::scan::Triangle;

/// A practice scan with its exact truth.
#[derive(Debug, Clone, PartialEq)]
pub struct RehearsedScan {
    pub points: Vec<Point3<f64>>,
    /// As many as points, where asked for.
    pub normals: Option<Vec<[f32; 3]>>,
    /// Where a mesh was asked for.
    pub triangles: Option<Vec<Triangle>>,
    /// The same triangles by the numbers of their points.
    pub triangle_corners: Option<Vec<[u32; 3]>>,
    /// Every station of every seam, in plan order.
    pub truth: Vec<TruthRow>,
}

/// Why a rehearsal cannot be made.
#[derive(Debug, Error, PartialEq, Clone)]
pub enum RehearseError {
    #[error("{name} is {found}, and must be {allowed}")]
    Setting { name: String, found: f64, allowed: &'static str },
    #[error("the rehearsal's settings shape a seam \"{seam}\", which the plan does not have")]
    UnknownSeam { seam: String },
    #[error("the true curve of seam \"{seam}\" cannot be laid beside the plan's: {source}")]
    Curve { seam: SeamId, source: CurveError },
}

/// Makes a practice scan in memory.
///
/// # Errors
/// A setting is out of its range, names a seam that the plan does not have, or the curve error cannot be laid.
pub fn rehearse(plan: &Plan, settings: &Rehearsal) -> Result<RehearsedScan, RehearseError> {
    let mut points = Vec::new();
    let mut normals = settings.output.normals.then(Vec::new);
    let mut lattices = Vec::new();
    let truth = rehearse_into(plan, settings, &mut |seam_index, point| {
        if settings.output.mesh {
            lattices.resize_with(seam_index + 1, Lattice::default);
            lattices[seam_index].note(point, points.len());
        }
        points.push(point.position);
        if let Some(normals) = &mut normals {
            normals.push([point.normal.x as f32, point.normal.y as f32, point.normal.z as f32]);
        }
    })?;
    let triangle_corners = settings.output.mesh.then(|| {
        let bridges_gap = settings.output.mesh_bridges_gap;
        lattices.iter().flat_map(|lattice| lattice.triangles(&points, bridges_gap)).collect::<Vec<_>>()
    });
    let triangles = triangle_corners.as_ref().map(|corners| {
        corners.iter().map(|triangle| triangle.map(|corner| points[corner as usize])).collect()
    });
    Ok(RehearsedScan { points, normals, triangles, triangle_corners, truth })
}

/// Makes a practice scan point by point; the sink is told the seam's place in the plan with each point.
///
/// # Errors
/// As [`rehearse`]; nothing has then been given to the sink.
pub fn rehearse_into(
    plan: &Plan,
    settings: &Rehearsal,
    sink: &mut dyn FnMut(usize, &ScannedPoint),
) -> Result<Vec<TruthRow>, RehearseError> {
    check(plan, settings)?;
    let curves = true_curves(plan, settings)?;
    let scanner_from_car = displacement(&settings.displacement);
    let view_offsets = view_offsets(settings);
    let mut truth = Vec::new();
    for (index, seam) in plan.seams.iter().enumerate() {
        let seed = seam_seed(settings.seed, index);
        let curve = &curves[index];
        let mut random = ChaCha8Rng::seed_from_u64(mix(seed ^ 0x401E5));
        let holes = Holes::place(&settings.faults, curve.length_mm(), &mut random);
        truth.extend(seam_truth(seam, settings.shape_of(&seam.id.0), &settings.scanner, curve, &holes));
        let rivals = rivals(&curves, index);
        Sweep::new((seam, curve), settings, &holes, rivals, &view_offsets, seed).run(&mut |point| {
            let position = scanner_from_car.point(&point.position);
            let normal = scanner_from_car.vector(&point.normal);
            sink(index, &ScannedPoint { position, normal, ..*point });
        });
    }
    Ok(truth)
}

/// The true curves of all seams, in plan order.
///
/// # Errors
/// The curve error cannot be laid.
pub fn true_curves(plan: &Plan, settings: &Rehearsal) -> Result<Vec<Curve>, RehearseError> {
    plan.seams
        .iter()
        .enumerate()
        .map(|(index, seam)| {
            let seed = mix(seam_seed(settings.seed, index) ^ 0xC07E);
            true_curve(&seam.curve, &settings.curve_error, seed)
                .map_err(|source| RehearseError::Curve { seam: seam.id.clone(), source })
        })
        .collect()
}

/// The rigid move of the whole scan.
#[must_use]
pub fn displacement(settings: &Displacement) -> RigidTransform<Scanner, Car> {
    let [x, y, z] = settings.turn_deg.map(f64::to_radians);
    RigidTransform::new(Isometry3::from_parts(
        Translation3::from(Vector3::from(settings.shift_mm)),
        UnitQuaternion::from_euler_angles(x, y, z),
    ))
}

const fn seam_seed(seed: u64, index: usize) -> u64 {
    mix(seed ^ mix(index as u64 + 1))
}

fn view_offsets(settings: &Rehearsal) -> Vec<Vector3<f64>> {
    let mut random = ChaCha8Rng::seed_from_u64(mix(settings.seed ^ 0x51E7));
    let sd_mm = settings.scanner.view_offset_mm;
    let mut normal = || sd_mm * random.sample::<f64, _>(StandardNormal);
    settings.scanner.views.iter().map(|_| Vector3::new(normal(), normal(), normal())).collect()
}

/// Every second sample of the other curves.
fn rivals(curves: &[Curve], own: usize) -> Vec<Point3<f64>> {
    let others = curves.iter().enumerate().filter(|(index, _)| *index != own);
    others.flat_map(|(_, curve)| curve.positions().iter().step_by(2).copied()).collect()
}

fn check(plan: &Plan, settings: &Rehearsal) -> Result<(), RehearseError> {
    if let Some(seam) = settings.seams.keys().find(|id| plan.seam(&SeamId((*id).clone())).is_none()) {
        return Err(RehearseError::UnknownSeam { seam: seam.clone() });
    }
    let scanner = &settings.scanner;
    within("scanner.spacing_mm", scanner.spacing_mm, 0.01..=50.0, "from 0.01 to 50")?;
    within("scanner.smoothing_mm", scanner.smoothing_mm, 0.0..=2.0, "from 0 to 2")?;
    within("the number of scanner.views", scanner.views.len() as f64, 1.0..=32.0, "from 1 to 32")?;
    within("curve_error.shift_mm", settings.curve_error.shift_mm, 0.0..=20.0, "from 0 to 20")?;
    within("faults.stray_share", settings.faults.stray_share, 0.0..=1.0, "from 0 to 1")?;
    within("faults.flyer_share", settings.faults.flyer_share, 0.0..=1.0, "from 0 to 1")?;
    for noise_mm in [scanner.white_noise_mm, scanner.correlated_noise_mm, scanner.long_noise_mm] {
        within("a noise of the scanner", noise_mm, 0.0..=10.0, "from 0 to 10")?;
    }
    for shape in settings.seams.values().chain([&settings.shape]) {
        within("width_mm", shape.width_mm, 5.0..=1000.0, "from 5 to 1000")?;
        for panel in [&shape.datum, &shape.other] {
            within("hem_radius_mm", panel.hem_radius_mm, 0.05..=20.0, "from 0.05 to 20")?;
            within("hem_turn_deg", panel.hem_turn_deg, 10.0..=270.0, "from 10 to 270")?;
            within("flange_mm", panel.flange_mm, 0.0..=100.0, "from 0 to 100")?;
            let crown_mm = panel.crown_radius_mm.unwrap_or(f64::MAX).abs();
            within("crown_radius_mm", crown_mm, 100.0..=f64::MAX, "100 or more, or left out for flat")?;
        }
    }
    Ok(())
}

fn within(
    name: &str,
    found: f64,
    range: std::ops::RangeInclusive<f64>,
    allowed: &'static str,
) -> Result<(), RehearseError> {
    if range.contains(&found) {
        Ok(())
    } else {
        Err(RehearseError::Setting { name: name.to_owned(), found, allowed })
    }
}
