//! A scan's lineups as its `lineups.csv` holds them: what batches work on.
//!
//! In: the text of a `lineups.csv`. Out: one [`LineupRow`] a line, lengths in mm whatever the file's unit.
//! Method: columns by name; `_mm` or `_in` says the unit (1 in = 25.4 mm exactly).
//! Does not judge again: verdicts are those of the file.

use super::reading_rows::ReadingRowsError;
use crate::judge::Verdict;
use crate::units::LengthUnit;

/// One value of a lineup.
#[derive(Debug, Clone, PartialEq)]
pub struct LineupRow {
    pub lineup: String,
    /// `step`, `shift`, `pitch`, `evenness` or `pitch-difference`.
    pub quantity: String,
    /// Which bar, from 0, as the file says; empty for a crease and for a row as a whole.
    pub bar: String,
    /// Whose pitch or evenness; empty for the others.
    pub panel: String,
    /// `None` where it is unseen.
    pub value_mm: Option<f64>,
    /// `None` where the plan gives no tolerance.
    pub verdict: Option<Verdict>,
}

impl LineupRow {
    /// True where both are of the same thing.
    #[must_use]
    pub fn is_same_thing(&self, other: &Self) -> bool {
        self.lineup == other.lineup
            && self.quantity == other.quantity
            && self.bar == other.bar
            && self.panel == other.panel
    }
}

/// Reads the text of a `lineups.csv`.
///
/// # Errors
/// A column is missing, or a cell is neither empty nor what its column holds.
pub fn parse_lineup_rows(text: &str) -> Result<Vec<LineupRow>, ReadingRowsError> {
    let not_a_table = |error: csv::Error| ReadingRowsError::NotATable(error.to_string());
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let heading = reader.headers().map_err(not_a_table)?.clone();
    let find = |name: &str| heading.iter().position(|column| column == name);
    let place =
        |name: &str| find(name).ok_or_else(|| ReadingRowsError::MissingColumn { column: name.to_owned() });
    let unit = if find("value_in").is_some() { LengthUnit::Inch } else { LengthUnit::Millimetre };
    let value = place(if unit == LengthUnit::Inch { "value_in" } else { "value_mm" })?;
    let verdict = place("verdict")?;
    let names = [place("lineup")?, place("quantity")?, place("bar")?, place("panel")?];
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(not_a_table)?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |at: usize| record.get(at).unwrap_or_default();
        let bad =
            |at: usize, expected| ReadingRowsError::BadCell { line, found: cell(at).to_owned(), expected };
        let value_mm = match cell(value) {
            "" => None,
            text => {
                let length = text.parse::<f64>().ok().map(|length| length * unit.mm());
                Some(length.filter(|length| length.is_finite()).ok_or_else(|| bad(value, "a length"))?)
            }
        };
        let verdict = match cell(verdict) {
            "" => None,
            word => {
                let known = Verdict::ALL.into_iter().find(|one| one.word() == word);
                Some(known.ok_or_else(|| bad(verdict, "a verdict"))?)
            }
        };
        let [lineup, quantity, bar, panel] = names.map(|at| cell(at).to_owned());
        rows.push(LineupRow { lineup, quantity, bar, panel, value_mm, verdict });
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "lineup,seam,quantity,bar,panel,at_in,value_in,u_in,verdict,reason\n";

    #[test]
    fn rows_are_read_by_name_and_in_millimetres() {
        let text = format!("{HEAD}line,s,step,,,4.0,0.1,0.01,high,\nline,s,shift,,,4.0,,,unseen,no-points\n");
        let rows = parse_lineup_rows(&text).unwrap();
        assert_eq!(rows.len(), 2);
        assert!((rows[0].value_mm.unwrap() - 2.54).abs() < 1e-12);
        assert_eq!(rows[0].verdict, Some(Verdict::High));
        assert_eq!((rows[1].value_mm, rows[1].verdict), (None, Some(Verdict::Unseen)));
        assert!(!rows[0].is_same_thing(&rows[1]));
    }

    #[test]
    fn what_is_no_table_of_lineups_is_said() {
        assert!(parse_lineup_rows("a,b\n1,2\n").is_err());
        for cells in ["x,0.1,high", "nan,0.1,high", "0.1,0.1,tall"] {
            assert!(parse_lineup_rows(&format!("{HEAD}line,s,step,,,4.0,{cells},\n")).is_err(), "{cells}");
        }
    }
}
