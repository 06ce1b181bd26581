//! Curves with a parameter: lines, conics, B-splines, chains of points.
//!
//! In: coordinates in the file's unit. Out: points between two parameters, and the parameter of a point.
//! Method: ISO 10303-42 for the parameters: lines by their vector, circles and ellipses by the angle, parabolas as
//! `F (u², 2u)`, hyperbolas as `(a cosh u, b sinh u)`, B-splines by their knots.
//! Does not read files.

use std::f64::consts::TAU;

use nalgebra::{Isometry3, Point3, Vector3};

use crate::files::nurbs::{Nurbs, size_of};

/// Largest turn between two points of an arc, radians: 5°.
const LARGEST_TURN: f64 = TAU / 72.0;
/// Most chords of a piece of a parabola or hyperbola: more than the finest sagitta that is asked for takes.
const MOST_CHORDS: f64 = 5000.0;
/// Tries by which the parameter nearest to a point is narrowed: (2/3)⁶⁰ of a step.
const NARROWINGS: u32 = 60;
/// Splits of a span when the parameter of a point is sought.
const SEARCH_STEPS: usize = 16;

/// A curve.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Basis {
    Line {
        start: Point3<f64>,
        along: Vector3<f64>,
    },
    Conic {
        placement: Isometry3<f64>,
        radii: [f64; 2],
    },
    /// `focus` is the distance from the vertex to the focus.
    Parabola {
        placement: Isometry3<f64>,
        focus: f64,
    },
    /// The branch on the side of the first axis.
    Hyperbola {
        placement: Isometry3<f64>,
        radii: [f64; 2],
    },
    Spline(Nurbs),
    Chain(Vec<Point3<f64>>),
}

impl Basis {
    /// First and last parameter; nothing for what has no ends.
    pub fn range(&self) -> Option<(f64, f64)> {
        match self {
            Self::Line { .. } | Self::Parabola { .. } | Self::Hyperbola { .. } => None,
            Self::Conic { .. } => Some((0.0, TAU)),
            Self::Spline(spline) => Some(spline.range()),
            Self::Chain(points) => Some((0.0, points.len().saturating_sub(1) as f64)),
        }
    }

    pub fn at(&self, parameter: f64) -> Point3<f64> {
        match self {
            Self::Line { start, along } => start + along * parameter,
            Self::Conic { placement, radii: [first, second] } => {
                placement * Point3::new(first * parameter.cos(), second * parameter.sin(), 0.0)
            }
            Self::Parabola { placement, focus } => {
                placement * Point3::new(focus * parameter * parameter, 2.0 * focus * parameter, 0.0)
            }
            Self::Hyperbola { placement, radii: [first, second] } => {
                placement * Point3::new(first * parameter.cosh(), second * parameter.sinh(), 0.0)
            }
            Self::Spline(spline) => spline.at(parameter),
            Self::Chain(points) => {
                let place = parameter.max(0.0);
                let before = points.get(place as usize).or(points.last()).copied();
                let before = before.unwrap_or_else(Point3::origin);
                let after = points.get(place as usize + 1).copied().unwrap_or(before);
                before + (after - before) * place.fract()
            }
        }
    }

    /// True where the end is the start.
    pub fn is_closed(&self) -> bool {
        self.range().is_some_and(|(start, end)| {
            matches!(self, Self::Conic { .. }) || (self.at(start) - self.at(end)).norm() <= 1e-6 * self.size()
        })
    }

    /// About how large the curve is; 1 for a line.
    pub fn size(&self) -> f64 {
        match self {
            Self::Line { .. } => 1.0,
            Self::Conic { radii: [first, second], .. } | Self::Hyperbola { radii: [first, second], .. } => {
                first.max(*second)
            }
            Self::Parabola { focus, .. } => *focus,
            Self::Spline(spline) => {
                let (start, end) = spline.range();
                let at = |step: u32| spline.at(start + (end - start) * f64::from(step) / 16.0);
                size_of(&(0..=16).map(at).collect::<Vec<_>>())
            }
            Self::Chain(points) => size_of(points),
        }
    }

    /// Work for [`Self::sample`] and [`Self::parameter_of`], in units of one arithmetic step or so.
    pub fn cost(&self) -> u64 {
        match self {
            Self::Line { .. } => 10,
            Self::Conic { .. } | Self::Parabola { .. } | Self::Hyperbola { .. } => 4000,
            Self::Spline(spline) => {
                let (start, end) = spline.range();
                let (spans, degree) = (spline.breaks(start, end).len() as u64, spline.degree() as u64);
                spans * 64 * (degree + 1) * (degree + 1)
            }
            Self::Chain(points) => 8 * points.len() as u64,
        }
    }

    /// Points from one parameter up to a later one; chords leave the curve by at most this share of its size, about.
    pub fn sample(&self, from: f64, to: f64, sag_share: f64) -> Vec<Point3<f64>> {
        match self {
            Self::Line { .. } => vec![self.at(from), self.at(to)],
            Self::Conic { .. } => {
                let turn = (2.0 * (1.0 - sag_share).acos()).min(LARGEST_TURN);
                let steps = ((to - from).abs() / turn).ceil().clamp(1.0, 1e5) as usize;
                (0..=steps).map(|step| self.at(from + (to - from) * step as f64 / steps as f64)).collect()
            }
            Self::Parabola { .. } | Self::Hyperbola { .. } => self.sample_open(from, to, sag_share),
            Self::Spline(spline) => spline.sample(from, to, sag_share * self.size()),
            Self::Chain(points) => {
                let inside = (from.floor() as usize + 1)..(to.ceil().max(0.0) as usize).min(points.len());
                let mut run = vec![self.at(from)];
                run.extend(points.get(inside).unwrap_or_default());
                run.push(self.at(to));
                run
            }
        }
    }

    /// A piece of a parabola or hyperbola in equal steps of its parameter: a chord over a step h leaves the curve by at most
    /// h²/8 of its largest second derivative, which of these two curves is at an end.
    fn sample_open(&self, from: f64, to: f64, sag_share: f64) -> Vec<Point3<f64>> {
        let size = size_of(&[self.at(from), self.at(0.5 * (from + to)), self.at(to)]);
        let bend = |parameter: f64| match self {
            Self::Parabola { focus, .. } => 2.0 * focus,
            Self::Hyperbola { placement, .. } => {
                (self.at(parameter).coords - placement.translation.vector).norm()
            }
            _ => 0.0,
        };
        let step = (8.0 * sag_share * size / bend(from).max(bend(to))).sqrt();
        let chords = ((to - from).abs() / step).ceil();
        let chords = if chords.is_finite() { chords.clamp(1.0, MOST_CHORDS) as usize } else { 1 };
        (0..=chords).map(|chord| self.at(from + (to - from) * chord as f64 / chords as f64)).collect()
    }

    /// The parameter of the curve's place nearest to a point; for conics that of a point on them.
    pub fn parameter_of(&self, point: &Point3<f64>) -> f64 {
        match self {
            Self::Line { start, along } => (point - start).dot(along) / along.norm_squared(),
            Self::Conic { placement, radii: [first, second] } => {
                let local = placement.inverse_transform_point(point);
                (local.y / second).atan2(local.x / first).rem_euclid(TAU)
            }
            Self::Parabola { placement, focus } => placement.inverse_transform_point(point).y / (2.0 * focus),
            Self::Hyperbola { placement, radii: [_, second] } => {
                (placement.inverse_transform_point(point).y / second).asinh()
            }
            Self::Spline(spline) => {
                let (start, end) = spline.range();
                self.nearest(point, &spline.breaks(start, end))
            }
            Self::Chain(points) => {
                self.nearest(point, &(0..points.len()).map(|place| place as f64).collect::<Vec<_>>())
            }
        }
    }

    /// Looks at steps between the breaks, then narrows round the best.
    fn nearest(&self, point: &Point3<f64>, breaks: &[f64]) -> f64 {
        let distance = |parameter: f64| (self.at(parameter) - point).norm();
        let steps = breaks.iter().zip(breaks.iter().skip(1)).flat_map(|(low, high)| {
            let step = (high - low) / SEARCH_STEPS as f64;
            (0..=SEARCH_STEPS).map(move |index| (low + step * index as f64, step))
        });
        let best = steps
            .map(|(parameter, step)| (distance(parameter), parameter, step))
            .min_by(|first, second| first.0.total_cmp(&second.0));
        let Some((_, parameter, step)) = best else { return 0.0 };
        let (start, end) = self.range().unwrap_or((parameter, parameter));
        let (mut low, mut high) = ((parameter - step).max(start), (parameter + step).min(end));
        for _ in 0..NARROWINGS {
            let third = (high - low) / 3.0;
            if distance(low + third) <= distance(high - third) {
                high -= third;
            } else {
                low += third;
            }
        }
        let narrowed = 0.5 * (low + high);
        // The ends themselves win where the point is there.
        [start, end, narrowed]
            .into_iter()
            .min_by(|first, second| (distance(*first) - 1e-12).total_cmp(&distance(*second)))
            .unwrap_or(narrowed)
    }
}
