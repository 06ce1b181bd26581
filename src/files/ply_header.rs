//! The head of a PLY file: which elements there are, and what a row of each holds.
//!
//! In: the first bytes of a file. Out: a [`PlyHeader`] with the payload's offset.
//! Method: the format is G. Turk's (The PLY Polygon File Format, 1994). Real files carry Latin-1 comments, leading blanks,
//! blank lines, CR ends, 64-bit integers and odd names, so the head is screened and normalised here first; `ply-rs` then
//! parses the normalised head. Duplicates are refused, because they shift every number behind them.
//! Does not trust counts: the readers compare them with the bytes that are there.

use std::path::Path;

use ply_rs::parser::Parser;
use ply_rs::ply::{DefaultElement, Encoding, PropertyType};

use super::read_error::{ReadError, excerpt};
use super::scalar::Scalar;

pub(super) const FORMAT: &str = "PLY";
/// Longest head that is taken for one, bytes.
pub(super) const LONGEST_HEAD: usize = 1 << 20;
/// Most properties of one element: scanners write about a dozen.
const MOST_PROPERTIES: usize = 4096;

/// One property of an element.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Property {
    /// In lower case.
    pub name: String,
    pub kind: PropertyKind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PropertyKind {
    Scalar(Scalar),
    List { count: Scalar, item: Scalar },
}

/// One element: so many rows of these properties.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Element {
    /// In lower case.
    pub name: String,
    pub count: u64,
    pub properties: Vec<Property>,
}

/// A head, understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PlyHeader {
    pub encoding: Encoding,
    pub elements: Vec<Element>,
    pub payload_offset: u64,
}

impl Element {
    /// Bytes of a row, if all rows are of one length.
    pub fn stride(&self) -> Option<usize> {
        self.properties.iter().try_fold(0, |sum, property| match property.kind {
            PropertyKind::Scalar(scalar) => Some(sum + scalar.size()),
            PropertyKind::List { .. } => None,
        })
    }

    /// The place of a property.
    pub fn place(&self, names: &[&str]) -> Option<usize> {
        self.properties.iter().position(|property| names.contains(&property.name.as_str()))
    }
}

/// Reads the head from the first bytes of a file.
pub(super) fn parse(path: &Path, bytes: &[u8]) -> Result<PlyHeader, ReadError> {
    let (lines, payload_offset) = split_head(bytes).ok_or_else(|| {
        bad(path, 0, "its head has no line `end_header`; the file may be cut off".to_owned())
    })?;
    let mut screened = Screened::default();
    for (index, line) in lines.iter().enumerate() {
        screened.take(line).map_err(|problem| bad(path, index, problem))?;
    }
    let elements = screened.elements;
    let parsed = Parser::<DefaultElement>::new()
        .read_ply_header(&mut screened.text.as_bytes())
        .map_err(|error| bad(path, 0, error.to_string().replace('\n', " ")))?;
    let agrees = parsed.elements.len() == elements.len()
        && parsed.elements.values().zip(&elements).all(|(parsed, element)| {
            parsed.properties.len() == element.properties.len()
                && parsed.properties.values().zip(&element.properties).all(|(parsed, property)| {
                    matches!(parsed.data_type, PropertyType::List(..))
                        == matches!(property.kind, PropertyKind::List { .. })
                })
        });
    if !agrees {
        return Err(bad(path, 0, "its elements contradict each other".to_owned()));
    }
    Ok(PlyHeader { encoding: parsed.encoding, elements, payload_offset })
}

fn bad(path: &Path, line: usize, problem: String) -> ReadError {
    ReadError::malformed(path, FORMAT, format!("line {} of its head", line + 1), problem)
}

/// The head's lines, trimmed, and the offset of the byte after `end_header`'s line end.
fn split_head(bytes: &[u8]) -> Option<(Vec<&[u8]>, u64)> {
    let first_end = bytes.iter().skip_while(|byte| byte.is_ascii_whitespace()).position(is_line_end)?;
    let blanks = bytes.iter().take_while(|byte| byte.is_ascii_whitespace()).count();
    let first_end = first_end + blanks;
    let is_cr_only = bytes.get(first_end) == Some(&b'\r') && bytes.get(first_end + 1) != Some(&b'\n');
    let end = if is_cr_only { b'\r' } else { b'\n' };
    let mut offset = 0;
    let mut lines = Vec::new();
    for line in bytes.split_inclusive(|byte| *byte == end) {
        offset += line.len() as u64;
        let trimmed = line.trim_ascii();
        lines.push(trimmed);
        if trimmed == b"end_header" {
            return line.ends_with(&[end]).then_some((lines, offset));
        }
    }
    None
}

const fn is_line_end(byte: &u8) -> bool {
    matches!(byte, b'\n' | b'\r')
}

/// What the lines said so far, and the same written so that a strict parser takes it.
#[derive(Default)]
struct Screened {
    text: String,
    has_magic: bool,
    elements: Vec<Element>,
}

impl Screened {
    fn take(&mut self, line: &[u8]) -> Result<(), String> {
        let lossy = String::from_utf8_lossy(line);
        let words: Vec<&str> = lossy.split_ascii_whitespace().collect();
        match words.as_slice() {
            [] | ["comment" | "obj_info", ..] => Ok(()),
            ["ply"] if !self.has_magic => {
                self.has_magic = true;
                self.text.push_str("ply\n");
                Ok(())
            }
            ["format", encoding, version] if version.starts_with('1') => {
                self.text.push_str(&format!("format {} 1.0\n", encoding.to_lowercase()));
                Ok(())
            }
            ["element", name, count] => self.element(name, count),
            ["property", "list", count, item, name @ ..] if !name.is_empty() => {
                self.property(&name.join(" "), Some(count), item)
            }
            ["property", scalar, name @ ..] if !name.is_empty() => {
                self.property(&name.join(" "), None, scalar)
            }
            ["end_header"] => {
                self.text.push_str("end_header\n");
                Ok(())
            }
            _ => Err(format!("{} is no line of a PLY head", excerpt(line))),
        }
    }

    fn element(&mut self, name: &str, count: &str) -> Result<(), String> {
        let name = name.to_lowercase();
        let count = count.parse().map_err(|_| format!("{} is no count", excerpt(count.as_bytes())))?;
        if self.elements.iter().any(|element| element.name == name) {
            return Err(format!("element {} comes twice", excerpt(name.as_bytes())));
        }
        // The count given to the parser does not matter: it only reads the layout.
        self.text.push_str(&format!("element e{} 0\n", self.elements.len()));
        self.elements.push(Element { name, count, properties: Vec::new() });
        Ok(())
    }

    fn property(&mut self, name: &str, list_count: Option<&str>, scalar: &str) -> Result<(), String> {
        let name = name.to_lowercase();
        let item = scalar_type(scalar)?;
        let element = self.elements.last_mut().ok_or("a property stands before the first element")?;
        if element.properties.iter().any(|property| property.name == name) {
            return Err(format!("property {} comes twice", excerpt(name.as_bytes())));
        }
        if element.properties.len() >= MOST_PROPERTIES {
            return Err(format!("an element has more than {MOST_PROPERTIES} properties"));
        }
        let place = element.properties.len();
        let kind = match list_count {
            None => {
                self.text.push_str(&format!("property {} p{place}\n", strict_name(item)));
                PropertyKind::Scalar(item)
            }
            Some(count) => {
                let count = scalar_type(count)?;
                if matches!(count, Scalar::F32 | Scalar::F64) {
                    return Err("a list's count is not a whole number".to_owned());
                }
                self.text.push_str(&format!("property list int {} p{place}\n", strict_name(item)));
                PropertyKind::List { count, item }
            }
        };
        element.properties.push(Property { name, kind });
        Ok(())
    }
}

/// Every spelling of a number type.
fn scalar_type(name: &str) -> Result<Scalar, String> {
    Ok(match name.to_lowercase().as_str() {
        "char" | "int8" | "i8" => Scalar::I8,
        "uchar" | "uint8" | "u8" | "byte" | "bool" => Scalar::U8,
        "short" | "int16" | "i16" => Scalar::I16,
        "ushort" | "uint16" | "u16" => Scalar::U16,
        "int" | "int32" | "i32" | "long" => Scalar::I32,
        "uint" | "uint32" | "u32" | "ulong" => Scalar::U32,
        "int64" | "i64" | "longlong" => Scalar::I64,
        "uint64" | "u64" | "ulonglong" => Scalar::U64,
        "float" | "float32" | "f32" | "real" => Scalar::F32,
        "double" | "float64" | "f64" => Scalar::F64,
        _ => return Err(format!("{} is no number type", excerpt(name.as_bytes()))),
    })
}

/// A name that the strict parser knows; 64-bit integers pass as the other type of 8 bytes.
const fn strict_name(scalar: Scalar) -> &'static str {
    match scalar {
        Scalar::I8 => "char",
        Scalar::U8 => "uchar",
        Scalar::I16 => "short",
        Scalar::U16 => "ushort",
        Scalar::I32 => "int",
        Scalar::U32 => "uint",
        Scalar::F32 => "float",
        Scalar::F64 | Scalar::I64 | Scalar::U64 => "double",
    }
}
