//! Statistics that know nothing of cars: quantiles, robust location, regression, analysis of variance.
//!
//! In: numbers. Out: numbers. Units: whatever the caller's are, squared in variances.
//! Method: each file names its source; the accuracy that each reaches is in [`precision`].
//! Does not know units, and does not drop non-finite values: callers do, and count them.

mod analysis_of_variance;
mod control_chart_constants;
mod distribution;
mod moments;
pub mod precision;
mod quantile;
mod regression;
mod robust_location;

pub use analysis_of_variance::{OneWay, TwoWay, VarianceLine, one_way, two_way_crossed};
pub use control_chart_constants::{ChartConstants, chart_constants, d2_star};
pub use distribution::{
    chi_squared_quantile, f_quantile, f_upper_tail, normal_probability, normal_quantile, student_t_quantile,
};
pub use moments::{lag_one_autocorrelation, mean, standard_deviation, sum_of_squares_about_mean};
pub use quantile::{median, quantile};
pub use regression::{Regression, biweight_regression, least_squares};
pub use robust_location::{
    BIWEIGHT_CUTOFF, MAD_TO_SIGMA, biweight_location, biweight_weight, median_absolute_deviation,
    robust_sigma,
};
