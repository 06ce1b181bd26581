//! Points of B-splines, also rational ones.
//!
//! In: degree, knots, control points, weights. Out: points at any parameter, and runs of points.
//! Units: those of the control points. Method: de Boor's algorithm in homogeneous coordinates (L. Piegl, W. Tiller, The NURBS
//! Book, 2nd ed., 1997, A4.1; C. de Boor, J. Approx. Theory 6, 1972).
//! Does not read files.

use nalgebra::{Point3, Vector4};

/// First steps of one span; more follow where the curve needs them.
const STEPS_PER_SPAN: usize = 12;
/// Most steps of one span.
const MOST_STEPS: f64 = 2000.0;
/// Highest degree that exchange files use, with room.
const HIGHEST_DEGREE: usize = 25;

/// A B-spline whose knots, poles and weights fit together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Nurbs {
    degree: usize,
    knots: Vec<f64>,
    /// Weighted poles and weights.
    poles: Vec<Vector4<f64>>,
}

impl Nurbs {
    /// `None` where knots, poles and weights do not fit together.
    pub fn new(
        degree: usize,
        knots: Vec<f64>,
        poles: &[Point3<f64>],
        weights: Option<&[f64]>,
    ) -> Option<Self> {
        let fits = (1..=HIGHEST_DEGREE).contains(&degree)
            && poles.len() > degree
            && knots.len() == poles.len() + degree + 1
            && weights.is_none_or(|weights| {
                weights.len() == poles.len()
                    && weights.iter().all(|weight| *weight > 0.0 && weight.is_finite())
            })
            && knots.iter().all(|knot| knot.is_finite())
            && knots.is_sorted();
        if !fits {
            return None;
        }
        let weigh = |(index, pole): (usize, &Point3<f64>)| {
            let weight = weights.and_then(|weights| weights.get(index)).copied().unwrap_or(1.0);
            (pole.coords * weight).push(weight)
        };
        let spline = Self { degree, knots, poles: poles.iter().enumerate().map(weigh).collect() };
        let (start, end) = spline.range();
        (end > start).then_some(spline)
    }

    /// First and last parameter.
    pub fn range(&self) -> (f64, f64) {
        let at = |place: usize| self.knots.get(place).copied().unwrap_or(0.0);
        (at(self.degree), at(self.poles.len()))
    }

    pub const fn degree(&self) -> usize {
        self.degree
    }

    /// The point at a parameter, which is taken into the range.
    pub fn at(&self, parameter: f64) -> Point3<f64> {
        let (start, end) = self.range();
        let knot = parameter.clamp(start, end);
        let after = self.knots.partition_point(|other| *other <= knot);
        let span = after.saturating_sub(1).clamp(self.degree, self.poles.len() - 1);
        self.in_span(span, knot).unwrap_or_else(Point3::origin)
    }

    fn in_span(&self, span: usize, knot: f64) -> Option<Point3<f64>> {
        let degree = self.degree;
        let mut near = self.poles.get(span - degree..=span)?.to_vec();
        for level in 1..=degree {
            for index in (level..=degree).rev() {
                let low = *self.knots.get(span - degree + index)?;
                let high = *self.knots.get(span + 1 + index - level)?;
                let share = if high > low { (knot - low) / (high - low) } else { 0.0 };
                let (before, here) = (*near.get(index - 1)?, near.get_mut(index)?);
                *here = before * (1.0 - share) + *here * share;
            }
        }
        let end = near.last()?;
        Some(Point3::from(end.xyz() / end.w))
    }

    /// The different knots from `from` to `to`, with both ends: between them the curve is smooth.
    pub fn breaks(&self, from: f64, to: f64) -> Vec<f64> {
        let first = self.knots.partition_point(|knot| *knot <= from);
        let inside = self.knots.iter().skip(first).take_while(|knot| **knot < to);
        let mut breaks: Vec<f64> = std::iter::once(from).chain(inside.copied()).collect();
        breaks.push(to);
        breaks.dedup();
        breaks
    }

    /// Points from one parameter up to a later one, close enough that chords leave the curve by at most `sag`, about.
    pub fn sample(&self, from: f64, to: f64, sag: f64) -> Vec<Point3<f64>> {
        let mut points = vec![self.at(from)];
        let breaks = self.breaks(from, to);
        for (low, high) in breaks.iter().zip(breaks.iter().skip(1)) {
            let steps = self.steps(*low, *high, sag);
            let place = |step: usize| low + (high - low) * step as f64 / steps as f64;
            points.extend((1..=steps).map(|step| self.at(place(step))));
        }
        points
    }

    /// Steps by the second differences of a first run: a chord's sagitta is an eighth of them.
    fn steps(&self, low: f64, high: f64, sag: f64) -> usize {
        if self.degree == 1 {
            return 1;
        }
        let place = |step: usize| self.at(low + (high - low) * step as f64 / STEPS_PER_SPAN as f64);
        let first: Vec<Point3<f64>> = (0..=STEPS_PER_SPAN).map(place).collect();
        let largest = first
            .iter()
            .zip(first.iter().skip(1))
            .zip(first.iter().skip(2))
            .map(|((before, here), after)| (before.coords - here.coords * 2.0 + after.coords).norm() / 8.0)
            .fold(0.0, f64::max);
        let steps = STEPS_PER_SPAN as f64 * (largest / sag).sqrt();
        if steps.is_finite() { steps.ceil().clamp(2.0, MOST_STEPS) as usize } else { STEPS_PER_SPAN }
    }
}

/// The diagonal of the box round some points.
pub(super) fn size_of(points: &[Point3<f64>]) -> f64 {
    let Some(first) = points.first() else { return 0.0 };
    let low = points.iter().fold(*first, |low, point| low.inf(point));
    let high = points.iter().fold(*first, |high, point| high.sup(point));
    (high - low).norm()
}
