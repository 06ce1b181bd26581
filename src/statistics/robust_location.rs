//! Location and scale that a few wild values do not move.
//!
//! In: finite values in any order. Out: location and scale in their unit.
//! Method: median and median absolute deviation, made comparable with a standard deviation (Rousseeuw and Croux, JASA
//! 88, 1993); Tukey's biweight by iterated weights, 95 % as efficient as the mean on normal data (Beaton and Tukey,
//! Technometrics 16, 1974; cut-off after Holland and Welsch, Communications in Statistics A6, 1977).
//! Does not tell why values are wild.

use super::precision;
use super::quantile::median;

/// Makes the median absolute deviation of normal values estimate their σ: 1/Φ⁻¹(3/4).
pub const MAD_TO_SIGMA: f64 = 1.482_602_218_505_601_9;
/// Cut-off of the biweight, in σ, for 95 % efficiency on normal values.
pub const BIWEIGHT_CUTOFF: f64 = 4.685_064_948_543_372;
/// Weighted means that a biweight may take; each brings the error down by a factor of five or more.
const MOST_ROUNDS: usize = 60;

/// Tukey's weight (1 − (r/c)²)² for a residual in units of σ; 0 from the cut-off on.
#[must_use]
pub fn biweight_weight(residual_over_sigma: f64) -> f64 {
    let share = residual_over_sigma / BIWEIGHT_CUTOFF;
    if share.abs() < 1.0 { (1.0 - share * share).powi(2) } else { 0.0 }
}

/// Median distance from a centre, raw; `None` without values.
#[must_use]
pub fn median_absolute_deviation(values: &[f64], centre: f64) -> Option<f64> {
    let distances: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    median(&distances)
}

/// Robust estimate of σ: the median absolute deviation about the median, scaled for normal values.
#[must_use]
pub fn robust_sigma(values: &[f64]) -> Option<f64> {
    Some(median_absolute_deviation(values, median(values)?)? * MAD_TO_SIGMA)
}

/// Tukey's biweight location, started at the median with the scale held at [`robust_sigma`].
///
/// The median itself where more than half of the values are equal; `None` without values.
#[must_use]
pub fn biweight_location(values: &[f64]) -> Option<f64> {
    let mut centre = median(values)?;
    let sigma = robust_sigma(values)?;
    if sigma <= 0.0 {
        return Some(centre);
    }
    for _ in 0..MOST_ROUNDS {
        let (mut weight_sum, mut shift_sum) = (0.0, 0.0);
        for value in values {
            let weight = biweight_weight((value - centre) / sigma);
            weight_sum += weight;
            shift_sum += weight * (value - centre);
        }
        if weight_sum <= 0.0 {
            break;
        }
        let shift = shift_sum / weight_sum;
        centre += shift;
        if shift.abs() <= precision::CLOSED_FORM * sigma {
            break;
        }
    }
    Some(centre)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wild_value_has_no_weight_at_all() {
        let tame = [1.0, 2.0, 3.0, 4.0, 5.0];
        let with_wild = [1.0, 2.0, 3.0, 4.0, 5.0, 1e6];
        let wilder = [1.0, 2.0, 3.0, 4.0, 5.0, 1e9];
        assert!((biweight_location(&tame).unwrap() - 3.0).abs() < 1e-12, "symmetric values");
        assert_eq!(biweight_location(&with_wild), biweight_location(&wilder));
    }

    #[test]
    fn equal_values_have_no_spread_and_are_their_own_location() {
        assert_eq!(robust_sigma(&[2.0, 2.0, 2.0]), Some(0.0));
        assert_eq!(biweight_location(&[2.0, 2.0, 2.0, 7.0]), Some(2.0));
        assert_eq!(biweight_location(&[]), None);
    }
}
