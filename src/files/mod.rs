//! The only disk access: readers behind `scan::ScanSource`, plans and curves, writing beside and renaming.
//!
//! In: paths. Out: scans, plans, files. Units: mm.
//! Does not interpret what it reads.

mod read_plan;

pub use read_plan::{ReadPlanError, read_plan};
