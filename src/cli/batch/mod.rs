//! `shutline batch` and what it shares with `merge` and `repeat`.

mod command;
mod overview;
mod queue;
mod runner;

pub use command::{Batch, BatchTerms, ask_watch_to_end, run_batch, scans_of};
pub use overview::write_overview;
