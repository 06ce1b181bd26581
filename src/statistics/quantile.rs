//! Sample quantiles.
//!
//! In: finite values in any order. Out: a value in their unit.
//! Method: definition 7 of Hyndman and Fan (The American Statistician 50(4), 1996): linear between the order
//! statistics, the k-th of n at share (k − 1)/(n − 1). The default of most statistical programs.
//! Does not weight.

/// The sample quantile at a share of 0 to 1 (clamped); `None` without values.
#[must_use]
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let last = values.len().checked_sub(1)?;
    let place = last as f64 * share.clamp(0.0, 1.0);
    let lower_index = place.floor() as usize;
    let mut work = values.to_vec();
    let (_, lower, above) = work.select_nth_unstable_by(lower_index, f64::total_cmp);
    let lower = *lower;
    let upper = above.iter().copied().min_by(f64::total_cmp).unwrap_or(lower);
    Some(lower + (upper - lower) * (place - lower_index as f64))
}

/// The middle value, or the mean of the two middle ones; `None` without values.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quarter_of_five_values_is_the_second() {
        // Definition 7: place (5 − 1) × 0.25 = 1, the second order statistic.
        assert_eq!(quantile(&[9.0, 1.0, 3.0, 7.0, 5.0], 0.25), Some(3.0));
    }

    #[test]
    fn a_place_between_two_values_is_interpolated() {
        // (4 − 1) × 0.9 = 2.7: 3 + 0.7 × (10 − 3).
        assert!((quantile(&[1.0, 2.0, 3.0, 10.0], 0.9).unwrap() - 7.9).abs() < 1e-14, "two roundings");
        assert_eq!(median(&[4.0, 1.0]), Some(2.5));
    }

    #[test]
    fn no_values_have_no_quantile() {
        assert_eq!(quantile(&[], 0.5), None);
    }
}
