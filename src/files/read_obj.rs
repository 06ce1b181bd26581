//! OBJ: corners and faces in text, points alone as well.
//!
//! In: a source. Out: a [`ScanSource`]. Units: OBJ stores none. Shape: decoded once into a temporary file.
//! Method: `v`, and `f` with 1-based or negative numbers as `a`, `a/b`, `a//c`, `a/b/c`;
//! polygons become fans; a backslash continues a line. In a file without faces that has as many normals (`vn`) as corners, each is
//! its corner's, as programs that export clouds write them. Everything else is skipped.
//! Does not read curves (see `curve_obj`), normals of meshes nor materials.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;

use super::byte_source::{ByteSource, Collector};
use super::number_table::parse_number;
use super::read_error::{ReadError, excerpt};
use super::spool::{Spool, spool_error};
use super::vertex_table::VertexTable;
use crate::scan::ScanSource;

pub(super) const FORMAT: &str = "OBJ";
/// Longest line that is taken for one, bytes.
const LONGEST_LINE: u64 = 1 << 20;
/// Fewest bytes of a corner's line: `v 0 0 0` and its end.
pub(super) const FEWEST_CORNER_BYTES: u64 = 8;

/// Reads an OBJ file.
pub(super) fn open(source: &ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let path = source.path();
    let mut reader = BufReader::with_capacity(256 << 10, source.reader(0));
    let mut mesh = ObjMesh {
        corners: VertexTable::new(source.len(), source.len() / FEWEST_CORNER_BYTES),
        spool: Spool::new(false),
        normals: Collector::default(),
    };
    let (mut line, mut number) = (Vec::new(), 0_u64);
    while read_line(&mut reader, &mut line).map_err(|error| ReadError::read(path, error))? {
        number += 1;
        mesh.take(&line).map_err(|problem| match problem {
            Problem::Spool(error) => spool_error(path, error),
            Problem::Text(problem) => {
                let problem = format!("{problem}: {}", excerpt(line.trim_ascii()));
                ReadError::malformed(path, FORMAT, format!("line {number}"), problem)
            }
        })?;
    }
    Ok(Box::new(mesh.into_spool(path)?.finish(path, FORMAT.to_owned(), source.len(), unit_mm)?))
}

/// Reads a line with those that a backslash joins to it; false at the end.
fn read_line(reader: &mut impl BufRead, line: &mut Vec<u8>) -> std::io::Result<bool> {
    line.clear();
    loop {
        let room = LONGEST_LINE.saturating_sub(line.len() as u64).max(1);
        let count = reader.by_ref().take(room).read_until(b'\n', line)?;
        let trimmed = line.trim_ascii_end().len();
        let is_continued = line.get(..trimmed).is_some_and(|text| text.ends_with(b"\\"));
        if count == 0 || !is_continued || line.len() as u64 >= LONGEST_LINE {
            return Ok(!line.is_empty());
        }
        line.truncate(trimmed - 1);
        line.push(b' ');
    }
}

enum Problem {
    Spool(std::io::Error),
    Text(&'static str),
}

struct ObjMesh {
    corners: VertexTable,
    spool: Spool,
    /// Rows of three 32-bit floats.
    normals: Collector,
}

/// Bytes of a normal.
const NORMAL_BYTES: u64 = 12;

impl ObjMesh {
    fn take(&mut self, line: &[u8]) -> Result<(), Problem> {
        let mut words = line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty());
        match words.next() {
            Some(b"v") => {
                let mut next = || words.next().and_then(parse_number);
                let (Some(x), Some(y), Some(z)) = (next(), next(), next()) else {
                    return Err(Problem::Text("a corner is not three numbers"));
                };
                self.corners.push([x, y, z]);
                self.spool.push_point([x, y, z], [0.0; 3]).map_err(Problem::Spool)
            }
            Some(b"vn") => {
                // What is no number is no direction, and has no say later.
                let normal = [(); 3].map(|()| words.next().and_then(parse_number).unwrap_or(0.0) as f32);
                let bytes = normal.map(f32::to_le_bytes);
                self.normals.write_all(bytes.as_flattened()).map_err(Problem::Spool)
            }
            Some(b"f") => self.face(words),
            _ => Ok(()),
        }
    }

    /// What was read, with the normals where they are the points'.
    fn into_spool(self, path: &Path) -> Result<Spool, ReadError> {
        let count = self.spool.point_count();
        let is_cloud = self.spool.triangle_count() == 0 && count > 0;
        if is_cloud && self.normals.len() == count * NORMAL_BYTES {
            drop(self.corners);
            return self.spool.with_normals(self.normals, path);
        }
        Ok(self.spool)
    }

    fn face<'b>(&mut self, words: impl Iterator<Item = &'b [u8]>) -> Result<(), Problem> {
        let mut held = [None; 2];
        for word in words.take_while(|word| !word.starts_with(b"#")) {
            let corner = corner_place(word, self.corners.len())
                .and_then(|place| self.corners.get(place))
                .ok_or(Problem::Text("a face names a corner that is not there"))?;
            match held {
                [None, _] => held = [Some(corner), None],
                [first, None] => held = [first, Some(corner)],
                [Some(first), Some(second)] => {
                    self.spool.push_triangle([first, second, corner]).map_err(Problem::Spool)?;
                    held = [Some(first), Some(corner)];
                }
            }
        }
        Ok(())
    }
}

/// The place of a corner named as `7`, `-1`, `7/2`, `7//3` or `7/2/3`, where `count` corners came before.
pub(super) fn corner_place(word: &[u8], count: usize) -> Option<usize> {
    let digits = word.split(|byte| *byte == b'/').next()?;
    let number: i64 = std::str::from_utf8(digits).ok()?.parse().ok()?;
    match number {
        1.. => usize::try_from(number - 1).ok(),
        0 => None,
        _ => count.checked_sub(usize::try_from(number.checked_neg()?).ok()?),
    }
}
