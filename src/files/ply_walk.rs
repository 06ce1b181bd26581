//! Walks through the payload of a PLY file element by element.
//!
//! In: a head and a source. Out: the offset of an element, and the number lists of its rows.
//! Units: as stored. Method: elements with rows of one length are stepped over by arithmetic, others row by row.
//! Does not hold rows: a list is handed on item by item, so a huge count costs nothing.

use std::io::{BufReader, Read};

use ply_rs::ply::Encoding;

use super::byte_source::{ByteSource, SourceReader};
use super::number_table::parse_number;
use super::ply_header::{Element, FORMAT, PlyHeader, PropertyKind};
use super::read_error::{ReadError, excerpt};
use super::scalar::Scalar;
use super::text_rows::{index_rows, rows_of};

/// A place in the payload.
pub(super) struct PlyWalk<'a> {
    source: &'a ByteSource,
    header: &'a PlyHeader,
}

impl<'a> PlyWalk<'a> {
    pub const fn new(source: &'a ByteSource, header: &'a PlyHeader) -> Self {
        Self { source, header }
    }

    /// The offset of the first row of an element.
    pub fn offset_of(&self, place: usize) -> Result<u64, ReadError> {
        let mut offset = self.header.payload_offset;
        for element in self.header.elements.iter().take(place) {
            offset = self.offset_after(element, offset)?;
        }
        Ok(offset)
    }

    fn offset_after(&self, element: &Element, offset: u64) -> Result<u64, ReadError> {
        if self.header.encoding == Encoding::Ascii {
            return Ok(index_rows(self.source, FORMAT, offset, element.count)?.end);
        }
        match element.stride() {
            Some(stride) => Ok(offset.saturating_add(element.count.saturating_mul(stride as u64))),
            None => self.binary_lists(element, offset, usize::MAX, |_, _| Ok(())),
        }
    }

    /// Calls `each` with every item of the list property `wanted`: its place in the list (from 0) and its value.
    pub fn lists(
        &self,
        element: &Element,
        offset: u64,
        wanted: usize,
        mut each: impl FnMut(u64, f64) -> Result<(), ReadError>,
    ) -> Result<(), ReadError> {
        if self.header.encoding != Encoding::Ascii {
            return self.binary_lists(element, offset, wanted, each).map(|_| ());
        }
        let index = index_rows(self.source, FORMAT, offset, element.count)?;
        if index.rows < element.count {
            return Err(self.cut_off(element, index.rows));
        }
        for part in 0..index.parts.len() {
            let (bytes, first) = index.part_bytes(self.source, part)?;
            for (row, line) in (first..index.rows).zip(rows_of(&bytes)) {
                text_list(element, line, wanted, &mut each)?.ok_or_else(|| {
                    let problem = format!("{} does not hold what the head says", excerpt(line));
                    let place = format!("row {} of element {}", row + 1, excerpt(element.name.as_bytes()));
                    ReadError::malformed(self.source.path(), FORMAT, place, problem)
                })?;
            }
        }
        Ok(())
    }

    /// Calls `each` with the wanted single numbers of every row; lists in between are stepped over.
    pub fn numbers<const N: usize>(
        &self,
        element: &Element,
        offset: u64,
        wanted: [usize; N],
        mut each: impl FnMut([f64; N]) -> Result<(), ReadError>,
    ) -> Result<(), ReadError> {
        if self.header.encoding != Encoding::Ascii {
            return self.binary_numbers(element, offset, wanted, each);
        }
        let index = index_rows(self.source, FORMAT, offset, element.count)?;
        if index.rows < element.count {
            return Err(self.cut_off(element, index.rows));
        }
        for part in 0..index.parts.len() {
            let (bytes, first) = index.part_bytes(self.source, part)?;
            for (row, line) in (first..index.rows).zip(rows_of(&bytes)) {
                each(text_numbers(element, line, wanted).ok_or_else(|| {
                    let problem = format!("{} does not hold what the head says", excerpt(line));
                    let place = format!("row {} of element {}", row + 1, excerpt(element.name.as_bytes()));
                    ReadError::malformed(self.source.path(), FORMAT, place, problem)
                })?)?;
            }
        }
        Ok(())
    }

    fn binary_numbers<const N: usize>(
        &self,
        element: &Element,
        offset: u64,
        wanted: [usize; N],
        mut each: impl FnMut([f64; N]) -> Result<(), ReadError>,
    ) -> Result<(), ReadError> {
        let mut rows = self.binary_rows(offset);
        for row in 0..element.count {
            let mut found = [f64::NAN; N];
            for (place, property) in element.properties.iter().enumerate() {
                let number = match property.kind {
                    PropertyKind::Scalar(scalar) => rows.number(scalar),
                    PropertyKind::List { count, item } => {
                        let count = rows.number(count).filter(|count| *count >= 0.0);
                        count.and_then(|count| rows.skip(count as u64, item)).map(|()| f64::NAN)
                    }
                };
                let number = number.ok_or_else(|| self.cut_off(element, row))?;
                found
                    .iter_mut()
                    .zip(wanted)
                    .filter(|(_, wanted)| *wanted == place)
                    .for_each(|(slot, _)| *slot = number);
            }
            each(found)?;
        }
        Ok(())
    }

    fn binary_rows(&self, offset: u64) -> BinaryRows<'a> {
        BinaryRows {
            reader: BufReader::with_capacity(256 << 10, self.source.reader(offset)),
            is_big_endian: self.header.encoding == Encoding::BinaryBigEndian,
            offset,
            end: self.source.len(),
        }
    }

    fn cut_off(&self, element: &Element, found: u64) -> ReadError {
        let items = match element.name.as_str() {
            "face" => "faces",
            "vertex" => "points",
            _ => "rows",
        };
        ReadError::CutOff { path: self.source.path().to_owned(), items, promised: element.count, found }
    }

    fn binary_lists(
        &self,
        element: &Element,
        offset: u64,
        wanted: usize,
        mut each: impl FnMut(u64, f64) -> Result<(), ReadError>,
    ) -> Result<u64, ReadError> {
        let mut rows = self.binary_rows(offset);
        for row in 0..element.count {
            for (place, property) in element.properties.iter().enumerate() {
                let done = match property.kind {
                    PropertyKind::Scalar(scalar) => rows.skip(1, scalar),
                    PropertyKind::List { count, item } => match rows.number(count) {
                        Some(count) if count < 0.0 => None,
                        Some(count) if place != wanted => rows.skip(count as u64, item),
                        Some(count) => rows.items(count as u64, item, &mut each)?,
                        None => None,
                    },
                };
                done.ok_or_else(|| self.cut_off(element, row))?;
            }
        }
        Ok(rows.offset)
    }
}

/// Binary rows, read in order.
struct BinaryRows<'a> {
    reader: BufReader<SourceReader<'a>>,
    is_big_endian: bool,
    offset: u64,
    end: u64,
}

impl BinaryRows<'_> {
    fn number(&mut self, scalar: Scalar) -> Option<f64> {
        let mut bytes = [0; 8];
        self.reader.read_exact(bytes.get_mut(..scalar.size())?).ok()?;
        self.offset += scalar.size() as u64;
        scalar.decode(&bytes, self.is_big_endian)
    }

    fn skip(&mut self, count: u64, scalar: Scalar) -> Option<()> {
        let bytes = count.checked_mul(scalar.size() as u64)?;
        self.offset = self.offset.checked_add(bytes).filter(|offset| *offset <= self.end)?;
        self.reader.seek_relative(i64::try_from(bytes).ok()?).ok()
    }

    fn items(
        &mut self,
        count: u64,
        item: Scalar,
        each: &mut impl FnMut(u64, f64) -> Result<(), ReadError>,
    ) -> Result<Option<()>, ReadError> {
        for place in 0..count {
            match self.number(item) {
                Some(value) => each(place, value)?,
                None => return Ok(None),
            }
        }
        Ok(Some(()))
    }
}

/// The wanted list of one line; nothing where the line does not hold what the head says.
fn text_list(
    element: &Element,
    line: &[u8],
    wanted: usize,
    each: &mut impl FnMut(u64, f64) -> Result<(), ReadError>,
) -> Result<Option<()>, ReadError> {
    let mut words = line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty());
    let mut number = || words.next().and_then(parse_number);
    for (place, property) in element.properties.iter().enumerate().take(wanted.saturating_add(1)) {
        let PropertyKind::List { .. } = property.kind else {
            if number().is_none() {
                return Ok(None);
            }
            continue;
        };
        let Some(count) = number().filter(|count| *count >= 0.0) else { return Ok(None) };
        for item in 0..count as u64 {
            let Some(value) = number() else { return Ok(None) };
            if place == wanted {
                each(item, value)?;
            }
        }
    }
    Ok(Some(()))
}

/// The wanted single numbers of one line; nothing where the line does not hold what the head says.
fn text_numbers<const N: usize>(element: &Element, line: &[u8], wanted: [usize; N]) -> Option<[f64; N]> {
    let mut words = line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty());
    let mut found = [f64::NAN; N];
    let last = wanted.iter().max().copied()?;
    for (place, property) in element.properties.iter().enumerate().take(last + 1) {
        let number = parse_number(words.next()?)?;
        if let PropertyKind::List { .. } = property.kind {
            for _ in 0..Some(number).filter(|count| *count >= 0.0)? as u64 {
                words.next()?;
            }
            continue;
        }
        found
            .iter_mut()
            .zip(wanted)
            .filter(|(_, wanted)| *wanted == place)
            .for_each(|(slot, _)| *slot = number);
    }
    Some(found)
}
