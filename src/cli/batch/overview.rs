//! The overview of a batch, from the entries and readings on disk: the same from one run as from merged shards.

use std::path::Path;

use shutline::files::write_file;
use shutline::render::{overview_csv, overview_html};
use shutline::summarise::{BatchOverview, overview_of};

use super::entry::Entry;
use crate::cli::messages::Failure;

/// Writes `overview.csv` and `overview.html`.
pub fn write_overview(entries: &[Entry], out: &Path) -> Result<BatchOverview, Failure> {
    let overview = overview_of(entries.iter().map(|entry| entry.load(out)).collect());
    let folder_of =
        |scan: &str| entries.iter().find(|entry| entry.scan == scan).map(|entry| entry.folder.clone());
    write_file(&out.join("overview.csv"), overview_csv(&overview)?.as_bytes())?;
    write_file(&out.join("overview.html"), overview_html(&overview, &folder_of).as_bytes())?;
    Ok(overview)
}
