//! Tells a scan's format from its content; names and endings do not count.
//!
//! In: the first bytes and the length. Out: a format, or none. Method: signatures first, then text by its words.
//! Does not read further than the first 64 kB.

use super::number_table::starts_with_number;
use super::text_rows::rows_of;

/// Bytes that are looked at.
pub(super) const LOOKED_AT: usize = 64 << 10;

/// A scan format that is known here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ScanFormat {
    Ply,
    StlBinary,
    StlText,
    Obj,
    Pcd,
    E57,
    Las,
    Gltf,
    TextCloud,
}

/// Tells the format of a file of `len` bytes from its first ones.
pub(super) fn scan_format(head: &[u8], len: u64) -> Option<ScanFormat> {
    let text = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(head).trim_ascii_start();
    if text.strip_prefix(b"ply").is_some_and(|rest| rest.first().is_none_or(u8::is_ascii_whitespace)) {
        return Some(ScanFormat::Ply);
    }
    if head.starts_with(b"ASTM-E57") {
        return Some(ScanFormat::E57);
    }
    if head.starts_with(b"LASF") {
        return Some(ScanFormat::Las);
    }
    if head.starts_with(b"glTF") || text.starts_with(b"{") {
        return Some(ScanFormat::Gltf);
    }
    if text.starts_with(b"# .PCD") || has_line(text, b"FIELDS ") && has_line(text, b"DATA ") {
        return Some(ScanFormat::Pcd);
    }
    if stl_triangles(head).is_some_and(|count| 84 + 50 * u64::from(count) == len) {
        return Some(ScanFormat::StlBinary);
    }
    if is_text(head) { text_format(text) } else { stl_by_shape(head, len) }
}

/// True where one of the first lines begins with a word: a head in text before binary rows.
fn has_line(text: &[u8], word: &[u8]) -> bool {
    rows_of(text).take(20).any(|row| row.starts_with(word))
}

/// The count in the head of a binary STL file.
fn stl_triangles(head: &[u8]) -> Option<u32> {
    head.get(80..).and_then(|rest| rest.first_chunk::<4>()).map(|bytes| u32::from_le_bytes(*bytes))
}

/// A binary file with a sensible STL count: cut off, or with bytes behind its end.
fn stl_by_shape(head: &[u8], len: u64) -> Option<ScanFormat> {
    let count = u64::from(stl_triangles(head)?);
    let label = head.get(..80)?;
    let is_label = label.iter().all(|byte| *byte == 0 || (b' '..=b'~').contains(byte));
    (is_label && count > 0 && (len - 84) / 50 <= count).then_some(ScanFormat::StlBinary)
}

/// True where nothing looks like binary.
fn is_text(head: &[u8]) -> bool {
    !head.is_empty() && head.iter().all(|byte| *byte >= b' ' || byte.is_ascii_whitespace() || *byte == 0x1a)
}

fn text_format(text: &[u8]) -> Option<ScanFormat> {
    if text.get(..5).is_some_and(|word| word.eq_ignore_ascii_case(b"solid"))
        && rows_of(text).nth(1).is_none_or(|row| row.to_ascii_lowercase().starts_with(b"facet"))
    {
        return Some(ScanFormat::StlText);
    }
    let word = |row: &[u8]| row.split(u8::is_ascii_whitespace).next().map(<[u8]>::to_vec);
    let is_obj = rows_of(text)
        .filter_map(word)
        .any(|word| matches!(word.as_slice(), b"v" | b"vn" | b"vt" | b"mtllib" | b"usemtl"));
    if is_obj {
        return Some(ScanFormat::Obj);
    }
    rows_of(text).any(starts_with_number).then_some(ScanFormat::TextCloud)
}
