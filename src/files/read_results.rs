//! Tells results of an earlier run from a scan, and reads their text.
//!
//! In: a path. Out: the text of a `record.json` or of a `readings.csv`, or the word that it is neither.
//! Method: by content: a record is a JSON object that names its `record_version`, a table begins with the columns
//! `seam,station`. Does not read what stands in them.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::read_error::ReadError;

/// Bytes looked at to tell.
const HEAD_BYTES: usize = 4096;
/// Largest results that are read, bytes: a thousand seams with all their budgets.
const LARGEST_BYTES: u64 = 1 << 30;

/// What a file holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ResultsText {
    Record(String),
    Readings(String),
    /// A scan, or something else.
    Other,
}

/// Looks into a file and reads it where it holds results.
///
/// # Errors
/// The file cannot be read, or is larger than any results.
pub fn read_results(path: &Path) -> Result<ResultsText, ReadError> {
    if path.as_os_str() == "-" || path.is_dir() {
        return Ok(ResultsText::Other);
    }
    let unreadable = |source| ReadError::read(path, source);
    let mut file = File::open(path).map_err(|source| ReadError::Open { path: path.to_owned(), source })?;
    let mut bytes = Vec::new();
    file.by_ref().take(HEAD_BYTES as u64).read_to_end(&mut bytes).map_err(unreadable)?;
    let head = String::from_utf8_lossy(&bytes).into_owned();
    let is_record = head.trim_start().starts_with('{') && head.contains("\"record_version\"");
    let is_table = head.trim_start_matches('\u{feff}').starts_with("seam,station,");
    if !is_record && !is_table {
        return Ok(ResultsText::Other);
    }
    file.take(LARGEST_BYTES).read_to_end(&mut bytes).map_err(unreadable)?;
    // What is cut off or is no text is found by whoever reads the record or the table.
    let text = String::from_utf8_lossy(&bytes).into_owned();
    Ok(if is_record { ResultsText::Record(text) } else { ResultsText::Readings(text) })
}
