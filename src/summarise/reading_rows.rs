//! A scan's readings as its `readings.csv` holds them: what batches, repeats and merges work on.
//!
//! In: the text of a `readings.csv`. Out: one [`ReadingRow`] a line, lengths in mm whatever the file's unit.
//! Method: columns by name; `_mm` or `_in` says the unit (1 in = 25.4 mm exactly).
//! Does not judge again: verdicts are those of the file.

use std::collections::BTreeMap;

use thiserror::Error;

use crate::judge::Verdict;
use crate::units::LengthUnit;

/// Gap or flush.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    Gap,
    Flush,
}

impl Quantity {
    pub const ALL: [Self; 2] = [Self::Gap, Self::Flush];

    /// The word in files and on screens.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Gap => "gap",
            Self::Flush => "flush",
        }
    }
}

/// One measurand at one station; `value_mm` is `None` where it is unseen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowValue {
    pub value_mm: Option<f64>,
    pub verdict: Verdict,
}

/// One station of one scan.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingRow {
    pub seam: String,
    pub station: usize,
    pub gap: RowValue,
    pub flush: RowValue,
}

impl ReadingRow {
    #[must_use]
    pub const fn of(&self, quantity: Quantity) -> &RowValue {
        match quantity {
            Quantity::Gap => &self.gap,
            Quantity::Flush => &self.flush,
        }
    }
}

/// Why a text is not a table of readings.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
pub enum ReadingRowsError {
    #[error("the column {column} is missing from the readings; measure the scan again")]
    MissingColumn { column: String },
    #[error("line {line} of the readings: '{found}' is not {expected}; measure the scan again")]
    BadCell { line: u64, found: String, expected: &'static str },
    #[error("the readings are not a table: {0}; measure the scan again")]
    NotATable(String),
}

/// The unit of a `readings.csv`, as its header says; millimetres where it does not.
#[must_use]
pub fn reading_unit(text: &str) -> LengthUnit {
    let header = text.lines().next().unwrap_or_default();
    if header.split(',').any(|name| name.trim_matches('"') == "gap_in") {
        LengthUnit::Inch
    } else {
        LengthUnit::Millimetre
    }
}

/// Reads the text of a `readings.csv`.
///
/// # Errors
/// A column is missing, or a cell is neither empty nor what its column holds.
pub fn parse_reading_rows(text: &str) -> Result<Vec<ReadingRow>, ReadingRowsError> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let heading = reader.headers().map_err(|error| ReadingRowsError::NotATable(error.to_string()))?.clone();
    let columns: BTreeMap<&str, usize> = heading.iter().enumerate().map(|(at, name)| (name, at)).collect();
    let unit = reading_unit(text);
    let ending = if unit == LengthUnit::Inch { "in" } else { "mm" };
    let place = |name: &str| {
        columns.get(name).copied().ok_or_else(|| ReadingRowsError::MissingColumn { column: name.to_owned() })
    };
    let (seam, station) = (place("seam")?, place("station")?);
    let pairs = [
        [place(&format!("gap_{ending}"))?, place("gap_verdict")?],
        [place(&format!("flush_{ending}"))?, place("flush_verdict")?],
    ];
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| ReadingRowsError::NotATable(error.to_string()))?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |at: usize| record.get(at).unwrap_or_default();
        let bad =
            |at: usize, expected| ReadingRowsError::BadCell { line, found: cell(at).to_owned(), expected };
        let value = |[number, word]: [usize; 2]| -> Result<RowValue, ReadingRowsError> {
            let verdict = Verdict::ALL
                .into_iter()
                .find(|verdict| verdict.word() == cell(word))
                .ok_or_else(|| bad(word, "a verdict"))?;
            if cell(number).is_empty() {
                return Ok(RowValue { value_mm: None, verdict });
            }
            let length: f64 = cell(number).parse().map_err(|_| bad(number, "a length"))?;
            let value_mm = Some(length * unit.mm()).filter(|length| length.is_finite());
            Ok(RowValue { value_mm: Some(value_mm.ok_or_else(|| bad(number, "a length"))?), verdict })
        };
        rows.push(ReadingRow {
            seam: cell(seam).to_owned(),
            station: cell(station).parse().map_err(|_| bad(station, "a station number"))?,
            gap: value(pairs[0])?,
            flush: value(pairs[1])?,
        });
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADING: &str = "seam,station,along_in,x_in,y_in,z_in,gap_in,gap_u_in,gap_verdict,flush_in,flush_u_in,\
                           flush_verdict,reason\n";

    #[test]
    fn inches_become_millimetres_and_empty_cells_stay_unseen() {
        let text = format!("{HEADING}hood,0,1,0,0,0,0.2,0.001,wide,,,unseen,edge-not-seen\n");
        let rows = parse_reading_rows(&text).unwrap();
        assert!((rows[0].gap.value_mm.unwrap() - 5.08).abs() < 1e-12);
        assert_eq!((rows[0].gap.verdict, rows[0].flush.value_mm), (Verdict::Wide, None));
    }

    #[test]
    fn a_cell_that_is_no_number_is_named_with_its_line() {
        let text = format!("{HEADING}hood,0,1,0,0,0,NaN,0.001,wide,,,unseen,\n");
        let error = parse_reading_rows(&text).unwrap_err().to_string();
        assert!(error.contains("line 2") && error.contains("NaN"), "{error}");
        assert!(parse_reading_rows("a,b\n1,2\n").unwrap_err().to_string().contains("seam"));
    }
}
