//! LAS and LAZ: points with scale and offset.
//!
//! In: a source. Out: a decoded [`ScanSource`]. Units: as told by the caller.
//! Method: the crate `las` decodes (ASPRS LAS 1.0 to 1.4; LAZ by the crate `laz`), a megabyte of records at a time.
//! Does not read classes, colours or coordinate systems.

use std::io::BufReader;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use las::{PointDataBuilder, Reader};

use super::byte_source::{ByteSource, SharedReader};
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

fn broken(source: &ByteSource, problem: impl Into<String>) -> ReadError {
    ReadError::malformed(source.path(), FORMAT, "its content", problem)
}

/// Offset of "offset to point data" and of the point format in the public header (LAS 1.4 R15, table 3).
const POINT_DATA_OFFSET_AT: u64 = 96;
const POINT_FORMAT_AT: u64 = 104;
/// Set in the point format of packed files.
const PACKED_BIT: u8 = 0x80;
const FORMAT_BITS: u8 = 0x3f;
const RECORD_LENGTH_AT: u64 = 105;
/// Point format, length of its record without extra bytes (LAS 1.4 R15), and its layers when packed; each extra byte adds one.
const LAYERED_FORMATS: [(u8, u64, u64); 5] =
    [(6, 30, 9), (7, 36, 10), (8, 38, 11), (9, 59, 10), (10, 67, 12)];
/// A packed chunk begins with one whole point, which has at least 20 bytes (LAS 1.4 R15, point format 0).
const LEAST_CHUNK_BYTES: u64 = 20;

/// The decoder of packed files makes room for as many chunks as the file says that it has; so look first.
fn check_chunk_count(source: &ByteSource) -> Result<(), ReadError> {
    let byte = source.bytes_at(POINT_FORMAT_AT, 1).map_err(|error| ReadError::read(source.path(), error))?;
    if byte.first().is_none_or(|format| format & PACKED_BIT == 0) {
        return Ok(());
    }
    let data_at = u64::from(number_at(source, POINT_DATA_OFFSET_AT)?);
    let place = |at| -> Result<u64, ReadError> {
        let low = u64::from(number_at(source, at)?);
        Ok(low | u64::from(number_at(source, at + 4)?) << 32)
    };
    let mut table_at = place(data_at)?;
    // Written in one go without going back, the place of the table stands at the end of the file.
    if table_at == u64::MAX {
        table_at = place(source.len().saturating_sub(8))?;
    }
    let chunk_count = u64::from(number_at(source, table_at.saturating_add(4))?);
    if chunk_count > source.len() / LEAST_CHUNK_BYTES {
        return Err(broken(
            source,
            format!("{chunk_count} chunks are promised, more than the file can hold"),
        ));
    }
    let format = byte.first().copied().unwrap_or(0) & FORMAT_BITS;
    check_layers(source, format, data_at + 8, table_at, chunk_count)
}

/// Packed points of the formats 6 to 10 come in layers, and the decoder makes room for as many bytes as a layer's size says;
/// so walk the chunks, one after the other, and see that their layers lie inside the file.
fn check_layers(
    source: &ByteSource,
    format: u8,
    first_chunk_at: u64,
    table_at: u64,
    chunk_count: u64,
) -> Result<(), ReadError> {
    let Some((_, least_bytes, layers)) = LAYERED_FORMATS.iter().find(|(known, _, _)| *known == format) else {
        return Ok(());
    };
    let record_bytes = u64::from(number_at(source, RECORD_LENGTH_AT)? & 0xffff);
    let end = table_at.min(source.len());
    let layer_count = layers + record_bytes.saturating_sub(*least_bytes);
    let mut at = first_chunk_at;
    for _ in 0..chunk_count {
        // One whole point, the number of points, then each layer's size.
        let sizes_at = at.saturating_add(record_bytes + 4);
        at = sizes_at.saturating_add(4 * layer_count);
        for layer in 0..layer_count {
            at = at.saturating_add(u64::from(number_at(source, sizes_at + 4 * layer)?));
        }
        if at > end {
            return Err(broken(source, "a chunk of points promises more bytes than there are"));
        }
    }
    Ok(())
}

/// Four bytes, little endian.
fn number_at(source: &ByteSource, at: u64) -> Result<u32, ReadError> {
    let bytes = source.bytes_at(at, 4).map_err(|error| ReadError::read(source.path(), error))?;
    match *bytes.as_slice() {
        [a, b, c, d] => Ok(u32::from_le_bytes([a, b, c, d])),
        _ => Err(broken(source, "it ends before its table of chunks")),
    }
}

fn decode(source: &Arc<ByteSource>) -> Result<Spool, ReadError> {
    check_chunk_count(source)?;
    let fault = |error: las::Error| broken(source, error.to_string());
    let input = BufReader::with_capacity(256 << 10, SharedReader::new(Arc::clone(source)));
    let mut reader = Reader::new(input).map_err(fault)?;
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
