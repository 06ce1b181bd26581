//! Opens a scan of any known format.
//!
//! In: a path, or `-` for standard input, and the unit of its numbers. Out: a [`ScanSource`], mm.
//! Method: the content tells the format (`sniff`); each format has its own reader.
//! Does not guess a unit.

use std::path::Path;

use super::read_error::{ReadError, excerpt};
use super::sniff::{LOOKED_AT, ScanFormat, scan_format};
use super::{read_e57, read_gltf, read_las, read_obj, read_pcd, read_ply, read_stl, read_text_cloud, unpack};
use crate::scan::ScanSource;
use crate::units::LengthUnit;

/// Opens a scan whose numbers are in `unit`.
///
/// # Errors
/// The file cannot be opened, is of no known format, is cut off, or is not what its head says.
pub fn open_scan(path: &Path, unit: LengthUnit) -> Result<Box<dyn ScanSource>, ReadError> {
    let source = unpack::open_bytes(path)?;
    let head = source.bytes_at(0, LOOKED_AT).map_err(|error| ReadError::read(path, error))?;
    let unit_mm = unit.mm();
    match scan_format(&head, source.len()) {
        Some(ScanFormat::Ply) => read_ply::open(source, unit_mm),
        Some(ScanFormat::StlBinary) => read_stl::open_binary(source, unit_mm),
        Some(ScanFormat::StlText) => read_stl::open_text(&source, unit_mm),
        Some(ScanFormat::Obj) => read_obj::open(&source, unit_mm),
        Some(ScanFormat::Pcd) => read_pcd::open(source, unit_mm),
        Some(ScanFormat::E57) => read_e57::open(&source, unit_mm),
        Some(ScanFormat::Las) => read_las::open(source, unit_mm),
        Some(ScanFormat::Gltf) => read_gltf::open(&source, unit_mm),
        Some(ScanFormat::TextCloud) => read_text_cloud::open(source, &head, unit_mm),
        None => Err(ReadError::UnknownType { path: path.to_owned(), beginning: excerpt(&head) }),
    }
}
