//! Robust least squares of a linear model over the points of a surface.
//!
//! In: rows of coefficients with heights. Out: parameters, cofactors, and the noise that the residuals' blocks show.
//! Method: Tukey's biweight (c = 4.685), scale from the median size of the residuals, started from a fit to cell medians.
//! Does not choose the model.

use nalgebra::SMatrix;

use super::block_noise::{BlockNoise, block_noise};
use super::reading::LinePlace;
use crate::geometry::{NormalEquations, median_in_place, tukey_weight};

/// Reweighted rounds: the weights hardly change after three.
const ROUNDS: usize = 4;
/// Tukey's constant in robust standard deviations: 95 % efficiency for normal noise.
const TUKEY: f64 = 4.685;

/// A fitted model.
pub(super) struct RobustFit<const N: usize> {
    pub parameters: [f64; N],
    pub cofactors: SMatrix<f64, N, N>,
    pub noise: BlockNoise,
    /// Points that count, with what they leave over, mm.
    pub rests: Vec<(LinePlace, f64)>,
}

impl<const N: usize> RobustFit<N> {
    /// Variance of a linear combination of the parameters.
    pub fn variance(&self, row: &[f64; N]) -> f64 {
        let mut sum = 0.0;
        for (one, left) in row.iter().enumerate() {
            for (other, right) in row.iter().enumerate() {
                sum += left * right * self.cofactors[(one, other)];
            }
        }
        sum * self.noise.variance_mm2
    }
}

/// Fits `row(point) · parameters = height`, over the points for which `row` gives coefficients.
pub(super) fn robust_fit<const N: usize>(
    start: &[LinePlace],
    points: &[LinePlace],
    row: impl Fn(&LinePlace) -> Option<[f64; N]>,
) -> Option<RobustFit<N>> {
    let mut parameters = weighted(start, &row, |_| 1.0)?.solve()?;
    let rest = |point: &LinePlace, parameters: &[f64; N]| {
        row(point)
            .map(|row| point.z_mm - row.iter().zip(parameters).map(|(left, right)| left * right).sum::<f64>())
    };
    let mut equations = None;
    let mut limit_mm = 0.0;
    for _ in 0..ROUNDS {
        let mut sizes: Vec<f64> =
            points.iter().filter_map(|point| rest(point, &parameters)).map(f64::abs).collect();
        if sizes.len() <= 2 * N {
            return None;
        }
        limit_mm = TUKEY * (1.4826 * median_in_place(&mut sizes)?).max(1e-6);
        let fitted = weighted(points, &row, |point| {
            rest(point, &parameters).map_or(0.0, |rest_mm| tukey_weight(rest_mm, limit_mm))
        })?;
        parameters = fitted.solve()?;
        equations = Some(fitted);
    }
    let rests: Vec<(LinePlace, f64)> = points
        .iter()
        .filter_map(|point| Some((*point, rest(point, &parameters)?)))
        .filter(|(_, rest_mm)| rest_mm.abs() <= limit_mm)
        .collect();
    let places: Vec<(f64, f64, f64)> =
        rests.iter().map(|(point, rest_mm)| (point.x_mm, point.s_mm, *rest_mm)).collect();
    let noise = block_noise(&places, N)?;
    Some(RobustFit { parameters, cofactors: equations?.cofactors()?, noise, rests })
}

fn weighted<const N: usize>(
    points: &[LinePlace],
    row: &impl Fn(&LinePlace) -> Option<[f64; N]>,
    weight: impl Fn(&LinePlace) -> f64,
) -> Option<NormalEquations<N>> {
    let mut equations = NormalEquations::<N>::default();
    let mut count = 0;
    for point in points {
        if let Some(row) = row(point) {
            equations.add(row, point.z_mm, weight(point));
            count += 1;
        }
    }
    (count > N).then_some(equations)
}
