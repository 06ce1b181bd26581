//! Looks at how a packed LAS file says it is packed, before its decoder makes room for what it says.
//!
//! In: a source. Out: what its decoder may read of it, and where its packed points end. Units: bytes.
//! Method: the decoder makes room for every chunk of the table, for every field of a point and, in the formats of 1.4, for
//! every layer of a chunk, as large as the file says. So the fields must make a point, there cannot be more chunks than fit, and
//! the layers of all chunks, one after the other, must lie inside the file. Sources: LAS 1.4 R15; the packing as the
//! crate `laz` reads it. Does not unpack.

use std::io::{BufReader, Seek};
use std::sync::Arc;

use super::byte_source::{ByteSource, SharedReader};
use super::read_error::ReadError;
use super::read_las::broken;

/// A packed chunk begins with one whole point, which has at least 20 bytes (LAS 1.4 R15, point format 0).
const LEAST_CHUNK_BYTES: u64 = 20;
/// Longest packed point, bytes: the decoder keeps some kilobytes for each of its extra bytes.
const LONGEST_POINT: u64 = 2048;
/// Where the list of fields begins in the record about packing, and the bytes of one of them: kind, size, version.
const FIELDS_AT: usize = 34;
const FIELD_BYTES: usize = 6;
/// The kinds of packing, in the first two bytes of that record: none, and those that come in chunks.
const NOT_PACKED: u64 = 0;
const IN_CHUNKS: std::ops::RangeInclusive<u64> = 2..=3;
/// From this version on fields are packed in layers.
const LAYERED_FROM: u64 = 3;

/// Places in the public header (LAS 1.4 R15, table 3): version; count of records before the points; place and count of the extended
/// records behind them, which 1.4 brought.
const VERSION_AT: u64 = 24;
const RECORD_COUNT_AT: u64 = 100;
const EXTENDED_AT: std::ops::Range<u64> = 235..247;
const EXTENDED_SINCE: [u8; 2] = [1, 4];
/// Most records before the points: each costs some 200 bytes of memory.
const MOST_RECORDS: u32 = 100_000;

/// The file as its decoder may see it: without extended records, for each of which it makes room for as many bytes as it says.
pub(super) fn input(source: &Arc<ByteSource>) -> Result<SharedReader, ReadError> {
    if number_at(source, RECORD_COUNT_AT)? > MOST_RECORDS {
        return Err(broken(source, "it has too many records before its points"));
    }
    let version = source.bytes_at(VERSION_AT, 2).map_err(|error| ReadError::read(source.path(), error))?;
    let hidden = if version.as_slice() >= EXTENDED_SINCE.as_slice() { EXTENDED_AT } else { 0..0 };
    Ok(SharedReader::new(Arc::clone(source), hidden))
}

/// A field of a packed point.
struct Field {
    kind: u64,
    size: u64,
    version: u64,
}

impl Field {
    /// Its bytes in a point: fixed for all kinds but extra bytes.
    const fn bytes(&self) -> u64 {
        match self.kind {
            6 => 20,
            7 | 12 => 8,
            8 | 11 => 6,
            9 | 13 => 29,
            10 => 30,
            _ => self.size,
        }
    }

    /// Layers of a chunk that belong to it; one for each extra byte.
    const fn layers(&self) -> u64 {
        match self.kind {
            10 => 9,
            12 => 2,
            14 => self.size,
            _ => 1,
        }
    }
}

/// Where the points end of a packed file that can be believed; for others the end of the file.
pub(super) fn end_of_points(source: &Arc<ByteSource>) -> Result<u64, ReadError> {
    let fault = |error: String| broken(source, error);
    let mut input = BufReader::new(input(source)?);
    let header = las::Header::new(&mut input).map_err(|error| fault(error.to_string()))?;
    if !header.point_format().is_compressed {
        return Ok(source.len());
    }
    let data_at = input.stream_position().map_err(|error| ReadError::read(source.path(), error))?;
    let packing = packing_of(&header);
    let fields = fields_of(packing);
    let point_bytes: u64 = fields.iter().map(Field::bytes).sum();
    // The decoder makes room for points of the stated sizes, and unpacks by kind.
    if packing.get(..2).is_none_or(|kind| number(kind) == NOT_PACKED) {
        return Err(fault("it says both that its points are packed and that they are not".to_owned()));
    }
    if fields.is_empty()
        || fields.iter().any(|field| field.size != field.bytes())
        || point_bytes != u64::from(header.point_format().len())
        || point_bytes > LONGEST_POINT
    {
        return Err(fault("its points are packed in fields that do not make a point".to_owned()));
    }
    let is_in_chunks = is_in_chunks(packing);
    let first_chunk_at = if is_in_chunks { data_at.saturating_add(8) } else { data_at };
    let table_at = if is_in_chunks { table_place(source, data_at)? } else { None };
    if let Some(table_at) = table_at {
        let chunk_count = u64::from(number_at(source, table_at.saturating_add(4))?);
        if chunk_count > source.len() / LEAST_CHUNK_BYTES {
            return Err(fault(format!("{chunk_count} chunks are promised, more than the file can hold")));
        }
    }
    let end = table_at.filter(|at| *at >= first_chunk_at).unwrap_or(u64::MAX).min(source.len());
    if fields.iter().any(|field| field.version >= LAYERED_FROM) {
        let layer_count = fields.iter().map(Field::layers).sum();
        check_layers(source, point_bytes, layer_count, first_chunk_at, end)?;
    }
    Ok(end)
}

/// The record about packing, empty where there is none.
pub(super) fn packing_of(header: &las::Header) -> &[u8] {
    let record = header.vlrs().iter().find(|record| las::laz::is_laszip_vlr(record));
    record.map_or(&[], |record| record.data.as_slice())
}

/// Whether points come in chunks, after the place of the table of chunks, by the record about packing.
pub(super) fn is_in_chunks(packing: &[u8]) -> bool {
    packing.get(..2).is_some_and(|kind| IN_CHUNKS.contains(&number(kind)))
}

/// The fields of the record about packing, as many as it has room for.
fn fields_of(record: &[u8]) -> Vec<Field> {
    let count = record.get(FIELDS_AT - 2..FIELDS_AT).map_or(0, |bytes| number(bytes) as usize);
    let list = record.get(FIELDS_AT..).unwrap_or_default().chunks_exact(FIELD_BYTES).take(count);
    list.map(|bytes| {
        let [kind, size, version] = [0, 2, 4].map(|at| number(bytes.get(at..at + 2).unwrap_or_default()));
        Field { kind, size, version }
    })
    .collect()
}

/// Where the table of chunks lies: as the first eight bytes of the points say, or, where the writer could not go back, the last
/// eight of the file.
fn table_place(source: &ByteSource, data_at: u64) -> Result<Option<u64>, ReadError> {
    for at in [data_at, source.len().saturating_sub(8)] {
        let low = u64::from(number_at(source, at)?);
        let place = low | u64::from(number_at(source, at + 4)?) << 32;
        // Negative ones, as the format counts, are none either.
        if i64::try_from(place).is_ok_and(|_| place > data_at) {
            return Ok(Some(place));
        }
    }
    Ok(None)
}

/// Walks the chunks, one after the other: one whole point, the number of points, each layer's size, the layers.
fn check_layers(
    source: &ByteSource,
    point_bytes: u64,
    layer_count: u64,
    first_chunk_at: u64,
    end: u64,
) -> Result<(), ReadError> {
    let mut at = first_chunk_at;
    loop {
        let sizes_at = at.saturating_add(point_bytes + 4);
        let layers_at = sizes_at.saturating_add(4 * layer_count);
        // What is too short for the sizes ends the decoding before room is made.
        if layers_at > end {
            return Ok(());
        }
        let sizes = source
            .bytes_at(sizes_at, 4 * layer_count as usize)
            .map_err(|error| ReadError::read(source.path(), error))?;
        at = sizes.chunks_exact(4).map(number).fold(layers_at, u64::saturating_add);
        if at > end {
            return Err(broken(source, "a chunk of points promises more bytes than there are"));
        }
    }
}

/// Bytes as a number, little endian.
fn number(bytes: &[u8]) -> u64 {
    bytes.iter().rev().fold(0, |number, byte| number << 8 | u64::from(*byte))
}

/// Four bytes, little endian.
fn number_at(source: &ByteSource, at: u64) -> Result<u32, ReadError> {
    let bytes = source.bytes_at(at, 4).map_err(|error| ReadError::read(source.path(), error))?;
    match *bytes.as_slice() {
        [a, b, c, d] => Ok(u32::from_le_bytes([a, b, c, d])),
        _ => Err(broken(source, "it ends before what it promises")),
    }
}
