//! Clouds as plain text: one point a line, in whatever separator and column order.
//!
//! In: a source and its first bytes. Out: a [`ScanSource`]; its format text tells what was detected.
//! Units: as told by the caller. Method: a heading names the columns; without one x, y, z come first, and columns 4 to 6 are
//! normals if each of them is a unit vector. A first line with a single number is a point count and skipped.
//! Does not trust the count.

use super::byte_source::ByteSource;
use super::number_table::{Columns, Dialect, starts_with_number};
use super::point_rows::{CloudScan, PointRows};
use super::read_error::{ReadError, excerpt};
use super::text_rows::{TextRows, index_rows, rows_of};
use crate::scan::{ScanSource, SourceFacts};

const FORMAT: &str = "a text cloud";
/// Lines from which the columns are told.
const SAMPLED_LINES: usize = 50;
/// How far a unit vector written with three digits may be from 1.
const UNIT_VECTOR_SLACK: f64 = 0.01;

/// Opens a text cloud.
pub(super) fn open(source: ByteSource, head: &[u8], unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let is_whole = head.len() as u64 == source.len();
    let last_end = head.iter().rposition(|byte| matches!(byte, b'\n' | b'\r'));
    let whole_lines = if is_whole { head } else { head.get(..last_end.unwrap_or(0)).unwrap_or_default() };
    let start = data_offset(whole_lines);
    let data = whole_lines.get(start..).unwrap_or_default();
    let sample: Vec<&[u8]> = rows_of(data).take(SAMPLED_LINES).collect();
    let dialect = Dialect::detect(sample.iter().copied());
    let columns = heading(whole_lines.get(..start).unwrap_or_default(), &dialect)
        .or_else(|| told_from_numbers(&dialect, &sample))
        .ok_or_else(|| {
            let line = sample.first().copied().unwrap_or_default();
            let problem = format!("{} is not a row of numbers with x, y and z", excerpt(line));
            ReadError::malformed(source.path(), FORMAT, "its first line of numbers", problem)
        })?;
    let index = index_rows(&source, FORMAT, start as u64, u64::MAX)?;
    let [x, y, z] = columns.position.map(|column| column + 1);
    let normals = if columns.normal.is_some() { ", with normals" } else { "" };
    let facts = SourceFacts {
        format: format!("text, {}, x y z in columns {x} {y} {z}{normals}", dialect.text()),
        point_count: Some(index.rows),
        triangle_count: None,
        has_normals: columns.normal.is_some(),
        byte_count: Some(source.len()),
    };
    let points = PointRows::Text(TextRows { format: FORMAT, index, dialect, columns, unit_mm });
    Ok(Box::new(CloudScan { source, facts, points }))
}

/// Where the first line of a point begins.
fn data_offset(bytes: &[u8]) -> usize {
    let mut offset = 0;
    for line in bytes.split_inclusive(|byte| matches!(byte, b'\n' | b'\r')) {
        let trimmed = line.trim_ascii();
        let is_count = trimmed.iter().all(u8::is_ascii_digit);
        if !trimmed.starts_with(b"#") && starts_with_number(trimmed) && !is_count {
            return offset;
        }
        offset += line.len();
    }
    offset
}

/// The columns named in the last line before the points.
fn heading(before: &[u8], dialect: &Dialect) -> Option<Columns> {
    let mut lines = before.split(|byte| matches!(byte, b'\n' | b'\r')).map(<[u8]>::trim_ascii);
    let line = lines.rfind(|line| !line.is_empty())?;
    let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
    let line = line.strip_prefix(b"#").map_or(line, <[u8]>::trim_ascii_start);
    let fields: Vec<&[u8]> = dialect.fields(line).collect();
    Columns::from_heading(&fields).or_else(|| {
        let is_separator = |byte: &u8| matches!(byte, b',' | b';') || byte.is_ascii_whitespace();
        let fields: Vec<&[u8]> = line.split(is_separator).filter(|field| !field.is_empty()).collect();
        Columns::from_heading(&fields)
    })
}

fn told_from_numbers(dialect: &Dialect, sample: &[&[u8]]) -> Option<Columns> {
    let rows: Vec<Vec<f64>> = sample
        .iter()
        .map(|line| dialect.fields(line).map_while(|field| dialect.number(field)).collect())
        .collect();
    if rows.first().is_none_or(|row| row.len() < 3) {
        return None;
    }
    let is_unit = |row: &Vec<f64>| match row.as_slice() {
        [_, _, _, x, y, z, ..] => (x.hypot(*y).hypot(*z) - 1.0).abs() < UNIT_VECTOR_SLACK,
        _ => false,
    };
    Some(Columns::in_order(rows.iter().all(is_unit)))
}
