//! Linear regression by least squares and by Tukey's biweight.
//!
//! In: a design matrix (one row an observation, one column a coefficient) and the observations. Out: coefficients with
//! standard errors, in the units of observation over column.
//! Method: columns scaled to unit length, then Householder QR (Golub and Van Loan, Matrix Computations, 4th ed., 5.3);
//! one step of refinement with the residuals. Robust: iterated weights from the scale of the residuals.
//! Does not choose the model, and does not pretend that correlated residuals are independent.

use nalgebra::{DMatrix, DVector};

use super::precision;
use super::robust_location::{MAD_TO_SIGMA, biweight_weight, median_absolute_deviation};

/// Smallest diagonal of R, against 1 for a column at right angles to all before it, that still carries information.
const RANK_LIMIT: f64 = 1e-14;
/// Reweighted fits that a robust regression may take.
const MOST_ROUNDS: usize = 100;

/// A fitted linear model.
#[derive(Debug, Clone, PartialEq)]
pub struct Regression {
    /// One for each column of the design.
    pub coefficients: Vec<f64>,
    /// Standard errors of the coefficients from the residual scatter; zero for an exact fit.
    pub standard_errors: Vec<f64>,
    /// Observed minus fitted, in observation order.
    pub residuals: Vec<f64>,
    /// Residual standard deviation; the robust scale where the fit is robust.
    pub residual_sd: f64,
    pub degrees_of_freedom: usize,
}

/// Fits by least squares.
///
/// `None` where there are no more observations than columns, sizes differ, a value is not finite, or the columns do
/// not determine the coefficients.
#[must_use]
pub fn least_squares(design: &DMatrix<f64>, observed: &DVector<f64>) -> Option<Regression> {
    let weights = DVector::from_element(observed.len(), 1.0);
    let (coefficients, covariance_factor) = weighted_solution(design, observed, &weights)?;
    let residuals = observed - design * &coefficients;
    let degrees_of_freedom = design.nrows() - design.ncols();
    let residual_sd = (residuals.norm_squared() / degrees_of_freedom as f64).sqrt();
    Some(Regression {
        coefficients: coefficients.iter().copied().collect(),
        standard_errors: covariance_factor.iter().map(|factor| factor * residual_sd).collect(),
        residuals: residuals.iter().copied().collect(),
        residual_sd,
        degrees_of_freedom,
    })
}

/// Fits with Tukey's biweight, started at least squares, scale from the residuals' median size about zero.
///
/// Standard errors are those of the last weighted fit; `None` as for [`least_squares`].
#[must_use]
pub fn biweight_regression(design: &DMatrix<f64>, observed: &DVector<f64>) -> Option<Regression> {
    let mut fit = least_squares(design, observed)?;
    for _ in 0..MOST_ROUNDS {
        let scale = median_absolute_deviation(&fit.residuals, 0.0)? * MAD_TO_SIGMA;
        if scale <= 0.0 {
            break;
        }
        let weights = DVector::from_iterator(
            observed.len(),
            fit.residuals.iter().map(|rest| biweight_weight(rest / scale)),
        );
        let Some((coefficients, covariance_factor)) = weighted_solution(design, observed, &weights) else {
            break;
        };
        let change = fit
            .coefficients
            .iter()
            .zip(&coefficients)
            .map(|(old, new)| (old - new).abs() / (new.abs() + f64::MIN_POSITIVE))
            .fold(0.0, f64::max);
        fit.residuals = (observed - design * &coefficients).iter().copied().collect();
        fit.standard_errors = covariance_factor.iter().map(|factor| factor * scale).collect();
        fit.coefficients = coefficients.iter().copied().collect();
        fit.residual_sd = scale;
        if change < precision::CERTIFIED {
            break;
        }
    }
    Some(fit)
}

/// Coefficients, and the roots of the diagonal of (XᵀWX)⁻¹.
fn weighted_solution(
    design: &DMatrix<f64>,
    observed: &DVector<f64>,
    weights: &DVector<f64>,
) -> Option<(DVector<f64>, DVector<f64>)> {
    let (rows, columns) = design.shape();
    if columns == 0 || rows <= columns || observed.len() != rows {
        return None;
    }
    let roots = weights.map(f64::sqrt);
    let mut scaled = design.clone();
    for (row, root) in roots.iter().enumerate() {
        scaled.row_mut(row).scale_mut(*root);
    }
    let lengths = DVector::from_iterator(columns, scaled.column_iter().map(|column| column.norm()));
    if lengths.iter().any(|length| !length.is_finite() || *length <= 0.0) {
        return None;
    }
    for (mut column, length) in scaled.column_iter_mut().zip(lengths.iter()) {
        column.unscale_mut(*length);
    }
    let factors = scaled.qr();
    let upper = factors.r();
    if upper.diagonal().iter().any(|value| value.is_nan() || value.abs() <= RANK_LIMIT) {
        return None;
    }
    let solve = |target: &DVector<f64>| {
        let mut turned = target.component_mul(&roots);
        factors.q_tr_mul(&mut turned);
        Some(upper.solve_upper_triangular(&turned.rows(0, columns).into_owned())?.component_div(&lengths))
    };
    let first = solve(observed)?;
    let coefficients = &first + solve(&(observed - design * &first))?;
    if coefficients.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let inverse = upper.solve_upper_triangular(&DMatrix::identity(columns, columns))?;
    let spread = DVector::from_iterator(columns, inverse.row_iter().map(|row| row.norm()));
    Some((coefficients, spread.component_div(&lengths)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_that_do_not_determine_the_fit_are_refused() {
        let design = DMatrix::from_row_slice(4, 2, &[1.0, 2.0, 1.0, 2.0, 1.0, 2.0, 1.0, 2.0]);
        assert_eq!(least_squares(&design, &DVector::from_vec(vec![1.0, 2.0, 3.0, 4.0])), None);
        let square = DMatrix::from_row_slice(2, 2, &[1.0, 0.0, 1.0, 1.0]);
        assert_eq!(least_squares(&square, &DVector::from_vec(vec![1.0, 2.0])), None, "no freedom left");
    }

    #[test]
    fn a_wild_observation_does_not_move_the_robust_line() {
        let design = DMatrix::from_fn(9, 2, |row, column| if column == 0 { 1.0 } else { row as f64 });
        let noise = [0.01, -0.02, 0.015, 0.0, -0.01, 0.02, -0.015, 0.005, -0.005];
        let mut observed =
            DVector::from_iterator(9, noise.iter().enumerate().map(|(at, e)| 2.0 + 0.5 * at as f64 + e));
        observed[7] += 40.0;
        let fit = biweight_regression(&design, &observed).unwrap();
        // Three standard errors of the slope: 3 × 0.015 / sqrt(60) = 0.006.
        assert!((fit.coefficients[1] - 0.5).abs() < 0.006, "slope {}", fit.coefficients[1]);
    }
}
