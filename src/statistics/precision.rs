//! How closely numbers must agree, by name and with the reason; used by tests and by the loops that must stop.
//!
//! In: nothing. Out: relative tolerances (no unit) unless a name says otherwise.
//! Does not hold tolerances of cars: those are in the plan.

/// Closed formulas evaluated in `f64`: a few hundred roundings of 1.1e-16 each.
pub const CLOSED_FORM: f64 = 1e-13;
/// Values certified to 15 digits, worked out here from well-conditioned data.
pub const CERTIFIED: f64 = 1e-12;
/// Regression on ill-conditioned designs (Longley; Wampler's fifth-order polynomials): condition about 1e5 after the
/// columns are scaled, so that some 1e-16 × 1e5 is lost, with a factor of ten to spare.
pub const ILL_CONDITIONED: f64 = 1e-9;
/// Filip's tenth-order polynomial: condition about 1e10 after scaling, some eight digits of 16 with an orthogonal
/// factorisation, and none at all with normal equations.
pub const FILIP: f64 = 1e-6;
/// Quantiles of the t, chi-squared and F distributions, found by a search that stops at 1e-9 or better, against tables
/// of 12 digits.
pub const QUANTILE: f64 = 1e-8;
/// Numerical integrals (the distribution of the range) against tables with six decimals: half of the last one.
pub const SIX_DECIMALS: f64 = 0.6e-6;
/// Orthogonal-distance fits against exact solutions, as a share of the data's largest coordinate.
pub const FIT: f64 = 1e-11;
