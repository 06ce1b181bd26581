//! A smooth space curve with a rotation-minimising frame, sampled densely by arc length.
//!
//! In: at least two different points in order (mm), optionally an outward normal at each.
//! Out: length, position, tangent, normal and the crossing axis at any distance along it.
//! Shape: a centripetal Catmull-Rom spline through the points (Catmull and Rom 1974; centripetal parameter: Yuksel,
//! Schaefer, Keyser, Computer-Aided Design 43(7), 2011), so it passes through every point and does not overshoot.
//! Frames: double reflection (Wang, Jüttler, Zheng, Liu, ACM TOG 27(1), 2008) where the normals are unknown, the
//! given normals, made perpendicular to the tangent, where they are known.
//! Does not find the nearest of many points: see `seam::corridor` for that.

use nalgebra::{Point3, Unit, Vector3};
use thiserror::Error;

use super::rotation_minimising::rotation_minimising_normals;

/// Longest distance between two samples of the resampled curve, mm: a sagitta of 6 µm on a bend of 20 mm radius.
const SAMPLE_STEP_MM: f64 = 1.0;
/// Longest curve that is taken for part of a car, mm; it also bounds the number of samples.
const LONGEST_CURVE_MM: f64 = 1.0e5;
/// Points closer than this are the same point, mm (files are written to 1 µm or better).
const REPEATED_POINT_MM: f64 = 1e-6;

/// Why points do not make a curve.
#[derive(Debug, Error, PartialEq, Clone)]
pub enum CurveError {
    #[error("a curve needs at least two different points, and this one has {found}")]
    TooFewPoints { found: usize },
    #[error("point {index} of the curve is not a finite number")]
    NotFinite { index: usize },
    #[error("point {index} of the curve repeats the point before it")]
    RepeatedPoint { index: usize },
    #[error("the curve is {length_mm:.0} mm long, and no car is; its unit may be wrong")]
    TooLong { length_mm: f64 },
    #[error("{normals} normals were given for {points} curve points")]
    NormalCount { points: usize, normals: usize },
    #[error("the normal of curve point {index} has no direction, or runs along the curve")]
    BadNormal { index: usize },
}

/// Position and axes at one place of a curve. Right-handed: `across = along × outward`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveFrame {
    pub origin: Point3<f64>,
    /// Unit tangent `t`, in the direction of travel.
    pub along: Vector3<f64>,
    /// Unit outward normal `n`.
    pub outward: Vector3<f64>,
}

impl CurveFrame {
    /// The unit vector `u = t × n`: across the seam, from the left-hand panel towards the right-hand one.
    #[must_use]
    pub fn across(&self) -> Vector3<f64> {
        self.along.cross(&self.outward)
    }

    /// Coordinates (across, along, outward) of a point in this frame, mm.
    #[must_use]
    pub fn local(&self, point: &Point3<f64>) -> Vector3<f64> {
        let offset = point - self.origin;
        Vector3::new(offset.dot(&self.across()), offset.dot(&self.along), offset.dot(&self.outward))
    }
}

/// The place on a curve that is nearest to a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Foot {
    pub along_mm: f64,
    pub distance_mm: f64,
}

/// A curve resampled at no more than 1 mm, with arc length and frames.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    positions: Vec<Point3<f64>>,
    tangents: Vec<Vector3<f64>>,
    normals: Vec<Vector3<f64>>,
    distances_mm: Vec<f64>,
    has_given_normals: bool,
}

impl Curve {
    /// Lays a smooth curve through points in order.
    ///
    /// Shape: N ≥ 2 points (mm) and either no normals or N of them (any length but zero).
    ///
    /// # Errors
    /// Fewer than two points, repeated or non-finite points, an absurd length, a wrong number of normals, a normal along the curve.
    pub fn through(points: &[Point3<f64>], normals: Option<&[Vector3<f64>]>) -> Result<Self, CurveError> {
        check_points(points)?;
        let (positions, parameters) = resample(points);
        let distances_mm = cumulative_lengths(&positions);
        let tangents = tangents_of(&positions);
        let normals_at_samples = match normals {
            Some(given) => interpolate_normals(given, points.len(), &parameters, &tangents)?,
            None => rotation_minimising_normals(&positions, &tangents, any_perpendicular(&tangents[0])),
        };
        Ok(Self {
            positions,
            tangents,
            normals: normals_at_samples,
            distances_mm,
            has_given_normals: normals.is_some(),
        })
    }

    /// The same curve with its outward normals set to a rotation-minimising frame that starts at `first_outward`.
    ///
    /// # Errors
    /// `first_outward` is zero or runs along the curve.
    pub fn with_first_outward(&self, first_outward: &Vector3<f64>) -> Result<Self, CurveError> {
        let start =
            perpendicular_to(first_outward, &self.tangents[0]).ok_or(CurveError::BadNormal { index: 0 })?;
        let normals = rotation_minimising_normals(&self.positions, &self.tangents, start);
        Ok(Self { normals, has_given_normals: true, ..self.clone() })
    }

    /// True where the outward side is known; false where the normals are arbitrary and must be found in the scan.
    #[must_use]
    pub const fn has_given_normals(&self) -> bool {
        self.has_given_normals
    }

    /// Arc length from the first point to the last, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.distances_mm.last().copied().unwrap_or(0.0)
    }

    /// The samples: positions in order, at most 1 mm apart.
    #[must_use]
    pub fn positions(&self) -> &[Point3<f64>] {
        &self.positions
    }

    /// Distance of each sample from the first point, mm; as many as [`Self::positions`].
    #[must_use]
    pub fn distances_mm(&self) -> &[f64] {
        &self.distances_mm
    }

    /// Frame of the sample with this index (clamped to the last).
    #[must_use]
    pub fn sample_frame(&self, index: usize) -> CurveFrame {
        let index = index.min(self.positions.len() - 1);
        CurveFrame {
            origin: self.positions[index],
            along: self.tangents[index],
            outward: self.normals[index],
        }
    }

    /// Frame at a distance along the curve; beyond the ends the curve goes straight on.
    #[must_use]
    pub fn frame_at(&self, along_mm: f64) -> CurveFrame {
        let last = self.positions.len() - 1;
        let upper = self.distances_mm.partition_point(|distance| *distance < along_mm).clamp(1, last);
        let lower = upper - 1;
        let span_mm = self.distances_mm[upper] - self.distances_mm[lower];
        let share = (along_mm - self.distances_mm[lower]) / span_mm;
        let inside = share.clamp(0.0, 1.0);
        let along = blend(&self.tangents[lower], &self.tangents[upper], inside);
        let outward = blend(&self.normals[lower], &self.normals[upper], inside);
        let outward = perpendicular_to(&outward, &along).unwrap_or_else(|| any_perpendicular(&along));
        let origin = if (0.0..=1.0).contains(&share) {
            self.positions[lower] + (self.positions[upper] - self.positions[lower]) * share
        } else if share < 0.0 {
            self.positions[0] + self.tangents[0] * along_mm
        } else {
            self.positions[last] + self.tangents[last] * (along_mm - self.distances_mm[last])
        };
        CurveFrame { origin, along, outward }
    }

    /// The foot of a point, looking only at the two segments beside a sample that is known to be near it.
    #[must_use]
    pub fn foot_near_sample(&self, point: &Point3<f64>, sample: usize) -> Foot {
        let last = self.positions.len() - 1;
        let sample = sample.min(last);
        let first_segment = sample.saturating_sub(1);
        let last_segment = sample.min(last - 1);
        let mut best = Foot { along_mm: self.distances_mm[sample], distance_mm: f64::INFINITY };
        for lower in first_segment..=last_segment {
            let edge = self.positions[lower + 1] - self.positions[lower];
            let share = ((point - self.positions[lower]).dot(&edge) / edge.norm_squared()).clamp(0.0, 1.0);
            let distance_mm = (point - (self.positions[lower] + edge * share)).norm();
            if distance_mm < best.distance_mm {
                best = Foot { along_mm: self.distances_mm[lower] + edge.norm() * share, distance_mm };
            }
        }
        best
    }

    /// The nearest place on the curve by looking at every sample; for single points, not for scans.
    #[must_use]
    pub fn nearest(&self, point: &Point3<f64>) -> Foot {
        let mut best = (0, f64::INFINITY);
        for (index, position) in self.positions.iter().enumerate() {
            let distance_sq_mm2 = (point - position).norm_squared();
            if distance_sq_mm2 < best.1 {
                best = (index, distance_sq_mm2);
            }
        }
        self.foot_near_sample(point, best.0)
    }
}

fn check_points(points: &[Point3<f64>]) -> Result<(), CurveError> {
    if let Some(index) = points.iter().position(|point| point.iter().any(|value| !value.is_finite())) {
        return Err(CurveError::NotFinite { index });
    }
    if points.len() < 2 {
        return Err(CurveError::TooFewPoints { found: points.len() });
    }
    let length_mm: f64 = points.windows(2).map(|pair| (pair[1] - pair[0]).norm()).sum();
    if length_mm > LONGEST_CURVE_MM {
        return Err(CurveError::TooLong { length_mm });
    }
    match points.windows(2).position(|pair| (pair[1] - pair[0]).norm() < REPEATED_POINT_MM) {
        Some(before) => Err(CurveError::RepeatedPoint { index: before + 1 }),
        None => Ok(()),
    }
}

/// Samples of the spline and, for each, its place in the list of points (2.5 is half-way between points 2 and 3).
fn resample(points: &[Point3<f64>]) -> (Vec<Point3<f64>>, Vec<f64>) {
    let mut positions = vec![points[0]];
    let mut parameters = vec![0.0];
    for start in 0..points.len() - 1 {
        let span = spline_span(points, start);
        let chord_mm = (points[start + 1] - points[start]).norm();
        let pieces = (chord_mm * 1.05 / SAMPLE_STEP_MM).ceil().max(1.0);
        let mut piece = 1.0;
        while piece <= pieces {
            let share = piece / pieces;
            positions.push(if piece < pieces { span_point(&span, share) } else { points[start + 1] });
            parameters.push(start as f64 + share);
            piece += 1.0;
        }
    }
    (positions, parameters)
}

/// The four control points of one span; the ends are mirrored outwards.
fn spline_span(points: &[Point3<f64>], start: usize) -> [Point3<f64>; 4] {
    let (first, second) = (points[start], points[start + 1]);
    let before = if start > 0 { points[start - 1] } else { first + mirrored_end(points, 0, 1, 2) };
    let count = points.len();
    let after = if start + 2 < count {
        points[start + 2]
    } else {
        second + mirrored_end(points, count - 1, count - 2, count.wrapping_sub(3))
    };
    [before, first, second, after]
}

/// Step from an end point to the control point beyond it, keeping the end's bend (parabola through three points).
fn mirrored_end(points: &[Point3<f64>], end: usize, next: usize, after_next: usize) -> Vector3<f64> {
    let chord = points[end] - points[next];
    match points.get(after_next) {
        Some(third) => {
            let inner = points[next] - third;
            let bend = chord / chord.norm() - inner / inner.norm();
            chord + bend * chord.norm()
        }
        None => chord,
    }
}

/// Barry and Goldman's pyramid for the centripetal Catmull-Rom spline.
fn span_point(control: &[Point3<f64>; 4], share: f64) -> Point3<f64> {
    let mut knots = [0.0; 4];
    for index in 1..4 {
        knots[index] = knots[index - 1] + (control[index] - control[index - 1]).norm().sqrt().max(1e-9);
    }
    let knot = knots[1] + (knots[2] - knots[1]) * share;
    let mix = |low: Point3<f64>, high: Point3<f64>, from: f64, to: f64| {
        low + (high - low) * ((knot - from) / (to - from))
    };
    let first = mix(control[0], control[1], knots[0], knots[1]);
    let second = mix(control[1], control[2], knots[1], knots[2]);
    let third = mix(control[2], control[3], knots[2], knots[3]);
    let left = mix(first, second, knots[0], knots[2]);
    let right = mix(second, third, knots[1], knots[3]);
    mix(left, right, knots[1], knots[2])
}

fn cumulative_lengths(positions: &[Point3<f64>]) -> Vec<f64> {
    let mut total_mm = 0.0;
    let mut distances_mm = vec![0.0];
    for pair in positions.windows(2) {
        total_mm += (pair[1] - pair[0]).norm();
        distances_mm.push(total_mm);
    }
    distances_mm
}

/// Central differences, one-sided of second order at the ends.
fn tangents_of(positions: &[Point3<f64>]) -> Vec<Vector3<f64>> {
    let last = positions.len() - 1;
    (0..=last)
        .map(|index| {
            let direction = if last < 2 {
                positions[last] - positions[0]
            } else if index == 0 {
                (positions[1] - positions[0]) * 2.0 - (positions[2] - positions[0]) * 0.5
            } else if index == last {
                (positions[last] - positions[last - 1]) * 2.0 - (positions[last] - positions[last - 2]) * 0.5
            } else {
                positions[index + 1] - positions[index - 1]
            };
            direction.try_normalize(1e-12).unwrap_or_else(Vector3::x)
        })
        .collect()
}

fn interpolate_normals(
    given: &[Vector3<f64>],
    point_count: usize,
    parameters: &[f64],
    tangents: &[Vector3<f64>],
) -> Result<Vec<Vector3<f64>>, CurveError> {
    if given.len() != point_count {
        return Err(CurveError::NormalCount { points: point_count, normals: given.len() });
    }
    let unit: Vec<Vector3<f64>> = given
        .iter()
        .enumerate()
        .map(|(index, normal)| {
            Unit::try_new(*normal, 1e-9).map(Unit::into_inner).ok_or(CurveError::BadNormal { index })
        })
        .collect::<Result<_, _>>()?;
    parameters
        .iter()
        .zip(tangents)
        .map(|(parameter, tangent)| {
            let lower = (parameter.floor() as usize).min(point_count - 2);
            let mixed = blend(&unit[lower], &unit[lower + 1], parameter - lower as f64);
            perpendicular_to(&mixed, tangent).ok_or(CurveError::BadNormal { index: lower })
        })
        .collect()
}

fn blend(low: &Vector3<f64>, high: &Vector3<f64>, share: f64) -> Vector3<f64> {
    let mixed = low + (high - low) * share;
    mixed.try_normalize(1e-9).unwrap_or(*low)
}

pub(super) fn perpendicular_to(vector: &Vector3<f64>, axis: &Vector3<f64>) -> Option<Vector3<f64>> {
    let unit = vector.try_normalize(1e-12)?;
    (unit - axis * unit.dot(axis)).try_normalize(1e-6)
}

fn any_perpendicular(axis: &Vector3<f64>) -> Vector3<f64> {
    let least = if axis.z.abs() < 0.9 { Vector3::z() } else { Vector3::x() };
    perpendicular_to(&least, axis).unwrap_or_else(Vector3::y)
}
