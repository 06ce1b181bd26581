//! Cylinder with the least sum of squared distances.
//!
//! In: points, mm, of a whole cylinder or of a strip of one (a hem). Out: axis and radius.
//! Method: starts over the half-sphere of axis directions, each with the algebraic circle of the points seen along it;
//! the best few are refined by Levenberg–Marquardt on the distances, in a frame that follows the axis (Forbes, NPL
//! report DITC 140/89, 1989, 3.5).
//! Does not find the ends of the cylinder.

use std::f64::consts::PI;

use nalgebra::{Matrix3, Point2, Point3, SVector, Vector3};

use super::circle::algebraic_circle;
use super::least_distance::{minimise, rms_and_worst};

/// Directions tried: about 8° apart, within which a quarter-turn hem still leads to its own axis.
const DIRECTIONS: usize = 300;
/// Starts that are refined.
const REFINED: usize = 4;
/// Points used for the choice of starts.
const POINTS_FOR_START: usize = 400;
/// Times that the frame is turned onto the axis found; the second finds it all but unchanged.
const FRAME_TURNS: usize = 4;

/// A fitted cylinder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CylinderFit {
    /// The axis point nearest to the points' centroid.
    pub point: Point3<f64>,
    /// Unit vector along the axis, either way.
    pub direction: Vector3<f64>,
    pub radius_mm: f64,
    pub rms_mm: f64,
    pub worst_mm: f64,
}

/// Fits a cylinder; `None` with fewer than five points, or where none fits (points in a plane).
#[must_use]
pub fn fit_cylinder(points: &[Point3<f64>]) -> Option<CylinderFit> {
    if points.len() < 5 {
        return None;
    }
    let count = points.len() as f64;
    let first = points.first()?;
    let centroid = first + points.iter().map(|point| point - first).sum::<Vector3<f64>>() / count;
    let centred: Vec<Vector3<f64>> = points.iter().map(|point| point - centroid).collect();
    let mut starts: Vec<(f64, Vector3<f64>)> = (0..DIRECTIONS)
        .filter_map(|index| {
            let axis = half_sphere_direction(index);
            Some((scatter_along(&centred, &axis)?, axis))
        })
        .collect();
    starts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let best = starts
        .iter()
        .take(REFINED)
        .filter_map(|(_, axis)| refine(&centred, *axis))
        .min_by(|a, b| a.rms_mm.total_cmp(&b.rms_mm))?;
    Some(CylinderFit { point: centroid + best.point.coords, ..best })
}

/// Directions evenly over a half-sphere (golden-angle spiral).
fn half_sphere_direction(index: usize) -> Vector3<f64> {
    let height = (index as f64 + 0.5) / DIRECTIONS as f64;
    let turn = index as f64 * PI * (3.0 - 5.0_f64.sqrt());
    let radius = (1.0 - height * height).sqrt();
    Vector3::new(radius * turn.cos(), radius * turn.sin(), height)
}

/// Two axes at right angles to `axis`, and `axis`, as rows.
fn frame_of(axis: &Vector3<f64>) -> Matrix3<f64> {
    let least = if axis.z.abs() < 0.9 { Vector3::z() } else { Vector3::x() };
    let first = least.cross(axis).normalize();
    Matrix3::from_rows(&[first.transpose(), axis.cross(&first).transpose(), axis.transpose()])
}

/// Mean squared distance from the algebraic circle of the points seen along an axis, mm².
fn scatter_along(centred: &[Vector3<f64>], axis: &Vector3<f64>) -> Option<f64> {
    let frame = frame_of(axis);
    let stride = centred.len().div_ceil(POINTS_FOR_START);
    let seen: Vec<Point2<f64>> =
        centred.iter().step_by(stride).map(|point| Point2::from((frame * point).xy())).collect();
    let (centre, radius_mm) = algebraic_circle(&seen)?;
    let squares: f64 = seen.iter().map(|point| ((point - centre).norm() - radius_mm).powi(2)).sum();
    Some(squares / seen.len() as f64)
}

/// Levenberg–Marquardt about one axis; points and result are relative to the centroid.
fn refine(centred: &[Vector3<f64>], start: Vector3<f64>) -> Option<CylinderFit> {
    let mut axis = start;
    let mut found: Option<(Vector3<f64>, f64)> = None;
    for _ in 0..FRAME_TURNS {
        let frame = frame_of(&axis);
        let local: Vec<Vector3<f64>> = centred.iter().map(|point| frame * point).collect();
        let seen: Vec<Point2<f64>> = local.iter().map(|point| Point2::from(point.xy())).collect();
        let (centre, radius_mm) = match found {
            Some((point, radius_mm)) => (Point2::from((frame * point).xy()), radius_mm),
            None => algebraic_circle(&seen)?,
        };
        let reach = local.iter().map(|point| point.norm()).fold(radius_mm, f64::max);
        let begin = SVector::from([centre.x, centre.y, 0.0, 0.0, radius_mm]);
        let end =
            minimise(begin, local.len(), reach, &|shape, index| axis_distance(&local[index], shape, reach))?;
        let slope = Vector3::new(end[2] / reach, end[3] / reach, 1.0).normalize();
        axis = frame.transpose() * slope;
        let foot = Vector3::new(end[0], end[1], 0.0);
        let nearest = foot - slope * foot.dot(&slope);
        found = Some((frame.transpose() * nearest, end[4]));
    }
    let (point, radius_mm) = found?;
    let (rms_mm, worst_mm) =
        rms_and_worst(centred.iter().map(|offset| (offset - point).cross(&axis).norm() - radius_mm));
    (radius_mm > 0.0).then_some(CylinderFit {
        point: Point3::from(point),
        direction: axis,
        radius_mm,
        rms_mm,
        worst_mm,
    })
}

/// Distance of a point from the cylinder whose axis passes (x, y, 0) with slopes (a, b)/reach, and its derivatives.
fn axis_distance(point: &Vector3<f64>, shape: &SVector<f64, 5>, reach: f64) -> (f64, SVector<f64, 5>) {
    let slope = Vector3::new(shape[2] / reach, shape[3] / reach, 1.0);
    let squared = slope.norm_squared();
    let offset = point - Vector3::new(shape[0], shape[1], 0.0);
    let along = offset.dot(&slope) / squared;
    let arm = offset - slope * along;
    let length = arm.norm().max(f64::MIN_POSITIVE);
    let outward = arm / length;
    // The foot moves with the axis; along the arm only the axis' own move at the foot counts.
    let derivatives =
        SVector::from([-outward.x, -outward.y, -outward.x * along / reach, -outward.y * along / reach, -1.0]);
    (length - shape[4], derivatives)
}
