//! From judged stations to seams, comparisons, batches and advice.
//!
//! In: judged readings. Out: summaries. Units: mm.
//! Does not re-measure and does not re-judge.
