//! From readings to verdicts.
//!
//! In: an estimate and its tolerance. Out: a [`Verdict`]. Units: mm.
//! Does not measure and does not round.

mod verdict;

pub use verdict::{JudgedReading, JudgedSeam, Verdict};
