//! LAS and LAZ: points with scale and offset.
//!
//! In: a source. Out: a decoded [`ScanSource`]. Units: as told by the caller.
//! Method: the crate `las` decodes (ASPRS LAS 1.0 to 1.4; LAZ by the crate `laz`), a megabyte of records at a time.
//! Does not read classes, colours or coordinate systems.

use std::io::BufReader;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;

use las::{PointDataBuilder, Reader};

use super::byte_source::ByteSource;
use super::laz_guard;
use super::read_error::ReadError;
use super::spool::{Spool, most_points, spool_error};
use crate::scan::ScanSource;

const FORMAT: &str = "LAS";
/// Bytes of records that are decoded at once.
const BYTES_AT_ONCE: u64 = 1 << 20;

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

fn decode(source: &Arc<ByteSource>) -> Result<Spool, ReadError> {
    let fault = |error: las::Error| broken(source, error.to_string());
    let points_end = laz_guard::end_of_points(source)?;
    let input = laz_guard::input(source)?;
    let limit = input.limit();
    let mut reader = Reader::new(BufReader::with_capacity(256 << 10, input)).map_err(fault)?;
    // What lies behind has been read by now, and has not been looked at as points.
    limit.store(points_end, Ordering::Relaxed);
    let promised = reader.header().number_of_points();
    // Packed fields that never change take no bytes, so points could be decoded from nothing for ever.
    if promised > most_points(source.len()) {
        return Err(broken(source, format!("{promised} points are promised, far more than it can hold")));
    }
    let mut records = PointDataBuilder::new().for_header(reader.header()).build();
    let at_once = (BYTES_AT_ONCE / records.record_len().max(1) as u64).max(1);
    let mut spool = Spool::new(false);
    let mut found = 0;
    while found < promised {
        let wanted = at_once.min(promised - found);
        let got = match reader.fill_points(wanted, &mut records) {
            Ok(got) if got > 0 => got,
            Ok(_) => return Err(cut_off(source, promised, found)),
            Err(las::Error::Io(error)) if error.kind() == std::io::ErrorKind::UnexpectedEof => {
                return Err(cut_off(source, promised, found));
            }
            Err(error) => return Err(fault(error)),
        };
        for ((x, y), z) in records.x().zip(records.y()).zip(records.z()) {
            spool.push_point([x, y, z], [0.0; 3]).map_err(|error| spool_error(source.path(), error))?;
        }
        found += got;
    }
    Ok(spool)
}

fn cut_off(source: &ByteSource, promised: u64, found: u64) -> ReadError {
    ReadError::CutOff { path: source.path().to_owned(), items: "points", promised, found }
}
