//! PLY: clouds and meshes, ASCII and binary of either byte order.
//!
//! In: a source. Out: a [`ScanSource`]. Shape: points stay in the file where their rows are of one length; triangles, and
//! points in rows of changing length, are decoded once into a temporary file.
//! Does not trust the head: what it promises is compared with the bytes that are there.

use ply_rs::ply::Encoding;

use super::byte_source::ByteSource;
use super::fixed_rows::{Field, FixedRows, LONGEST_ROW, RowLayout};
use super::number_table::{Columns, Dialect, Separator};
use super::ply_faces;
use super::ply_header::{self, Element, FORMAT, LONGEST_HEAD, PlyHeader, PropertyKind};
use super::ply_walk::PlyWalk;
use super::point_rows::PointRows;
use super::read_error::ReadError;
use super::scalar::Scalar;
use super::spool::{Spool, TriangleRows, failure, spool_error};
use super::text_rows::{TextRows, index_rows};
use crate::scan::{PointSink, ScanFailure, ScanSource, SourceFacts, TriangleSink};

/// A PLY file whose head is understood.
#[derive(Debug)]
pub(super) struct PlyScan {
    source: ByteSource,
    facts: SourceFacts,
    points: PointRows,
    triangles: Option<TriangleRows>,
}

/// Opens a PLY file.
pub(super) fn open(source: ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let head = source.bytes_at(0, LONGEST_HEAD).map_err(|error| ReadError::read(source.path(), error))?;
    let header = ply_header::parse(source.path(), &head)?;
    let place = vertex_place(&source, &header)?;
    let vertex = header.elements.get(place).ok_or_else(|| no_vertices(&source))?;
    if vertex.count == 0 {
        return Err(ReadError::NoPoints { path: source.path().to_owned() });
    }
    let start = PlyWalk::new(&source, &header).offset_of(place)?;
    let points = if has_list_in_the_way(&header, vertex) {
        spooled_rows(&source, &header, vertex, start, unit_mm)?
    } else if header.encoding == Encoding::Ascii {
        PointRows::Text(text_rows(&source, vertex, start, unit_mm)?)
    } else {
        PointRows::Binary(binary_rows(&source, &header, vertex, start, unit_mm)?)
    };
    let triangles = ply_faces::read(&source, &header, &points)?;
    let facts = SourceFacts {
        format: format!("PLY, {}", encoding_text(header.encoding)),
        point_count: Some(vertex.count),
        triangle_count: triangles.as_ref().map(TriangleRows::count).filter(|count| *count > 0),
        has_normals: normal_places(vertex).is_some(),
        byte_count: Some(source.len()),
    };
    Ok(Box::new(PlyScan { source, facts, points, triangles }))
}

const fn encoding_text(encoding: Encoding) -> &'static str {
    match encoding {
        Encoding::Ascii => "ASCII",
        Encoding::BinaryBigEndian => "binary big endian",
        Encoding::BinaryLittleEndian => "binary little endian",
    }
}

fn no_vertices(source: &ByteSource) -> ReadError {
    let problem = "no element has the properties x, y and z".to_owned();
    ReadError::malformed(source.path(), FORMAT, "its head", problem)
}

/// The element that holds the points: `vertex`, or the first with x, y and z.
pub(super) fn vertex_place(source: &ByteSource, header: &PlyHeader) -> Result<usize, ReadError> {
    let has_position = |element: &Element| position_places(element).is_some();
    header
        .elements
        .iter()
        .position(|element| element.name == "vertex" && has_position(element))
        .or_else(|| header.elements.iter().position(has_position))
        .ok_or_else(|| no_vertices(source))
}

fn places(element: &Element, names: [&[&str]; 3]) -> Option<[usize; 3]> {
    let [x, y, z] = names.map(|names| {
        element.place(names).filter(|place| {
            let property = element.properties.get(*place);
            property.is_some_and(|property| matches!(property.kind, PropertyKind::Scalar(_)))
        })
    });
    Some([x?, y?, z?])
}

pub(super) fn position_places(element: &Element) -> Option<[usize; 3]> {
    places(element, [&["x"], &["y"], &["z"]])
}

fn normal_places(element: &Element) -> Option<[usize; 3]> {
    places(element, [&["nx", "normal_x"], &["ny", "normal_y"], &["nz", "normal_z"]])
}

/// True where a list stands before a wanted number: in binary anywhere in the row, for the rows are of changing length.
fn has_list_in_the_way(header: &PlyHeader, vertex: &Element) -> bool {
    let wanted = position_places(vertex).into_iter().chain(normal_places(vertex)).flatten();
    let last = if header.encoding == Encoding::Ascii { wanted.max().unwrap_or(0) } else { usize::MAX };
    let is_list = |kind| matches!(kind, PropertyKind::List { .. });
    vertex.properties.iter().take(last).any(|property| is_list(property.kind))
}

/// Points in rows of changing length, decoded once.
fn spooled_rows(
    source: &ByteSource,
    header: &PlyHeader,
    vertex: &Element,
    start: u64,
    unit_mm: f64,
) -> Result<PointRows, ReadError> {
    let [x, y, z] = position_places(vertex).ok_or_else(|| no_vertices(source))?;
    let normal = normal_places(vertex);
    let [nx, ny, nz] = normal.unwrap_or([x, y, z]);
    let mut spool = Spool::new(normal.is_some());
    PlyWalk::new(source, header).numbers(vertex, start, [x, y, z, nx, ny, nz], |[x, y, z, nx, ny, nz]| {
        let normal = [nx, ny, nz].map(|value| value as f32);
        spool.push_point([x, y, z], normal).map_err(|error| spool_error(source.path(), error))
    })?;
    let (source, rows) = spool.into_points(source.path(), unit_mm)?;
    Ok(PointRows::Spooled(source, rows))
}

fn text_rows(source: &ByteSource, vertex: &Element, start: u64, unit_mm: f64) -> Result<TextRows, ReadError> {
    let position = position_places(vertex).ok_or_else(|| no_vertices(source))?;
    let normal = normal_places(vertex);
    let index = index_rows(source, FORMAT, start, vertex.count)?;
    if index.rows < vertex.count {
        let path = source.path().to_owned();
        return Err(ReadError::CutOff { path, items: "points", promised: vertex.count, found: index.rows });
    }
    let dialect = Dialect { separator: Separator::Blank, has_decimal_comma: false };
    Ok(TextRows {
        format: FORMAT,
        index,
        dialect,
        columns: Columns { position, normal, unit: None },
        unit_mm,
    })
}

fn binary_rows(
    source: &ByteSource,
    header: &PlyHeader,
    vertex: &Element,
    start: u64,
    unit_mm: f64,
) -> Result<FixedRows, ReadError> {
    let stride = vertex.stride().filter(|stride| *stride <= LONGEST_ROW).ok_or_else(|| {
        let problem = "its points are rows of very great length".to_owned();
        ReadError::malformed(source.path(), FORMAT, "its head", problem)
    })?;
    let found = source.len().saturating_sub(start) / stride as u64;
    if found < vertex.count {
        let path = source.path().to_owned();
        return Err(ReadError::CutOff { path, items: "points", promised: vertex.count, found });
    }
    let fields = |places: [usize; 3]| places.map(|place| field(vertex, place));
    let layout = RowLayout {
        stride,
        is_big_endian: header.encoding == Encoding::BinaryBigEndian,
        position: position_places(vertex).map(fields).ok_or_else(|| no_vertices(source))?,
        normal: normal_places(vertex).map(fields),
    };
    Ok(FixedRows { start, count: vertex.count, layout, steps: None, unit_mm })
}

/// Where in a row a property stands.
fn field(element: &Element, place: usize) -> Field {
    let size = |kind| match kind {
        PropertyKind::Scalar(scalar) => scalar,
        PropertyKind::List { count, .. } => count,
    };
    let offset = element.properties.iter().take(place).map(|property| size(property.kind).size()).sum();
    let scalar = element.properties.get(place).map_or(Scalar::F32, |property| size(property.kind));
    Field { offset, scalar }
}

impl ScanSource for PlyScan {
    fn facts(&self) -> &SourceFacts {
        &self.facts
    }

    fn part_count(&self) -> usize {
        self.points.part_count()
    }

    fn read_points(&self, part: usize, sink: &mut dyn PointSink) -> Result<(), ScanFailure> {
        self.points.read(&self.source, part, sink).map_err(|error| failure(&error))
    }

    fn triangle_part_count(&self) -> usize {
        self.triangles.as_ref().map_or(0, TriangleRows::part_count)
    }

    fn read_triangles(&self, part: usize, sink: &mut dyn TriangleSink) -> Result<(), ScanFailure> {
        match &self.triangles {
            Some(triangles) => triangles.read(part, sink).map_err(|error| failure(&error)),
            None => Ok(()),
        }
    }
}
