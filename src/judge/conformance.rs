//! How probable it is that the true value lies within tolerance, and how wide an uncertainty interval is.
//!
//! In: an estimate (value, u, degrees of freedom) and a tolerance. Out: probabilities, coverage factors. Units: mm.
//! Method: the true value, given the reading, follows a scaled and shifted Student t distribution, normal for stated
//! uncertainties (JCGM 106:2012, 7.1 to 7.4, with no knowledge before the reading; JCGM 100:2008, G.3 and G.4).
//! Does not use knowledge of the process that made the part (JCGM 106:2012, 7.2.2).

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use crate::measure::Estimate;
use crate::plan::Tolerance;

/// Above this many degrees of freedom t and normal differ by less than 1e-6.
const AS_GOOD_AS_NORMAL: f64 = 1.0e6;

/// Probabilities of where the true value lies; they add up to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conformance {
    pub below: f64,
    pub inside: f64,
    pub above: f64,
}

/// The probability that the true value lies below, inside and above the tolerance.
#[must_use]
pub fn conformance(estimate: &Estimate, tolerance: &Tolerance) -> Conformance {
    let below = chance_below(tolerance.lower_mm(), estimate);
    let above = 1.0 - chance_below(tolerance.upper_mm(), estimate);
    Conformance { below, inside: (1.0 - below - above).clamp(0.0, 1.0), above }
}

/// Probability that the true value is less than `limit_mm`.
fn chance_below(limit_mm: f64, estimate: &Estimate) -> f64 {
    let distance_mm = limit_mm - estimate.value_mm;
    if estimate.u_mm <= 0.0 || distance_mm.is_infinite() {
        // A limit belongs to the tolerance: a value on it is not below the lower one.
        return if distance_mm > 0.0 { 1.0 } else { 0.0 };
    }
    cumulative(distance_mm / estimate.u_mm, estimate.degrees_of_freedom)
}

/// Distribution function of Student's t, normal where the degrees of freedom are many.
fn cumulative(t: f64, degrees_of_freedom: f64) -> f64 {
    student(degrees_of_freedom).map_or_else(|| Normal::standard().cdf(t), |student| student.cdf(t))
}

/// The factor that covers, with these degrees of freedom, what `normal_factor` covers for a normal distribution.
///
/// Source: JCGM 100:2008, G.4.2 and table G.2 (2 becomes 2.28 with ten degrees of freedom).
#[must_use]
pub fn coverage_factor(normal_factor: f64, degrees_of_freedom: f64) -> f64 {
    student(degrees_of_freedom)
        .map_or(normal_factor, |student| student.inverse_cdf(Normal::standard().cdf(normal_factor)))
}

/// The standard t distribution, where it differs from the normal one.
fn student(degrees_of_freedom: f64) -> Option<StudentsT> {
    if degrees_of_freedom < AS_GOOD_AS_NORMAL {
        StudentsT::new(0.0, 1.0, degrees_of_freedom.max(1.0)).ok()
    } else {
        None
    }
}

/// The factor for a one-sided probability: 1.645 for 0.95 and many degrees of freedom.
#[must_use]
pub fn one_sided_factor(probability: f64, degrees_of_freedom: f64) -> f64 {
    coverage_factor(Normal::standard().inverse_cdf(probability), degrees_of_freedom)
}
