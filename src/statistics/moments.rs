//! Mean, standard deviation and autocorrelation.
//!
//! In: finite values in any order (in time order for the autocorrelation). Out: moments in the values' unit.
//! Method: two passes with the correction for the mean's rounding (Chan, Golub, LeVeque, The American Statistician 37,
//! 1983, eq. 1.7), which keeps as many digits of the spread as the values themselves carry.
//! Does not weight.

/// Arithmetic mean; `None` without values.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    let first = *values.first()?;
    let count = values.len() as f64;
    let rough = first + values.iter().map(|value| value - first).sum::<f64>() / count;
    Some(rough + values.iter().map(|value| value - rough).sum::<f64>() / count)
}

/// Sum of squared deviations from the mean, the values' unit squared; 0 without values.
#[must_use]
pub fn sum_of_squares_about_mean(values: &[f64]) -> f64 {
    let Some(centre) = mean(values) else { return 0.0 };
    let squares: f64 = values.iter().map(|value| (value - centre).powi(2)).sum();
    let rest: f64 = values.iter().map(|value| value - centre).sum();
    squares - rest * rest / values.len() as f64
}

/// Standard deviation of a sample (divisor n − 1); `None` with fewer than two values.
#[must_use]
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    let degrees_of_freedom = values.len().checked_sub(1).filter(|count| *count > 0)?;
    Some((sum_of_squares_about_mean(values) / degrees_of_freedom as f64).max(0.0).sqrt())
}

/// Correlation of each value with the next (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.12).
///
/// `None` with fewer than two values or where all are equal.
#[must_use]
pub fn lag_one_autocorrelation(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let total = sum_of_squares_about_mean(values);
    if values.len() < 2 || total <= 0.0 {
        return None;
    }
    let products: f64 = values.windows(2).map(|pair| (pair[0] - centre) * (pair[1] - centre)).sum();
    Some(products / total)
}
