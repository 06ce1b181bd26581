//! From readings to verdicts.
//!
//! In: an estimate and its tolerance. Out: a [`Verdict`]. Units: mm.
//! Does not measure and does not round.

mod conformance;
mod decision;
mod finish;
mod lineup;
mod verdict;

pub use conformance::{Conformance, conformance, coverage_factor, one_sided_factor};
pub use decision::{expanded_u_mm, judge_reading, judge_seam, judge_value, reported_coverage_factor};
pub use finish::{FilmChange, FinishChange, finish_change, finished_estimate, with_finish};
pub use lineup::{JudgedLineup, JudgedRow, judge_lineup, lineup_with_finish};
pub use verdict::{FinishedReading, JudgedReading, JudgedSeam, JudgedValue, Measurand, Verdict};
