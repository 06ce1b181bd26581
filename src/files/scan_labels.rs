//! What each scan of a repeat study is: its car, its operator, its repetition.
//!
//! In: a table (CSV with the columns `scan,car,operator,repetition`). Out: car, operator and repetition of each scan named.
//! Does not look at the scans.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::read_error::ReadError;

/// Columns of the table; those after the first are the labels, in this order.
const COLUMNS: [&str; 4] = ["scan", "car", "operator", "repetition"];

/// Why a table of labels cannot be used.
#[derive(Debug, Error)]
pub enum LabelsError {
    #[error(transparent)]
    Read(#[from] ReadError),
    #[error("{} has no column '{column}'; it needs scan,car,operator,repetition", path.display())]
    NoColumn { path: PathBuf, column: &'static str },
    #[error("could not read the table {}: {problem}; save it as CSV with the columns scan,car,operator,repetition", path.display())]
    NotATable { path: PathBuf, problem: String },
    #[error("{} names {scan} twice; give each scan one line", path.display())]
    Twice { path: PathBuf, scan: String },
}

/// Car, operator and repetition, by the scan's name inside its folder.
///
/// # Errors
/// The file cannot be read, is no such table, or names a scan twice.
pub fn read_labels(path: &Path) -> Result<BTreeMap<String, [String; 3]>, LabelsError> {
    let file = File::open(path).map_err(|source| ReadError::Open { path: path.to_owned(), source })?;
    let not_a_table =
        |error: csv::Error| LabelsError::NotATable { path: path.to_owned(), problem: error.to_string() };
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(file);
    let heading = reader.headers().map_err(not_a_table)?.clone();
    let mut places = [0; COLUMNS.len()];
    for (place, column) in places.iter_mut().zip(COLUMNS) {
        let missing = || LabelsError::NoColumn { path: path.to_owned(), column };
        *place = heading.iter().position(|name| name == column).ok_or_else(missing)?;
    }
    let mut labels = BTreeMap::new();
    for record in reader.records() {
        let record = record.map_err(not_a_table)?;
        let [scan, car, operator, repetition] =
            places.map(|at| record.get(at).unwrap_or_default().to_owned());
        if labels.insert(scan.clone(), [car, operator, repetition]).is_some() {
            return Err(LabelsError::Twice { path: path.to_owned(), scan });
        }
    }
    Ok(labels)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_that_is_none_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("labels.csv");
        let said = |text: &[u8]| {
            std::fs::write(&path, text).unwrap();
            read_labels(&path).unwrap_err().to_string()
        };
        assert!(said(b"scan,car,operator\n").contains("no column 'repetition'"));
        assert!(said(b"scan,car,operator,repetition\na,b\n").contains("save it as CSV"));
        assert!(said(b"\xff\xfe").contains("labels.csv"));
        assert!(said(b"scan,car,operator,repetition\na,b,c,1\na,b,c,2\n").contains("names a twice"));
        assert!(read_labels(&folder.path().join("none.csv")).is_err());
        std::fs::write(&path, "car, scan,repetition,operator\ngannet,day-1/a.ply, 2 ,anna\n").unwrap();
        assert_eq!(read_labels(&path).unwrap()["day-1/a.ply"], ["gannet", "anna", "2"]);
    }
}
