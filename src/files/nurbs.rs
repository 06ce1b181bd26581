//! B-splines, rational or not, as points.
//!
//! In: degree, knots, poles, weights. Out: points in order, both ends included. Units: the poles'.
//! Method: de Boor's recurrence in homogeneous coordinates (C. de Boor, A Practical Guide to Splines, 1978, chapter X), every
//! span of the knots cut into equal steps. Does not check whether the curve is smooth.

use nalgebra::{Point3, Vector4};

/// Steps of one span: a span of a quarter circle is then sampled every 3°.
const STEPS_PER_SPAN: usize = 30;
/// Highest degree that exchange files use, with room.
const HIGHEST_DEGREE: usize = 25;

/// Samples a B-spline; nothing where knots, poles and weights do not fit together.
pub(super) fn sample(
    degree: usize,
    knots: &[f64],
    poles: &[Point3<f64>],
    weights: Option<&[f64]>,
) -> Option<Vec<Point3<f64>>> {
    let fits = (1..=HIGHEST_DEGREE).contains(&degree)
        && poles.len() > degree
        && knots.len() == poles.len() + degree + 1
        && weights
            .is_none_or(|weights| weights.len() == poles.len() && weights.iter().all(|weight| *weight > 0.0))
        && knots.iter().all(|knot| knot.is_finite())
        && knots.is_sorted();
    if !fits {
        return None;
    }
    let homogeneous: Vec<Vector4<f64>> = poles
        .iter()
        .enumerate()
        .map(|(index, pole)| {
            let weight = weights.and_then(|weights| weights.get(index)).copied().unwrap_or(1.0);
            (pole.coords * weight).push(weight)
        })
        .collect();
    let mut points = Vec::new();
    for span in degree..poles.len() {
        let (Some(&low), Some(&high)) = (knots.get(span), knots.get(span + 1)) else { continue };
        if high <= low {
            continue;
        }
        let first = usize::from(!points.is_empty());
        for step in first..=STEPS_PER_SPAN {
            let knot = low + (high - low) * step as f64 / STEPS_PER_SPAN as f64;
            points.push(point_at(degree, knots, &homogeneous, span, knot)?);
        }
    }
    (!points.is_empty()).then_some(points)
}

fn point_at(
    degree: usize,
    knots: &[f64],
    poles: &[Vector4<f64>],
    span: usize,
    knot: f64,
) -> Option<Point3<f64>> {
    let mut near = poles.get(span - degree..=span)?.to_vec();
    for level in 1..=degree {
        for index in (level..=degree).rev() {
            let low = *knots.get(span - degree + index)?;
            let high = *knots.get(span + 1 + index - level)?;
            let share = if high > low { (knot - low) / (high - low) } else { 0.0 };
            let (before, here) = (*near.get(index - 1)?, near.get_mut(index)?);
            *here = before * (1.0 - share) + *here * share;
        }
    }
    let end = near.last()?;
    Some(Point3::from(end.xyz() / end.w))
}
