//! LAS and LAZ: points with scale and offset.
//!
//! In: a source. Out: a decoded [`ScanSource`]. Units: as told by the caller.
//! Method: the crate `las` decodes (ASPRS LAS 1.0 to 1.4), a megabyte of records at a time; `laz_points` unpacks.
//! Does not read classes, colours or coordinate systems.

use std::io::{BufReader, ErrorKind, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;

use las::{Header, PointData, PointDataBuilder};

use super::byte_source::{ByteSource, SharedReader};
use super::laz_guard;
use super::laz_points::PackedPoints;
use super::read_error::ReadError;
use super::spool::{Spool, most_points, spool_error};
use crate::scan::ScanSource;

const FORMAT: &str = "LAS";
/// Bytes of records that are decoded at once.
const BYTES_AT_ONCE: u64 = 1 << 20;
/// Bytes of the file that are read ahead.
const BUFFER_BYTES: usize = 256 << 10;

/// Reads a LAS or LAZ file.
pub(super) fn open(source: ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let source = Arc::new(source);
    // The decoder is another project's: should it give up on a broken file, that is an error of the file.
    let decoded = catch_unwind(AssertUnwindSafe(|| decode(&source)));
    let spool = decoded.unwrap_or_else(|_| Err(broken(&source, "its decoder gave up")))?;
    Ok(Box::new(spool.finish(source.path(), FORMAT.to_owned(), source.len(), unit_mm)?))
}

pub(super) fn broken(source: &ByteSource, problem: impl Into<String>) -> ReadError {
    ReadError::malformed(source.path(), FORMAT, "its content", problem)
}

/// Where records come from.
enum Records {
    Plain(BufReader<SharedReader>),
    Packed(PackedPoints<SharedReader>),
}

impl Records {
    /// Fills as many of the records as there are. Out: how many those are, and what came instead of the next.
    fn fill(&mut self, records: &mut PointData, count: u64) -> (u64, std::io::Result<()>) {
        let record_bytes = records.record_len().max(1);
        let mut got = 0;
        for record in records.resize_for(count as usize).chunks_exact_mut(record_bytes) {
            let outcome = match self {
                Self::Plain(input) => input.read_exact(record),
                Self::Packed(points) => points.next(record),
            };
            if outcome.is_err() {
                return (got, outcome);
            }
            got += 1;
        }
        (got, Ok(()))
    }
}

fn decode(source: &Arc<ByteSource>) -> Result<Spool, ReadError> {
    let fault = |error: las::Error| broken(source, error.to_string());
    let points_end = laz_guard::end_of_points(source)?;
    let input = laz_guard::input(source)?;
    let limit = input.limit();
    let mut input = BufReader::with_capacity(BUFFER_BYTES, input);
    let header = Header::new(&mut input).map_err(fault)?;
    let promised = header.number_of_points();
    // Packed fields that never change take no bytes, so points could be decoded from nothing for ever.
    if promised > most_points(source.len()) {
        return Err(broken(source, format!("{promised} points are promised, far more than it can hold")));
    }
    let mut from = if header.point_format().is_compressed {
        Records::Packed(PackedPoints::new(input, &header).map_err(fault)?)
    } else {
        Records::Plain(input)
    };
    // What lies behind has been read by now, and has not been looked at as points.
    limit.store(points_end, Ordering::Relaxed);
    let mut records = PointDataBuilder::new().for_header(&header).build();
    let at_once = (BYTES_AT_ONCE / records.record_len().max(1) as u64).max(1);
    let mut spool = Spool::new(false);
    let mut found = 0;
    while found < promised {
        let (got, outcome) = from.fill(&mut records, at_once.min(promised - found));
        found += got;
        match outcome {
            Ok(()) => {}
            Err(error) if error.kind() == ErrorKind::UnexpectedEof => {
                return Err(ReadError::CutOff {
                    path: source.path().to_owned(),
                    items: "points",
                    promised,
                    found,
                });
            }
            Err(error) => return Err(broken(source, error.to_string())),
        }
        for ((x, y), z) in records.x().zip(records.y()).zip(records.z()) {
            spool.push_point([x, y, z], [0.0; 3]).map_err(|error| spool_error(source.path(), error))?;
        }
    }
    Ok(spool)
}
