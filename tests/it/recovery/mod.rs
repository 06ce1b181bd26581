//! Rehearsed scans with exact truth: bias, spread and coverage held to budgets.

mod compare_pairs;
pub mod rehearse_truth;
