//! Rehearsed scans with exact truth: bias, spread and coverage held to budgets.

pub mod budgets;
mod compare_pairs;
pub mod rehearse_truth;
pub mod table;
pub mod trial;
