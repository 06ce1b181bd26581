//! The only disk access: readers behind `scan::ScanSource`, plans and curves, writing beside and renaming.
//!
//! In: paths. Out: scans, plans, files. Units: mm.
//! Does not interpret what it reads.

mod content_hash;
mod curve_csv;
mod number_table;
mod output_folder;
mod read_curve;
mod read_error;
mod read_plan;

pub use content_hash::content_hash;
pub use output_folder::{OutputFolder, WriteError, write_file};
pub use read_curve::{CurvePoints, read_curve};
pub use read_error::ReadError;
pub use read_plan::{ReadPlanError, read_plan};
