//! PCD: clouds with a text head, and rows in text, binary, or packed binary.
//!
//! In: a source. Out: a [`ScanSource`]. Units: PCD stores none. Shape: text and binary rows stay in the file; packed rows are
//! unpacked once. Method: head lines FIELDS, SIZE, TYPE, COUNT, POINTS, DATA (PCL documentation, "The PCD file format",
//! version .7); `binary_compressed` is one LZF block in which each field's column follows the one before.
//! Does not apply VIEWPOINT: the points already are in the scan's frame.

use std::path::Path;

use super::byte_source::ByteSource;
use super::fixed_rows::{Field, FixedRows, LONGEST_ROW, RowLayout};
use super::number_table::{Columns, Dialect, Separator};
use super::pcd_packed;
use super::point_rows::{CloudScan, PointRows};
use super::read_error::{ReadError, excerpt};
use super::scalar::Scalar;
use super::text_rows::{TextRows, index_rows};
use crate::scan::{ScanSource, SourceFacts};

pub(super) const FORMAT: &str = "PCD";
/// Longest head that is taken for one, bytes.
const LONGEST_HEAD: usize = 64 << 10;

/// One field of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PcdField {
    pub name: String,
    pub scalar: Scalar,
    pub count: usize,
}

/// A head, understood.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct PcdHeader {
    pub fields: Vec<PcdField>,
    pub points: u64,
    pub data: String,
    pub payload_offset: u64,
}

impl PcdHeader {
    pub fn stride(&self) -> usize {
        self.fields.iter().map(|field| field.scalar.size() * field.count).sum()
    }

    /// Byte offset and type, and column in text, of the first number of a field; a field that says it holds none has none.
    pub fn place(&self, name: &str) -> Option<(Field, usize)> {
        let place = self.fields.iter().position(|field| field.name == name && field.count > 0)?;
        let before = || self.fields.iter().take(place);
        let offset = before().map(|field| field.scalar.size() * field.count).sum();
        let column = before().map(|field| field.count).sum();
        Some((Field { offset, scalar: self.fields.get(place)?.scalar }, column))
    }

    pub fn places(&self, names: [&str; 3]) -> Option<[(Field, usize); 3]> {
        let [x, y, z] = names.map(|name| self.place(name));
        Some([x?, y?, z?])
    }
}

/// Opens a PCD file.
pub(super) fn open(source: ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let path = source.path();
    let head = source.bytes_at(0, LONGEST_HEAD).map_err(|error| ReadError::read(path, error))?;
    let header = parse_head(path, &head)?;
    if header.points == 0 {
        return Err(ReadError::NoPoints { path: path.to_owned() });
    }
    let position = header.places(["x", "y", "z"]).ok_or_else(|| bad(path, "it has no fields x, y, z"))?;
    let normal = header.places(["normal_x", "normal_y", "normal_z"]);
    let facts = SourceFacts {
        format: format!("PCD, {}", header.data),
        point_count: Some(header.points),
        triangle_count: None,
        has_normals: normal.is_some(),
        byte_count: Some(source.len()),
    };
    if header.data == "binary_compressed" {
        return pcd_packed::open(&source, &header, facts.format, unit_mm);
    }
    let points = if header.data == "ascii" {
        let columns = |places: [(Field, usize); 3]| places.map(|(_, column)| column);
        let columns = Columns { position: columns(position), normal: normal.map(columns), unit: None };
        PointRows::Text(text_rows(&source, &header, columns, unit_mm)?)
    } else {
        let fields = |places: [(Field, usize); 3]| places.map(|(field, _)| field);
        let layout = RowLayout {
            stride: header.stride(),
            is_big_endian: false,
            position: fields(position),
            normal: normal.map(fields),
        };
        PointRows::Binary(binary_rows(&source, &header, layout, unit_mm)?)
    };
    Ok(Box::new(CloudScan { source, facts, points }))
}

pub(super) fn bad(path: &Path, problem: impl Into<String>) -> ReadError {
    ReadError::malformed(path, FORMAT, "its head", problem)
}

fn text_rows(
    source: &ByteSource,
    header: &PcdHeader,
    columns: Columns,
    unit_mm: f64,
) -> Result<TextRows, ReadError> {
    let index = index_rows(source, FORMAT, header.payload_offset, header.points)?;
    if index.rows < header.points {
        return Err(cut_off(source, header, index.rows));
    }
    let dialect = Dialect { separator: Separator::Blank, has_decimal_comma: false };
    Ok(TextRows { format: FORMAT, index, dialect, columns, unit_mm })
}

fn binary_rows(
    source: &ByteSource,
    header: &PcdHeader,
    layout: RowLayout,
    unit_mm: f64,
) -> Result<FixedRows, ReadError> {
    let found = source.len().saturating_sub(header.payload_offset) / layout.stride as u64;
    if found < header.points {
        return Err(cut_off(source, header, found));
    }
    Ok(FixedRows { start: header.payload_offset, count: header.points, layout, steps: None, unit_mm })
}

fn cut_off(source: &ByteSource, header: &PcdHeader, found: u64) -> ReadError {
    ReadError::CutOff { path: source.path().to_owned(), items: "points", promised: header.points, found }
}

fn parse_head(path: &Path, bytes: &[u8]) -> Result<PcdHeader, ReadError> {
    let mut header = PcdHeader::default();
    let (mut names, mut sizes, mut types, mut counts) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut grid = [1_u64; 2];
    let mut points = None;
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        header.payload_offset += line.len() as u64;
        let text = String::from_utf8_lossy(line);
        let mut words = text.split_ascii_whitespace().map(str::to_owned);
        let word = words.next().unwrap_or_default();
        let number = |word: Option<String>| {
            word.and_then(|word| word.parse::<u64>().ok())
                .ok_or_else(|| bad(path, format!("{} has no count", excerpt(line.trim_ascii()))))
        };
        match word.as_str() {
            "FIELDS" => names = words.collect(),
            "SIZE" => sizes = words.collect(),
            "TYPE" => types = words.collect(),
            "COUNT" => counts = words.collect(),
            "WIDTH" => grid = [number(words.next())?, grid.last().copied().unwrap_or(1)],
            "HEIGHT" => grid = [grid.first().copied().unwrap_or(1), number(words.next())?],
            "POINTS" => points = Some(number(words.next())?),
            "DATA" => {
                header.data = words.next().unwrap_or_default().to_lowercase();
                break;
            }
            _ => {}
        }
    }
    if !matches!(header.data.as_str(), "ascii" | "binary" | "binary_compressed") {
        return Err(bad(path, format!("DATA {} is not known", excerpt(header.data.as_bytes()))));
    }
    header.points =
        points.unwrap_or_else(|| grid.iter().fold(1, |product, side| product.saturating_mul(*side)));
    for (place, name) in names.into_iter().enumerate() {
        let scalar = match (types.get(place).map(String::as_str), sizes.get(place).map(String::as_str)) {
            (Some("F"), Some("4")) => Scalar::F32,
            (Some("F"), Some("8")) => Scalar::F64,
            (Some("I"), Some("1")) => Scalar::I8,
            (Some("I"), Some("2")) => Scalar::I16,
            (Some("I"), Some("4")) => Scalar::I32,
            (Some("I"), Some("8")) => Scalar::I64,
            (Some("U"), Some("1")) => Scalar::U8,
            (Some("U"), Some("2")) => Scalar::U16,
            (Some("U"), Some("4")) => Scalar::U32,
            (Some("U"), Some("8")) => Scalar::U64,
            _ => return Err(bad(path, format!("field {} has no known type", excerpt(name.as_bytes())))),
        };
        let count = counts.get(place).map_or(Some(1), |count| count.parse().ok());
        let count = count.filter(|count| *count <= LONGEST_ROW);
        let count = count.ok_or_else(|| bad(path, "COUNT is not a small whole number"))?;
        let is_named = name != "_";
        if is_named && header.fields.iter().any(|field| field.name == name) {
            return Err(bad(path, format!("field {} comes twice", excerpt(name.as_bytes()))));
        }
        header.fields.push(PcdField { name, scalar, count });
        if header.fields.len() > LONGEST_ROW || header.stride() > LONGEST_ROW {
            return Err(bad(path, format!("a row is longer than {LONGEST_ROW} bytes")));
        }
    }
    Ok(header)
}
