//! `shutline batch` and what it shares with `merge` and `repeat`.

mod command;
mod entry;
mod overview;
mod queue;

pub use command::{Batch, BatchTerms, run_batch, scans_of};
pub use entry::{Entry, read_entries};
pub use overview::write_overview;
