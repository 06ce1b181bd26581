//! Constants of control charts, worked out from their definitions instead of looked up.
//!
//! In: a subgroup size. Out: numbers without unit.
//! Method: mean and variance of the range of n standard normal values by integrating its distribution (Tippett,
//! Biometrika 17, 1925: E(R) = ∫ 1 − Φⁿ − (1 − Φ)ⁿ), c4 from the gamma function; limits at three σ (ISO 7870-2;
//! ASTM MNL 7).
//! Does not offer limits at other distances than three σ.

use std::f64::consts::TAU;

use statrs::function::gamma::ln_gamma;

use super::distribution::normal_probability;

/// Largest subgroup: beyond it a range says little, and charts of s are used.
const LARGEST_SUBGROUP: usize = 100;
/// Span and step of the integrals, in σ: the integrand is below 1e-14 outside, and the trapezium rule converges
/// faster than any power of the step on such a bell.
const HALF_SPAN: f64 = 8.5;
const STEP: f64 = 0.05;

/// The constants for one subgroup size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartConstants {
    /// Mean range of n standard normal values.
    pub d2: f64,
    /// Standard deviation of that range.
    pub d3: f64,
    /// Mean standard deviation of n standard normal values.
    pub c4: f64,
}

impl ChartConstants {
    /// Half-width of the limits of a mean, in units of the mean range.
    #[must_use]
    pub fn mean_from_range(&self, subgroup: usize) -> f64 {
        3.0 / (self.d2 * (subgroup as f64).sqrt())
    }

    /// Half-width of the limits of a mean, in units of the mean standard deviation.
    #[must_use]
    pub fn mean_from_sd(&self, subgroup: usize) -> f64 {
        3.0 / (self.c4 * (subgroup as f64).sqrt())
    }

    /// Lower and upper limit of the range, in units of the mean range.
    #[must_use]
    pub fn range_limits(&self) -> [f64; 2] {
        let reach = 3.0 * self.d3 / self.d2;
        [(1.0 - reach).max(0.0), 1.0 + reach]
    }

    /// Lower and upper limit of the standard deviation, in units of its mean.
    #[must_use]
    pub fn sd_limits(&self) -> [f64; 2] {
        let reach = 3.0 * (1.0 - self.c4 * self.c4).max(0.0).sqrt() / self.c4;
        [(1.0 - reach).max(0.0), 1.0 + reach]
    }
}

/// The constants for subgroups of `subgroup` values; `None` outside 2 to 100.
#[must_use]
pub fn chart_constants(subgroup: usize) -> Option<ChartConstants> {
    if !(2..=LARGEST_SUBGROUP).contains(&subgroup) {
        return None;
    }
    let [d2, second_moment] = range_moments(subgroup as i32);
    let n = subgroup as f64;
    let c4 = (2.0 / (n - 1.0)).sqrt() * (ln_gamma(n / 2.0) - ln_gamma((n - 1.0) / 2.0)).exp();
    Some(ChartConstants { d2, d3: (second_moment - d2 * d2).sqrt(), c4 })
}

/// Divisor that turns one range of `subgroup` values into the standard deviation that they came from, in the sense that
/// the squares agree on average: √(d2² + d3²) (Duncan, Quality Control and Industrial Statistics, appendix D3, one
/// subgroup).
#[must_use]
pub fn d2_star(subgroup: usize) -> Option<f64> {
    chart_constants(subgroup).map(|constants| constants.d2.hypot(constants.d3))
}

/// Mean, and mean square, of the range of n standard normal values.
///
/// E(R²) = ∫ 2w·P(R > w) dw with P(R ≤ w) = n ∫ φ(x)·(Φ(x + w) − Φ(x))ⁿ⁻¹ dx (same source); the outer integral by
/// Simpson's rule, because its integrand does not vanish smoothly at w = 0.
fn range_moments(n: i32) -> [f64; 2] {
    let steps = (2.0 * HALF_SPAN / STEP).round() as usize;
    let place = |index: usize| index as f64 * STEP - HALF_SPAN;
    let below: Vec<f64> = (0..=steps).map(|index| normal_probability(place(index))).collect();
    let density: Vec<f64> =
        (0..=steps).map(|index| (-0.5 * place(index).powi(2)).exp() / TAU.sqrt()).collect();
    let first: f64 = below.iter().map(|share| 1.0 - share.powi(n) - (1.0 - share).powi(n)).sum();
    let mut second = 0.0;
    for width in 0..=steps {
        let within: f64 = (0..=steps)
            .map(|low| density[low] * (below[(low + width).min(steps)] - below[low]).powi(n - 1))
            .sum();
        let simpson = if width % 2 == 1 { 4.0 } else { 2.0 };
        second += simpson / 3.0 * 2.0 * width as f64 * STEP * (1.0 - f64::from(n) * within * STEP);
    }
    [first * STEP, second * STEP]
}
