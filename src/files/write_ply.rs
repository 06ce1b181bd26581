//! Writes a scan as binary little-endian PLY, point by point, without holding it.
//!
//! In: points in mm with optional normals and grey values, then triangles as point numbers. Out: one file, in the unit
//! asked for, coordinates as 32-bit floats: 27 bytes a point with normals and colour.
//! Method: written to a temporary file beside its place; the counts in the head have room for any number and are filled
//! in at the end; then renamed into place, so that a failed run leaves nothing behind.
//! Format: Turk, The PLY Polygon File Format (1994).

use std::io::{BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use nalgebra::{Point3, Vector3};
use tempfile::NamedTempFile;

use super::WriteError;
use super::unfinished::{Unfinished, pass_gate};
use crate::units::LengthUnit;

/// What a point carries besides its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlyLayout {
    pub normals: bool,
    pub colour: bool,
    pub unit: LengthUnit,
}

/// A PLY file in the making.
#[derive(Debug)]
pub struct PlyWriter {
    path: PathBuf,
    layout: PlyLayout,
    file: BufWriter<NamedTempFile>,
    unfinished: Unfinished,
    point_count: u64,
    triangle_count: u64,
}

/// Bytes of a point with normals and colour, more than those of a triangle.
const LONGEST_ROW_BYTES: usize = 27;
/// Bytes gathered before they go to the disk.
const BUFFER_BYTES: usize = 1 << 20;

impl PlyWriter {
    /// Starts a file beside `path`.
    ///
    /// # Errors
    /// The folder cannot be made or written to.
    pub fn create(path: &Path, layout: PlyLayout) -> Result<Self, WriteError> {
        let folder = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        let failed = |source| WriteError::Disk { path: path.to_owned(), source };
        std::fs::create_dir_all(folder).map_err(failed)?;
        let mut builder = tempfile::Builder::new();
        builder.prefix(".unfinished-");
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644));
        let file = builder.tempfile_in(folder).map_err(failed)?;
        let mut writer = Self {
            path: path.to_owned(),
            layout,
            unfinished: Unfinished::new(file.path()),
            file: BufWriter::with_capacity(BUFFER_BYTES, file),
            point_count: 0,
            triangle_count: 0,
        };
        writer.put(header(layout, 0, 0).as_bytes())?;
        Ok(writer)
    }

    /// Adds a point; grey is from 0 to 255.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn point(
        &mut self,
        position: &Point3<f64>,
        normal: &Vector3<f64>,
        grey: u8,
    ) -> Result<(), WriteError> {
        let scaled = position.coords / self.layout.unit.mm();
        let normals: &[f64] = if self.layout.normals { normal.as_slice() } else { &[] };
        let greys: &[u8] = if self.layout.colour { &[grey; 3] } else { &[] };
        let numbers = scaled.iter().chain(normals).flat_map(|value| (*value as f32).to_le_bytes());
        self.point_count += 1;
        self.put_row(numbers.chain(greys.iter().copied()))
    }

    /// Writes at most as many bytes as the longest row has.
    fn put_row(&mut self, row: impl Iterator<Item = u8>) -> Result<(), WriteError> {
        let mut bytes = [0_u8; LONGEST_ROW_BYTES];
        let mut length = 0;
        for (place, byte) in bytes.iter_mut().zip(row) {
            *place = byte;
            length += 1;
        }
        self.put(bytes.get(..length).unwrap_or_default())
    }

    /// Adds a triangle by the numbers of its points; all points come before the first triangle.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn triangle(&mut self, corners: [u32; 3]) -> Result<(), WriteError> {
        self.triangle_count += 1;
        let corners = corners.into_iter().flat_map(u32::to_le_bytes);
        self.put_row(std::iter::once(3).chain(corners))
    }

    /// Fills in the counts and moves the file into place.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn finish(mut self) -> Result<u64, WriteError> {
        let head = header(self.layout, self.point_count, self.triangle_count);
        let path = self.path.clone();
        let failed = |source| WriteError::Disk { path: path.clone(), source };
        self.file.seek(SeekFrom::Start(0)).map_err(failed)?;
        self.put(head.as_bytes())?;
        let file = self.file.into_inner().map_err(|error| failed(error.into_error()))?;
        file.as_file().sync_all().map_err(failed)?;
        let gate = pass_gate();
        file.persist(&path).map_err(|error| failed(error.error))?;
        drop((gate, self.unfinished));
        Ok(self.point_count)
    }

    fn put(&mut self, bytes: &[u8]) -> Result<(), WriteError> {
        self.file.write_all(bytes).map_err(|source| WriteError::Disk { path: self.path.clone(), source })
    }
}

/// The head, of the same length for every count.
fn header(layout: PlyLayout, point_count: u64, triangle_count: u64) -> String {
    let normals =
        if layout.normals { "property float nx\nproperty float ny\nproperty float nz\n" } else { "" };
    let colour =
        if layout.colour { "property uchar red\nproperty uchar green\nproperty uchar blue\n" } else { "" };
    let counted = |count: u64| {
        let digits = count.to_string();
        let room = "-".repeat(20_usize.saturating_sub(digits.len()));
        (digits, room)
    };
    let (points, point_room) = counted(point_count);
    let (triangles, triangle_room) = counted(triangle_count);
    format!(
        "ply\nformat binary_little_endian 1.0\ncomment unit {unit}\ncomment {point_room}{triangle_room}\n\
         element vertex {points}\nproperty float x\nproperty float y\nproperty float z\n{normals}{colour}\
         element face {triangles}\nproperty list uchar uint vertex_indices\nend_header\n",
        unit = layout.unit.symbol(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_written_file_reads_back_with_a_general_purpose_reader() {
        use ply_rs::parser::Parser;
        use ply_rs::ply::{DefaultElement, Property};
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("scan.ply");
        let layout = PlyLayout { normals: true, colour: true, unit: LengthUnit::Metre };
        let mut writer = PlyWriter::create(&path, layout).unwrap();
        for index in 0..12 {
            let x = f64::from(index) * 1000.0;
            writer.point(&Point3::new(x, 2.0, 3.0), &Vector3::z(), 9).unwrap();
        }
        writer.triangle([0, 1, 11]).unwrap();
        assert_eq!(writer.finish().unwrap(), 12);
        let mut bytes = std::io::BufReader::new(std::fs::File::open(&path).unwrap());
        let ply = Parser::<DefaultElement>::new().read_ply(&mut bytes).unwrap();
        assert_eq!((ply.payload["vertex"].len(), ply.payload["face"].len()), (12, 1));
        assert_eq!(ply.payload["vertex"][11]["x"], Property::Float(11.0));
        assert_eq!(ply.payload["vertex"][11]["red"], Property::UChar(9));
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
