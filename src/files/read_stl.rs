//! STL: triangles in binary or in text.
//!
//! In: a source. Out: a [`ScanSource`] mesh. Units: STL stores none. Shape: binary triangles stay in the file (80-byte label,
//! 32-bit count, 50 bytes each: normal, three corners, attribute); text is decoded once into a temporary file.
//! A binary file whose label begins with "solid" is told by its size. Facet normals are not used: corners say more.
//! Does not join equal corners.

use std::io::{BufRead, BufReader, Read};

use nalgebra::Point3;

use super::block_buffer::BlockBuffer;
use super::byte_source::ByteSource;
use super::fixed_rows::{FixedRows, RowLayout};
use super::number_table::parse_number;
use super::read_error::{ReadError, excerpt};
use super::scalar::Scalar;
use super::spool::{Spool, failure, spool_error};
use crate::scan::{PointSink, ScanFailure, ScanSource, SourceFacts, Triangle, TriangleSink};

const FORMAT: &str = "STL";
/// Label and count.
const HEAD_BYTES: u64 = 84;
const TRIANGLE_BYTES: usize = 50;
/// Where the corners of a triangle begin: behind its normal.
const CORNERS_AT: usize = 12;
const CORNER_BYTES: usize = 12;
/// Longest line that is taken for one, bytes.
const LONGEST_LINE: u64 = 64 << 10;

#[derive(Debug)]
struct BinaryStl {
    source: ByteSource,
    facts: SourceFacts,
    rows: FixedRows,
}

/// Opens a binary STL file.
pub(super) fn open_binary(source: ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let count = source.bytes_at(80, 4).map_err(|error| ReadError::read(source.path(), error))?;
    let promised = Scalar::U32.decode(&count, false).unwrap_or(0.0) as u64;
    let found = source.len().saturating_sub(HEAD_BYTES) / TRIANGLE_BYTES as u64;
    if found < promised {
        return Err(ReadError::CutOff {
            path: source.path().to_owned(),
            items: "triangles",
            promised,
            found,
        });
    }
    if promised == 0 {
        return Err(ReadError::NoPoints { path: source.path().to_owned() });
    }
    let position = RowLayout::triple(0, Scalar::F32);
    let layout = RowLayout { stride: TRIANGLE_BYTES, is_big_endian: false, position, normal: None };
    let facts = SourceFacts {
        format: "STL, binary".to_owned(),
        point_count: Some(promised * 3),
        triangle_count: Some(promised),
        has_normals: false,
        byte_count: Some(source.len()),
    };
    let rows = FixedRows { start: HEAD_BYTES, count: promised, layout, steps: None, unit_mm };
    Ok(Box::new(BinaryStl { source, facts, rows }))
}

impl BinaryStl {
    fn for_each_triangle(
        &self,
        part: usize,
        mut each: impl FnMut(&[[[f64; 3]; 3]], u64),
    ) -> Result<(), ScanFailure> {
        let mut triangles = Vec::new();
        let run = self.rows.for_each_run(&self.source, part, |bytes, first| {
            triangles.clear();
            triangles.extend(bytes.chunks_exact(TRIANGLE_BYTES).map(|row| {
                std::array::from_fn(|corner| {
                    let bytes = row.get(CORNERS_AT + corner * CORNER_BYTES..).unwrap_or_default();
                    self.rows.layout.position_of(bytes).map(|value| value * self.rows.unit_mm)
                })
            }));
            each(&triangles, first);
        });
        run.map_err(|error| failure(&error))
    }
}

impl ScanSource for BinaryStl {
    fn facts(&self) -> &SourceFacts {
        &self.facts
    }

    fn part_count(&self) -> usize {
        self.rows.part_count()
    }

    fn read_points(&self, part: usize, sink: &mut dyn PointSink) -> Result<(), ScanFailure> {
        self.for_each_triangle(part, |triangles, first| {
            let mut blocks = BlockBuffer::new(sink, false, first * 3);
            triangles.iter().flatten().for_each(|corner| blocks.push(*corner, [0.0; 3]));
            blocks.flush();
        })
    }

    fn triangle_part_count(&self) -> usize {
        self.rows.part_count()
    }

    fn read_triangles(&self, part: usize, sink: &mut dyn TriangleSink) -> Result<(), ScanFailure> {
        self.for_each_triangle(part, |triangles, _| {
            let triangles: Vec<Triangle> =
                triangles.iter().map(|corners| corners.map(Point3::from)).collect();
            sink.take(&triangles);
        })
    }
}

/// Reads an STL file in text.
pub(super) fn open_text(source: &ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let path = source.path();
    let mut reader = BufReader::with_capacity(256 << 10, source.reader(0));
    let mut spool = Spool::new(false);
    let (mut line, mut number) = (Vec::new(), 0_u64);
    let mut corners = Vec::with_capacity(3);
    let mut is_closed = false;
    loop {
        line.clear();
        let count = reader.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut line);
        if count.map_err(|error| ReadError::read(path, error))? == 0 {
            break;
        }
        number += 1;
        let bad = |problem: &str| {
            let problem = format!("{problem}: {}", excerpt(line.trim_ascii()));
            ReadError::malformed(path, FORMAT, format!("line {number}"), problem)
        };
        let mut words = line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty());
        let word = words.next().unwrap_or_default().to_ascii_lowercase();
        match word.as_slice() {
            b"vertex" => {
                let numbers: Option<Vec<f64>> = words.map(parse_number).collect();
                let corner = numbers.and_then(|numbers| <[f64; 3]>::try_from(numbers).ok());
                let corner = corner.ok_or_else(|| bad("a corner is not three numbers"))?;
                corners.push(corner);
                spool.push_point(corner, [0.0; 3]).map_err(|error| spool_error(path, error))?;
                if corners.len() > 3 {
                    return Err(bad("a facet has more than three corners"));
                }
            }
            b"endloop" | b"endfacet" if !corners.is_empty() => {
                let triangle = <[[f64; 3]; 3]>::try_from(corners.as_slice())
                    .map_err(|_| bad("a facet has fewer than three corners"))?;
                spool.push_triangle(triangle).map_err(|error| spool_error(path, error))?;
                corners.clear();
            }
            b"endsolid" => is_closed = true,
            b"solid" | b"facet" | b"outer" | b"endloop" | b"endfacet" | b"" => is_closed = false,
            _ if is_closed || number == 1 => {}
            _ => return Err(bad("this is no line of an STL text")),
        }
    }
    if !is_closed && !corners.is_empty() {
        let promised = spool.triangle_count() + 1;
        let found = promised - 1;
        return Err(ReadError::CutOff { path: path.to_owned(), items: "triangles", promised, found });
    }
    Ok(Box::new(spool.finish(path, "STL, text".to_owned(), source.len(), unit_mm)?))
}
