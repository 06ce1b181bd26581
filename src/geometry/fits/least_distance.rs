//! Levenberg–Marquardt for a handful of parameters and many distances.
//!
//! In: a start and a function that gives, for each point, its distance and the distance's derivatives. Out: the
//! parameters at which the sum of squared distances stands still.
//! Units: the parameters' own; damping follows each parameter's own scale (Marquardt, SIAM J. 11(2), 1963).
//! Method: normal equations; they only steer the steps, and the place where the gradient vanishes does not depend on
//! their rounding.
//! Does not find the global minimum: the start decides.

use nalgebra::{SMatrix, SVector};

/// Steps before giving up; a good start takes five to ten.
const MOST_STEPS: usize = 200;
/// Share of the data's size below which a step changes nothing any more: some roundings of 1.1e-16.
const LAST_STEP: f64 = 1e-14;
/// Damping beyond which no step will help any more.
const MOST_DAMPING: f64 = 1e12;

/// A distance of one point and its derivatives by the parameters.
pub(super) type Distance<const P: usize> = (f64, SVector<f64, P>);

/// The parameters with the least sum of squared distances near `start`; `None` where it does not settle.
pub(super) fn minimise<const P: usize>(
    start: SVector<f64, P>,
    count: usize,
    size: f64,
    distance: &dyn Fn(&SVector<f64, P>, usize) -> Distance<P>,
) -> Option<SVector<f64, P>> {
    let mut parameters = start;
    let (mut cost, mut gradient, mut curvature) = expand(&parameters, count, distance);
    let mut damping = 1e-6;
    for _ in 0..MOST_STEPS {
        let mut damped = curvature;
        for index in 0..P {
            damped[(index, index)] += damping * curvature[(index, index)].max(f64::MIN_POSITIVE);
        }
        let step = damped.cholesky()?.solve(&-gradient);
        let moved = parameters + step;
        let (moved_cost, moved_gradient, moved_curvature) = expand(&moved, count, distance);
        let is_last = step.norm() <= LAST_STEP * size;
        // Near the minimum the cost no longer tells steps apart: its own rounding must not refuse them.
        if moved_cost <= cost * (1.0 + 1e-12) {
            (parameters, cost, gradient, curvature) = (moved, moved_cost, moved_gradient, moved_curvature);
            damping = (damping / 10.0).max(1e-15);
        } else {
            damping *= 10.0;
        }
        if is_last || damping > MOST_DAMPING {
            break;
        }
    }
    parameters.iter().all(|value| value.is_finite()).then_some(parameters)
}

/// Sum of squares, half its gradient, and JᵀJ.
fn expand<const P: usize>(
    parameters: &SVector<f64, P>,
    count: usize,
    distance: &dyn Fn(&SVector<f64, P>, usize) -> Distance<P>,
) -> (f64, SVector<f64, P>, SMatrix<f64, P, P>) {
    let mut cost = 0.0;
    let mut gradient = SVector::zeros();
    let mut curvature = SMatrix::zeros();
    for index in 0..count {
        let (value, derivatives) = distance(parameters, index);
        cost += value * value;
        gradient += derivatives * value;
        curvature += derivatives * derivatives.transpose();
    }
    (cost, gradient, curvature)
}

/// Root mean square and largest size of distances, mm.
pub(super) fn rms_and_worst(distances_mm: impl Iterator<Item = f64>) -> (f64, f64) {
    let (mut count, mut squares, mut worst) = (0.0_f64, 0.0, 0.0_f64);
    for distance_mm in distances_mm {
        count += 1.0;
        squares += distance_mm * distance_mm;
        worst = worst.max(distance_mm.abs());
    }
    ((squares / count.max(1.0)).sqrt(), worst)
}
