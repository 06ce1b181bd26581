//! A scan decoded once into rows that can be read part by part: for formats that can only be read in order.
//!
//! In: points and triangles one by one, in the file's unit. Out: a [`ScanSource`], mm.
//! Shape: 24 bytes a point (36 with normals) and 72 a triangle, in memory while small and in a temporary file when not,
//! so that memory does not grow with the scan.
//! Does not check what it is given.

use std::io::{self, BufReader, Read, Write};
use std::path::Path;

use nalgebra::Point3;

use super::byte_source::{ByteSource, Collector};
use super::fixed_rows::{FixedRows, RowLayout};
use super::read_error::ReadError;
use super::scalar::Scalar;
use crate::scan::{PointSink, ScanFailure, ScanSource, SourceFacts, Triangle, TriangleSink};

/// Bytes of three 64-bit floats.
const POSITION_BYTES: usize = 24;
/// Bytes of a position and three 32-bit floats.
const POSITION_AND_NORMAL_BYTES: usize = 36;
/// Bytes of a triangle.
const TRIANGLE_BYTES: usize = 72;

/// Points that every file may hold, and for each of its bytes: packed points of the most regular scans take a byte or so, and
/// what takes none at all is a trap that would fill the disk.
const MOST_POINTS: u64 = 1 << 20;
const MOST_POINTS_PER_BYTE: u64 = 64;

/// Takes points and triangles in order.
#[derive(Debug, Default)]
pub(super) struct Spool {
    points: Collector,
    triangles: Collector,
    has_normals: bool,
}

/// A scan that was decoded into a spool.
#[derive(Debug)]
pub(super) struct SpooledScan {
    facts: SourceFacts,
    points: (ByteSource, FixedRows),
    triangles: TriangleRows,
}

/// Triangles as rows of nine 64-bit floats.
#[derive(Debug)]
pub(super) struct TriangleRows {
    source: ByteSource,
    rows: FixedRows,
}

impl Spool {
    pub fn new(has_normals: bool) -> Self {
        Self { has_normals, ..Self::default() }
    }

    /// Adds a point, file unit; the normal is dropped if the spool was made without.
    pub fn push_point(&mut self, point: [f64; 3], normal: [f32; 3]) -> io::Result<()> {
        self.points.write_all(point.map(f64::to_le_bytes).as_flattened())?;
        if self.has_normals {
            self.points.write_all(normal.map(f32::to_le_bytes).as_flattened())?;
        }
        Ok(())
    }

    /// Adds a triangle by its corners, file unit.
    pub fn push_triangle(&mut self, corners: [[f64; 3]; 3]) -> io::Result<()> {
        self.triangles
            .write_all(corners.map(|corner| corner.map(f64::to_le_bytes)).as_flattened().as_flattened())
    }

    /// The same points with a normal each: `normals` are as many rows of three 32-bit floats, in the points' order.
    pub fn with_normals(self, normals: Collector, path: &Path) -> Result<Self, ReadError> {
        let spooled = |source| spool_error(path, source);
        let count = self.point_count();
        let (points, normals) = (self.points.finish(path), normals.finish(path));
        let (points, normals) = (points.map_err(spooled)?, normals.map_err(spooled)?);
        let (mut points, mut normals) = (BufReader::new(points.reader(0)), BufReader::new(normals.reader(0)));
        let mut joined = Self { points: Collector::default(), has_normals: true, ..self };
        let mut row = [0; POSITION_AND_NORMAL_BYTES];
        for _ in 0..count {
            let (position, normal) = row.split_at_mut(POSITION_BYTES);
            points.read_exact(position).map_err(spooled)?;
            normals.read_exact(normal).map_err(spooled)?;
            joined.points.write_all(&row).map_err(spooled)?;
        }
        Ok(joined)
    }

    pub const fn point_count(&self) -> u64 {
        let stride = if self.has_normals { POSITION_AND_NORMAL_BYTES } else { POSITION_BYTES };
        self.points.len() / stride as u64
    }

    pub const fn triangle_count(&self) -> u64 {
        self.triangles.len() / TRIANGLE_BYTES as u64
    }

    /// Ends the decoding: points and triangles together.
    pub fn finish(
        self,
        path: &Path,
        format: String,
        byte_count: u64,
        unit_mm: f64,
    ) -> Result<SpooledScan, ReadError> {
        let facts = SourceFacts {
            format,
            point_count: Some(self.point_count()),
            triangle_count: (self.triangle_count() > 0).then_some(self.triangle_count()),
            has_normals: self.has_normals,
            byte_count: Some(byte_count),
        };
        if facts.point_count == Some(0) {
            return Err(ReadError::NoPoints { path: path.to_owned() });
        }
        let Self { points, triangles, has_normals } = self;
        let triangles = finish_triangles(triangles, path, unit_mm)?;
        let points = finish_points(points, has_normals, path, unit_mm)?;
        Ok(SpooledScan { facts, points, triangles })
    }

    /// Ends the decoding where only points were spooled.
    pub fn into_points(self, path: &Path, unit_mm: f64) -> Result<(ByteSource, FixedRows), ReadError> {
        finish_points(self.points, self.has_normals, path, unit_mm)
    }

    /// Ends the decoding where only the triangles were spooled.
    pub fn into_triangles(self, path: &Path, unit_mm: f64) -> Result<TriangleRows, ReadError> {
        finish_triangles(self.triangles, path, unit_mm)
    }
}

fn finish_points(
    collector: Collector,
    has_normals: bool,
    path: &Path,
    unit_mm: f64,
) -> Result<(ByteSource, FixedRows), ReadError> {
    let stride = if has_normals { POSITION_AND_NORMAL_BYTES } else { POSITION_BYTES };
    let layout = RowLayout {
        stride,
        is_big_endian: false,
        position: RowLayout::triple(0, Scalar::F64),
        normal: has_normals.then(|| RowLayout::triple(POSITION_BYTES, Scalar::F32)),
    };
    let rows = FixedRows { start: 0, count: collector.len() / stride as u64, layout, steps: None, unit_mm };
    Ok((collector.finish(path).map_err(|source| spool_error(path, source))?, rows))
}

fn finish_triangles(collector: Collector, path: &Path, unit_mm: f64) -> Result<TriangleRows, ReadError> {
    let layout = RowLayout {
        stride: TRIANGLE_BYTES,
        is_big_endian: false,
        position: RowLayout::triple(0, Scalar::F64),
        normal: None,
    };
    let rows =
        FixedRows { start: 0, count: collector.len() / TRIANGLE_BYTES as u64, layout, steps: None, unit_mm };
    let source = collector.finish(path).map_err(|source| spool_error(path, source))?;
    Ok(TriangleRows { source, rows })
}

/// The most points that a packed file of this size is believed to hold.
pub(super) const fn most_points(byte_count: u64) -> u64 {
    MOST_POINTS.saturating_add(MOST_POINTS_PER_BYTE.saturating_mul(byte_count))
}

/// A temporary file that could not be written.
pub(super) fn spool_error(path: &Path, source: io::Error) -> ReadError {
    ReadError::Spool { path: path.to_owned(), source }
}

impl TriangleRows {
    pub const fn count(&self) -> u64 {
        self.rows.count
    }

    pub fn part_count(&self) -> usize {
        self.rows.part_count()
    }

    /// Delivers the triangles of a part.
    pub fn read(&self, part: usize, sink: &mut dyn TriangleSink) -> Result<(), ReadError> {
        let layout = &self.rows.layout;
        self.rows.for_each_run(&self.source, part, |bytes, _| {
            let triangles: Vec<Triangle> = bytes
                .chunks_exact(TRIANGLE_BYTES)
                .map(|row| {
                    std::array::from_fn(|corner| {
                        let bytes = row.get(corner * POSITION_BYTES..).unwrap_or_default();
                        Point3::from(layout.position_of(bytes)) * self.rows.unit_mm
                    })
                })
                .collect();
            sink.take(&triangles);
        })
    }
}

/// The text of a read error, for whoever reads parts.
pub(super) fn failure(error: &ReadError) -> ScanFailure {
    ScanFailure(error.to_string())
}

impl ScanSource for SpooledScan {
    fn facts(&self) -> &SourceFacts {
        &self.facts
    }

    fn part_count(&self) -> usize {
        self.points.1.part_count()
    }

    fn read_points(&self, part: usize, sink: &mut dyn PointSink) -> Result<(), ScanFailure> {
        let (source, rows) = &self.points;
        rows.read_points(source, part, sink).map_err(|error| failure(&error))
    }

    fn triangle_part_count(&self) -> usize {
        self.triangles.part_count()
    }

    fn read_triangles(&self, part: usize, sink: &mut dyn TriangleSink) -> Result<(), ScanFailure> {
        self.triangles.read(part, sink).map_err(|error| failure(&error))
    }
}
