//! The only disk access: readers behind `scan::ScanSource`, plans and curves, writing beside and renaming.
//!
//! In: paths. Out: scans, plans, files. Units: mm.
//! Does not interpret what it reads.

mod curve_csv;
mod number_table;
mod read_curve;
mod read_error;
mod read_plan;

pub use read_curve::{CurvePoints, read_curve};
pub use read_error::ReadError;
pub use read_plan::{ReadPlanError, read_plan};
