//! Statistics that know nothing of cars: quantiles, robust location, regression, analysis of variance.
//!
//! In: numbers. Out: numbers. Units: mm.
//! Does not know units.
