//! LAS and LAZ: points with scale and offset.
//!
//! In: a source. Out: a [`ScanSource`]. Units: as told by the caller.
//! Shape: plain records stay in the file; packed ones are unpacked once.
//! Method: the crate `las` reads heads and decodes (ASPRS LAS 1.0 to 1.4), a megabyte of records at a time; `laz_points` unpacks.
//! Does not read classes, colours or coordinate systems.

use std::io::{BufReader, ErrorKind, Seek};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;

use las::{Header, PointData, PointDataBuilder};

use super::byte_source::{ByteSource, SharedReader};
use super::fixed_rows::{FixedRows, RowLayout, Steps};
use super::laz_guard;
use super::laz_points::PackedPoints;
use super::read_error::ReadError;
use super::scalar::Scalar;
use super::spool::{Spool, failure, most_points, spool_error};
use crate::scan::{PointSink, ScanFailure, ScanSource, SourceFacts};

const FORMAT: &str = "LAS";
/// Bytes of records that are decoded at once.
const BYTES_AT_ONCE: u64 = 1 << 20;
/// Bytes of the file that are read ahead.
const BUFFER_BYTES: usize = 256 << 10;

/// Reads a LAS or LAZ file.
pub(super) fn open(source: ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let source = Arc::new(source);
    // The decoder is another project's: should it give up on a broken file, that is an error of the file.
    let decoded = catch_unwind(AssertUnwindSafe(|| decode(&source, unit_mm)));
    match decoded.unwrap_or_else(|_| Err(broken(&source, "its decoder gave up")))? {
        Points::Plain(rows) => {
            let facts = SourceFacts {
                format: FORMAT.to_owned(),
                point_count: Some(rows.count),
                triangle_count: None,
                has_normals: false,
                byte_count: Some(source.len()),
            };
            Ok(Box::new(PlainLas { source, facts, rows }))
        }
        Points::Unpacked(spool) => {
            Ok(Box::new(spool.finish(source.path(), FORMAT.to_owned(), source.len(), unit_mm)?))
        }
    }
}

pub(super) fn broken(source: &ByteSource, problem: impl Into<String>) -> ReadError {
    ReadError::malformed(source.path(), FORMAT, "its content", problem)
}

/// What is read part by part later on.
enum Points {
    Plain(FixedRows),
    Unpacked(Spool),
}

/// Plain records, which stay in their file.
#[derive(Debug)]
struct PlainLas {
    source: Arc<ByteSource>,
    facts: SourceFacts,
    rows: FixedRows,
}

impl ScanSource for PlainLas {
    fn facts(&self) -> &SourceFacts {
        &self.facts
    }

    fn part_count(&self) -> usize {
        self.rows.part_count()
    }

    fn read_points(&self, part: usize, sink: &mut dyn PointSink) -> Result<(), ScanFailure> {
        self.rows.read_points(&self.source, part, sink).map_err(|error| failure(&error))
    }
}

fn decode(source: &Arc<ByteSource>, unit_mm: f64) -> Result<Points, ReadError> {
    let fault = |error: las::Error| broken(source, error.to_string());
    let points_end = laz_guard::end_of_points(source)?;
    let input = laz_guard::input(source)?;
    let limit = input.limit();
    let mut input = BufReader::with_capacity(BUFFER_BYTES, input);
    let header = Header::new(&mut input).map_err(fault)?;
    if !header.point_format().is_compressed {
        let start = input.stream_position().map_err(|error| ReadError::read(source.path(), error))?;
        return plain_rows(source, &header, start, unit_mm).map(Points::Plain);
    }
    let promised = header.number_of_points();
    // Packed fields that never change take no bytes, so points could be decoded from nothing for ever.
    if promised > most_points(source.len()) {
        return Err(broken(source, format!("{promised} points are promised, far more than it can hold")));
    }
    let mut packed = PackedPoints::new(input, &header).map_err(fault)?;
    // What lies behind has been read by now, and has not been looked at as points.
    limit.store(points_end, Ordering::Relaxed);
    let mut records = PointDataBuilder::new().for_header(&header).build();
    let at_once = (BYTES_AT_ONCE / records.record_len().max(1) as u64).max(1);
    let mut spool = Spool::new(false);
    let mut found = 0;
    while found < promised {
        let (got, outcome) = fill(&mut records, &mut packed, at_once.min(promised - found));
        found += got;
        match outcome {
            Ok(()) => {}
            Err(error) if error.kind() == ErrorKind::UnexpectedEof => {
                return Err(cut_off(source, promised, found));
            }
            Err(error) => return Err(broken(source, error.to_string())),
        }
        for ((x, y), z) in records.x().zip(records.y()).zip(records.z()) {
            spool.push_point([x, y, z], [0.0; 3]).map_err(|error| spool_error(source.path(), error))?;
        }
    }
    Ok(Points::Unpacked(spool))
}

/// Where plain records lie: each begins with x, y, z as whole numbers of steps (LAS 1.4 R15, table 7).
fn plain_rows(
    source: &ByteSource,
    header: &Header,
    start: u64,
    unit_mm: f64,
) -> Result<FixedRows, ReadError> {
    let stride = usize::from(header.point_format().len());
    let layout =
        RowLayout { stride, is_big_endian: false, position: RowLayout::triple(0, Scalar::I32), normal: None };
    let promised = header.number_of_points();
    let found = source.len().saturating_sub(start) / stride.max(1) as u64;
    if promised == 0 {
        return Err(ReadError::NoPoints { path: source.path().to_owned() });
    }
    if found < promised {
        return Err(cut_off(source, promised, found));
    }
    let transforms = header.transforms();
    let steps = [transforms.x, transforms.y, transforms.z]
        .map(|transform| Steps { length: transform.scale, origin: transform.offset });
    Ok(FixedRows { start, count: promised, layout, steps: Some(steps), unit_mm })
}

fn cut_off(source: &ByteSource, promised: u64, found: u64) -> ReadError {
    ReadError::CutOff { path: source.path().to_owned(), items: "points", promised, found }
}

/// Fills as many of the records as there are. Out: how many those are, and what came instead of the next.
fn fill(
    records: &mut PointData,
    packed: &mut PackedPoints<SharedReader>,
    count: u64,
) -> (u64, std::io::Result<()>) {
    let record_bytes = records.record_len().max(1);
    let mut got = 0;
    for record in records.resize_for(count as usize).chunks_exact_mut(record_bytes) {
        let outcome = packed.next(record);
        if outcome.is_err() {
            return (got, outcome);
        }
        got += 1;
    }
    (got, Ok(()))
}
