//! The packed rows of PCD: one LZF block, column after column.
//!
//! In: a source and its head. Out: a decoded scan. Units: none.
//! Method: LZF as described in the head of liblzf's sources: a control byte under 32 copies that many literals plus one; else
//! its upper three bits give a length and the rest, with the next byte, how far back to copy from.
//! Does not trust sizes: packed bytes must be there, and unpacked ones must fit the head.

use super::byte_source::ByteSource;
use super::fixed_rows::Field;
use super::read_error::ReadError;
use super::read_pcd::{FORMAT, PcdHeader, bad};
use super::scalar::Scalar;
use super::spool::{Spool, spool_error};
use crate::scan::ScanSource;

/// LZF reaches at most this many times: three bytes give up to 264.
const MOST_UNPACKED_TIMES: u64 = 88;
/// Most that is unpacked into memory for any file, bytes, beyond twice its size.
const MOST_UNPACKED_BYTES: u64 = 32 << 20;

/// Reads the packed rows.
pub(super) fn open(
    source: &ByteSource,
    header: &PcdHeader,
    format: String,
    unit_mm: f64,
) -> Result<Box<dyn ScanSource>, ReadError> {
    let path = source.path();
    let read = |error| ReadError::read(path, error);
    let sizes = source.bytes_at(header.payload_offset, 8).map_err(read)?;
    let size =
        |at: usize| sizes.get(at..).and_then(|rest| Scalar::U32.decode(rest, false)).map(|size| size as u64);
    let (Some(packed_len), Some(unpacked_len)) = (size(0), size(4)) else {
        return Err(bad(path, "the sizes of its packed rows are missing; it is cut off"));
    };
    let start = header.payload_offset + 8;
    let there = source.len().saturating_sub(start);
    if packed_len > there {
        return Err(ReadError::CutOff {
            path: path.to_owned(),
            items: "packed bytes",
            promised: packed_len,
            found: there,
        });
    }
    let wanted = header.points.checked_mul(header.stride() as u64);
    if wanted != Some(unpacked_len) || unpacked_len > packed_len.saturating_mul(MOST_UNPACKED_TIMES) {
        return Err(bad(
            path,
            format!("its packed rows say {unpacked_len} bytes, which does not fit its points"),
        ));
    }
    if unpacked_len > source.len().saturating_add(MOST_UNPACKED_BYTES) {
        return Err(bad(path, "its packed rows are too large to unpack here; save it as binary"));
    }
    let packed = source.bytes_at(start, packed_len as usize).map_err(read)?;
    let unpacked = unpack(&packed, unpacked_len as usize)
        .ok_or_else(|| ReadError::malformed(path, FORMAT, "its packed rows", "they do not unpack"))?;
    drop(packed);
    let position = header.places(["x", "y", "z"]).ok_or_else(|| bad(path, "it has no fields x, y, z"))?;
    let normal = header.places(["normal_x", "normal_y", "normal_z"]);
    let mut spool = Spool::new(normal.is_some());
    let number = |(field, _): (Field, usize), row: u64, stride: usize| {
        let at = field.offset as u64 * header.points + row * stride as u64;
        unpacked.get(at as usize..).and_then(|bytes| field.scalar.decode(bytes, false)).unwrap_or(f64::NAN)
    };
    let width = |(field, _): (Field, usize)| {
        let named = header.fields.iter().scan(0, |offset, known| {
            let at = *offset;
            *offset += known.scalar.size() * known.count;
            Some((at, known))
        });
        named
            .filter(|(at, _)| *at == field.offset)
            .map(|(_, known)| known.scalar.size() * known.count)
            .sum::<usize>()
    };
    let (position_width, normal_width) = (position.map(width), normal.map(|normal| normal.map(width)));
    for row in 0..header.points {
        let point = std::array::from_fn(|axis| {
            position
                .get(axis)
                .zip(position_width.get(axis))
                .map_or(f64::NAN, |(place, width)| number(*place, row, *width))
        });
        let normal = std::array::from_fn(|axis| {
            let place = normal.as_ref().and_then(|normal| normal.get(axis));
            let width = normal_width.as_ref().and_then(|width| width.get(axis));
            place.zip(width).map_or(0.0, |(place, width)| number(*place, row, *width) as f32)
        });
        spool.push_point(point, normal).map_err(|error| spool_error(path, error))?;
    }
    Ok(Box::new(spool.finish(path, format, source.len(), unit_mm)?))
}

/// Unpacks an LZF block to exactly `len` bytes.
fn unpack(packed: &[u8], len: usize) -> Option<Vec<u8>> {
    let mut out: Vec<u8> = Vec::with_capacity(len);
    let mut bytes = packed.iter().copied();
    while let Some(control) = bytes.next() {
        let control = usize::from(control);
        if control < 32 {
            for _ in 0..=control {
                out.push(bytes.next()?);
            }
        } else {
            let mut count = control >> 5;
            if count == 7 {
                count += usize::from(bytes.next()?);
            }
            let back = ((control & 31) << 8) + usize::from(bytes.next()?) + 1;
            let from = out.len().checked_sub(back)?;
            for place in from..from + count + 2 {
                out.push(*out.get(place)?);
            }
        }
        if out.len() > len {
            return None;
        }
    }
    (out.len() == len).then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lzf_copies_literals_and_earlier_bytes() {
        // Three literals, then a run of 5 from 3 back: "abc" + "abcab".
        assert_eq!(unpack(&[2, b'a', b'b', b'c', 3 << 5, 2], 8).unwrap(), b"abcabcab");
        // A long run: 7 + 4 + 2 = 13 bytes from 1 back.
        assert_eq!(unpack(&[0, b'x', 7 << 5, 4, 0], 14).unwrap(), [b'x'; 14]);
        assert_eq!(unpack(&[1 << 5, 0], 3), None);
        assert_eq!(unpack(&[5, 1], 6), None);
    }
}
