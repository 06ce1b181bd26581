//! Rehearsed scans with exact truth: bias, spread and coverage held to budgets.
pub mod rehearse_truth;
