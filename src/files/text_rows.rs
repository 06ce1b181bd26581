//! Points in lines of text: ASCII PLY, ASCII PCD and plain text clouds.
//!
//! In: where the lines are, how numbers are written and which columns matter. Out: blocks of points, mm.
//! Shape: one pass over the bytes counts lines and cuts them into parts of about 4 MB at line ends; parts are then parsed
//! one by one, in any order. Empty lines and lines that begin with `#` do not count.
//! Does not tell the columns: the readers do.

use super::block_buffer::BlockBuffer;
use super::byte_source::ByteSource;
use super::number_table::{Columns, Dialect};
use super::read_error::{ReadError, excerpt};
use crate::scan::PointSink;

/// Bytes after which a part ends with its line.
const BYTES_PER_PART: u64 = 4 << 20;
/// Longest line that is taken for one, bytes.
const LONGEST_LINE: u64 = 1 << 20;
/// Bytes looked at in one step while counting.
const BYTES_PER_READ: usize = 256 << 10;

/// Some whole lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct TextPart {
    pub start: u64,
    pub end: u64,
    pub first_row: u64,
}

/// Lines cut into parts.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct TextIndex {
    pub parts: Vec<TextPart>,
    pub rows: u64,
    /// One past the last byte of the last row.
    pub end: u64,
}

/// Rows of text that hold points.
#[derive(Debug, Clone)]
pub(super) struct TextRows {
    pub format: &'static str,
    pub index: TextIndex,
    pub dialect: Dialect,
    pub columns: Columns,
    pub unit_mm: f64,
}

/// Counts at most `wanted` rows from `start` on and cuts them into parts.
pub(super) fn index_rows(
    source: &ByteSource,
    format: &'static str,
    start: u64,
    wanted: u64,
) -> Result<TextIndex, ReadError> {
    let mut index = TextIndex { end: start, ..TextIndex::default() };
    let mut part = TextPart { start, end: start, first_row: 0 };
    let (mut offset, mut line_start, mut kind) = (start, start, LineKind::Empty);
    let mut buffer = vec![0; BYTES_PER_READ];
    while index.rows < wanted {
        let got =
            source.read_at(offset, &mut buffer).map_err(|error| ReadError::read(source.path(), error))?;
        for (place, byte) in (offset..).zip(buffer.get(..got).unwrap_or_default()) {
            match byte {
                b'\n' | b'\r' => {
                    index.rows += u64::from(kind == LineKind::Row);
                    (kind, line_start) = (LineKind::Empty, place + 1);
                    if index.rows >= wanted || line_start - part.start >= BYTES_PER_PART {
                        index.parts.push(TextPart { end: line_start, ..part });
                        part = TextPart { start: line_start, end: line_start, first_row: index.rows };
                        index.end = line_start;
                        if index.rows >= wanted {
                            return Ok(index);
                        }
                    }
                }
                b'#' if kind == LineKind::Empty => kind = LineKind::Comment,
                byte if kind == LineKind::Empty && !byte.is_ascii_whitespace() => kind = LineKind::Row,
                _ => {}
            }
        }
        offset += got as u64;
        if offset - line_start > LONGEST_LINE {
            let place = format!("row {}", index.rows + 1);
            return Err(ReadError::malformed(source.path(), format, place, "the line has no end"));
        }
        if got == 0 {
            break;
        }
    }
    index.rows += u64::from(kind == LineKind::Row);
    index.end = offset;
    if offset > part.start {
        index.parts.push(TextPart { end: offset, ..part });
    }
    Ok(index)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum LineKind {
    Empty,
    Comment,
    Row,
}

/// The rows of some bytes: trimmed, without empty lines and comments.
pub(super) fn rows_of(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    bytes
        .split(|byte| matches!(byte, b'\n' | b'\r'))
        .map(<[u8]>::trim_ascii)
        .filter(|line| !line.is_empty() && !line.starts_with(b"#"))
}

impl TextIndex {
    /// The bytes of a part.
    pub fn part_bytes(&self, source: &ByteSource, part: usize) -> Result<(Vec<u8>, u64), ReadError> {
        let Some(part) = self.parts.get(part) else { return Ok((Vec::new(), 0)) };
        let len = usize::try_from(part.end - part.start).unwrap_or(usize::MAX);
        let bytes =
            source.bytes_at(part.start, len).map_err(|error| ReadError::read(source.path(), error))?;
        Ok((bytes, part.first_row))
    }
}

impl TextRows {
    pub const fn part_count(&self) -> usize {
        self.index.parts.len()
    }

    /// Delivers the points of a part.
    pub fn read_points(
        &self,
        source: &ByteSource,
        part: usize,
        sink: &mut dyn PointSink,
    ) -> Result<(), ReadError> {
        let (bytes, first_row) = self.index.part_bytes(source, part)?;
        let mut blocks = BlockBuffer::new(sink, self.columns.normal.is_some(), first_row);
        for (row, line) in (first_row..self.index.rows).zip(rows_of(&bytes)) {
            let Some((position, normal)) = self.point_of(line) else {
                let problem = format!("{} is not a row of numbers with x, y and z", excerpt(line));
                let place = format!("point {}", row + 1);
                return Err(ReadError::malformed(source.path(), self.format, place, problem));
            };
            blocks.push(position.map(|value| value * self.unit_mm), normal);
        }
        blocks.flush();
        Ok(())
    }

    /// Position (file unit) and normal of one row.
    fn point_of(&self, line: &[u8]) -> Option<([f64; 3], [f32; 3])> {
        let (mut position, mut normal) = ([None; 3], [None; 3]);
        let normal_columns = self.columns.normal.unwrap_or([usize::MAX; 3]);
        let columns = || self.columns.position.iter().chain(self.columns.normal.iter().flatten());
        let last = columns().max().copied().unwrap_or(0);
        for (column, field) in self.dialect.fields(line).enumerate().take(last + 1) {
            for (value, wanted) in position.iter_mut().zip(self.columns.position) {
                if column == wanted {
                    *value = Some(self.dialect.number(field)?);
                }
            }
            for (value, wanted) in normal.iter_mut().zip(normal_columns) {
                if column == wanted {
                    *value = self.dialect.number(field);
                }
            }
        }
        let [x, y, z] = position;
        Some(([x?, y?, z?], normal.map(|value| value.map_or(0.0, |value| value as f32))))
    }
}
