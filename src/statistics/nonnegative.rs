//! Least squares whose unknowns may not be negative: variances, shares, amounts.
//!
//! In: the normal equations. Out: the unknowns. Units: the caller's.
//! Method: one unknown after the other is set to its best non-negative value until nothing changes (V. Franc, V. Hlavac,
//! M. Navara, CAIP 2005, "Sequential coordinate-wise algorithm for the non-negative least squares problem").
//! Does not say how sure the unknowns are.

use nalgebra::{DMatrix, DVector};

/// Sweeps after which the answer is taken as it is: sixteen unknowns that resemble each other need some hundreds.
const MOST_SWEEPS: usize = 20_000;
/// Change, relative to the largest unknown, at which the sweeps end.
const STILL: f64 = 1e-9;

/// Minimises `x·(normal·x)/2 − right·x` over `x ≥ 0`.
///
/// `normal`: square, symmetric, positive semi-definite; unknowns with nothing on the diagonal stay 0. `None` where sizes
/// differ or a number is not finite.
#[must_use]
pub fn nonnegative_least_squares(normal: &DMatrix<f64>, right: &DVector<f64>) -> Option<DVector<f64>> {
    let count = right.len();
    if normal.shape() != (count, count) || !normal.iter().chain(right.iter()).all(|value| value.is_finite()) {
        return None;
    }
    let mut unknowns = DVector::zeros(count);
    let mut gradient = -right.clone();
    for _ in 0..MOST_SWEEPS {
        let mut change = 0.0_f64;
        for index in 0..count {
            let curvature = normal[(index, index)];
            if curvature <= 0.0 {
                continue;
            }
            let before: f64 = unknowns[index];
            let after = (before - gradient[index] / curvature).max(0.0);
            if after != before {
                unknowns[index] = after;
                gradient.axpy(after - before, &normal.column(index), 1.0);
                change = change.max((after - before).abs());
            }
        }
        if change <= STILL * unknowns.amax() {
            break;
        }
    }
    Some(unknowns)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unknown_that_would_be_negative_is_zero_and_the_others_make_the_best_of_it() {
        // Columns (1,0), (1,1) and the value (1,−1): freely (2,−1); with the second held at 0 the first is 1.
        let normal = DMatrix::from_row_slice(2, 2, &[1.0, 1.0, 1.0, 2.0]);
        let found = nonnegative_least_squares(&normal, &DVector::from_row_slice(&[1.0, 0.0])).unwrap();
        assert!((found[0] - 1.0).abs() < 1e-9 && found[1] == 0.0, "{found}");
        // And the value (3,1) is met exactly by (2,1): AᵀA x = Aᵀy = (3,4).
        let found = nonnegative_least_squares(&normal, &DVector::from_row_slice(&[3.0, 4.0])).unwrap();
        assert!((found[0] - 2.0).abs() < 1e-6 && (found[1] - 1.0).abs() < 1e-6, "{found}");
    }

    #[test]
    fn what_is_not_finite_or_does_not_fit_has_no_answer() {
        let one = DMatrix::identity(1, 1);
        assert!(nonnegative_least_squares(&one, &DVector::from_element(1, f64::NAN)).is_none());
        assert!(nonnegative_least_squares(&one, &DVector::zeros(2)).is_none());
    }
}
