//! The overview of a batch, from the entries and readings on disk: the same from one run as from merged shards.

use std::path::Path;

use shutline::files::{BatchEntry, write_file};
use shutline::render::{Language, overview_csv, overview_html, read_tapers};
#[cfg(feature = "parquet")]
use shutline::render::{ScanReadings, readings_parquet};
use shutline::summarise::{
    BatchOverview, BatchScan, overview_of, parse_lineup_rows, parse_reading_rows, reading_unit,
};
use shutline::units::LengthUnit;

use crate::cli::messages::Failure;

/// Writes `overview.csv`, `overview.html` and, of all readings, `readings.parquet`.
pub fn write_overview(
    entries: &[BatchEntry],
    out: &Path,
    language: Language,
) -> Result<BatchOverview, Failure> {
    let texts: Vec<Result<String, String>> = entries.iter().map(|entry| readings_of(entry, out)).collect();
    let scans = entries.iter().zip(&texts).map(|(entry, text)| batch_scan(entry, text, out)).collect();
    let overview = overview_of(scans);
    let folder_of =
        |scan: &str| entries.iter().find(|entry| entry.scan == scan).map(|entry| entry.folder.clone());
    write_file(&out.join("overview.csv"), overview_csv(&overview)?.as_bytes())?;
    write_file(&out.join("overview.html"), overview_html(&overview, &folder_of, language).as_bytes())?;
    #[cfg(feature = "parquet")]
    write_file(&out.join("readings.parquet"), &batch_parquet(entries, &texts)?)?;
    Ok(overview)
}

/// All readings of all scans that could be measured, in order of scan name.
#[cfg(feature = "parquet")]
fn batch_parquet(entries: &[BatchEntry], texts: &[Result<String, String>]) -> Result<Vec<u8>, Failure> {
    let mut scans: Vec<ScanReadings<'_>> = entries
        .iter()
        .zip(texts)
        .filter_map(|(entry, text)| {
            let csv = text.as_deref().ok()?;
            Some(ScanReadings { name: &entry.scan, taken_s: Some(entry.taken_s), csv })
        })
        .collect();
    scans.sort_by_key(|scan| scan.name);
    Ok(readings_parquet(&scans)?)
}

/// A scan's readings from disk, or the reason why it has none.
fn readings_of(entry: &BatchEntry, out: &Path) -> Result<String, String> {
    match &entry.failure {
        Some(failure) => Err(failure.clone()),
        None => entry.readings_text(out).map_err(|error| error.to_string()),
    }
}

fn batch_scan(entry: &BatchEntry, text: &Result<String, String>, out: &Path) -> BatchScan {
    let text = text.as_deref().map_err(Clone::clone);
    let read = || -> Result<_, String> {
        let readings = parse_reading_rows(text.clone()?).map_err(|error| error.to_string())?;
        let lineups = entry.lineups_text(out).map_err(|error| error.to_string())?;
        let lineups =
            lineups.as_deref().map(parse_lineup_rows).transpose().map_err(|error| error.to_string())?;
        let record = entry.record_text(out).map_err(|error| error.to_string())?;
        let tapers = read_tapers(&record).map_err(|error| error.to_string())?;
        Ok((readings, lineups.unwrap_or_default(), tapers))
    };
    let (readings, lineups, tapers) = match read() {
        Ok((readings, lineups, tapers)) => (Ok(readings), lineups, tapers),
        Err(reason) => (Err(reason), Vec::new(), Vec::new()),
    };
    BatchScan {
        name: entry.scan.clone(),
        taken_s: entry.taken_s,
        units: text.as_deref().map_or(LengthUnit::Millimetre, reading_unit),
        readings,
        lineups,
        tapers,
    }
}
