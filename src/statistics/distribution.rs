//! Probabilities and quantiles of the normal, t, chi-squared and F distributions.
//!
//! In: probabilities (0 < p < 1) and degrees of freedom (> 0, may be fractional; infinite where noted). Out: no unit.
//! Method: the `statrs` crate's distribution functions; where its inverse is a coarse search, the quantile is refined
//! here by bisection and secant steps on the distribution function.
//! Does not offer any other distribution.

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// Steps of the bracketing search; each at least halves the bracket, so 200 reach the last bit of an `f64`.
const MOST_STEPS: usize = 200;
/// Above this many degrees of freedom t is the normal to 1e-9.
const NORMAL_FROM: f64 = 1e9;

/// Probability that a standard normal value is at most `z`.
#[must_use]
pub fn normal_probability(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// The standard normal value not exceeded with probability `p`; `None` unless 0 < p < 1.
#[must_use]
pub fn normal_quantile(p: f64) -> Option<f64> {
    is_probability(p).then(|| Normal::standard().inverse_cdf(p))
}

/// Student's t at probability `p`; infinite degrees of freedom give the normal's.
#[must_use]
pub fn student_t_quantile(p: f64, degrees_of_freedom: f64) -> Option<f64> {
    if degrees_of_freedom >= NORMAL_FROM {
        return normal_quantile(p);
    }
    let law = StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()?;
    if !is_probability(p) {
        return None;
    }
    if p < 0.5 {
        return Some(-search(1.0 - p, &|t| law.cdf(t)));
    }
    Some(search(p, &|t| law.cdf(t)))
}

/// Chi-squared at probability `p`.
#[must_use]
pub fn chi_squared_quantile(p: f64, degrees_of_freedom: f64) -> Option<f64> {
    let law = ChiSquared::new(degrees_of_freedom).ok()?;
    is_probability(p).then(|| search(p, &|value| law.cdf(value)))
}

/// F at probability `p`, with the degrees of freedom of numerator and denominator.
#[must_use]
pub fn f_quantile(p: f64, numerator: f64, denominator: f64) -> Option<f64> {
    let law = FisherSnedecor::new(numerator, denominator).ok()?;
    is_probability(p).then(|| search(p, &|value| law.cdf(value)))
}

/// Probability that F exceeds a ratio: the significance of an analysis of variance.
#[must_use]
pub fn f_upper_tail(ratio: f64, numerator: f64, denominator: f64) -> Option<f64> {
    let law = FisherSnedecor::new(numerator, denominator).ok()?;
    if ratio.is_nan() {
        return None;
    }
    Some(if ratio <= 0.0 {
        1.0
    } else if ratio.is_infinite() {
        0.0
    } else {
        law.sf(ratio)
    })
}

fn is_probability(p: f64) -> bool {
    p > 0.0 && p < 1.0
}

/// The non-negative argument at which a rising function reaches `p`.
fn search(p: f64, probability: &dyn Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    for _ in 0..MOST_STEPS {
        if probability(high) >= p {
            break;
        }
        low = high;
        high *= 2.0;
    }
    for _ in 0..MOST_STEPS {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if probability(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    low + (high - low) / 2.0
}
