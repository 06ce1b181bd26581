//! Puts the scan on the car: finds `car_from_scanner`.
//!
//! In: a scan source and the plan's alignment terms. Out: an `Alignment` with its residuals and covariance. Units: mm.
//! Does not measure gaps.
