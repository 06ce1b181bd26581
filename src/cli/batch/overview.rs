//! The overview of a batch, from the entries and readings on disk: the same from one run as from merged shards.

use std::path::Path;

use shutline::files::{BatchEntry, write_file};
use shutline::render::{overview_csv, overview_html};
use shutline::summarise::{BatchOverview, BatchScan, overview_of, parse_reading_rows, reading_unit};
use shutline::units::LengthUnit;

use crate::cli::messages::Failure;

/// Writes `overview.csv` and `overview.html`.
pub fn write_overview(entries: &[BatchEntry], out: &Path) -> Result<BatchOverview, Failure> {
    let overview = overview_of(entries.iter().map(|entry| batch_scan(entry, out)).collect());
    let folder_of =
        |scan: &str| entries.iter().find(|entry| entry.scan == scan).map(|entry| entry.folder.clone());
    write_file(&out.join("overview.csv"), overview_csv(&overview)?.as_bytes())?;
    write_file(&out.join("overview.html"), overview_html(&overview, &folder_of).as_bytes())?;
    Ok(overview)
}

/// A scan with its readings from disk, or the reason why it has none.
fn batch_scan(entry: &BatchEntry, out: &Path) -> BatchScan {
    let text = match &entry.failure {
        Some(failure) => Err(failure.clone()),
        None => entry.readings_text(out).map_err(|error| error.to_string()),
    };
    BatchScan {
        name: entry.scan.clone(),
        taken_s: entry.taken_s,
        units: text.as_deref().map_or(LengthUnit::Millimetre, reading_unit),
        readings: text.and_then(|text| parse_reading_rows(&text).map_err(|error| error.to_string())),
    }
}
