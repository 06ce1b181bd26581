//! Faces of a PLY file as triangles: polygons as fans, strips with their turns.
//!
//! In: head, source, points. Out: triangles in a temporary file, mm; nothing where the file has no faces.
//! Method: a face is convex or nearly so, as every writer of scans makes them; -1 in a strip begins a new one.
//! Does not repair: a face that names a corner which is not there is an error.

use super::byte_source::ByteSource;
use super::ply_header::{FORMAT, PlyHeader, PropertyKind};
use super::ply_walk::PlyWalk;
use super::point_rows::PointRows;
use super::read_error::ReadError;
use super::spool::{Spool, TriangleRows, spool_error};
use super::vertex_table::VertexTable;

/// Reads the faces of a PLY file.
pub(super) fn read(
    source: &ByteSource,
    header: &PlyHeader,
    points: &PointRows,
) -> Result<Option<TriangleRows>, ReadError> {
    let faces = header.elements.iter().position(|element| {
        matches!(element.name.as_str(), "face" | "faces" | "tristrips") && element.count > 0
    });
    let Some((place, element)) = faces.and_then(|place| Some((place, header.elements.get(place)?))) else {
        return Ok(None);
    };
    let list = element.place(&["vertex_indices", "vertex_index"]).filter(|place| {
        let property = element.properties.get(*place);
        property.is_some_and(|property| matches!(property.kind, PropertyKind::List { .. }))
    });
    let Some(list) = list else { return Ok(None) };
    let mut corners = corner_table(source, points)?;
    for part in 0..points.part_count() {
        points.read(source, part, &mut corners)?;
    }
    let walk = PlyWalk::new(source, header);
    let offset = walk.offset_of(place)?;
    let mut builder = TriangleBuilder {
        source,
        corners,
        spool: Spool::new(false),
        is_strip: element.name == "tristrips",
        held: [None; 2],
        turn: 0,
    };
    walk.lists(element, offset, list, |item, index| builder.take(item, index))?;
    // The corners are in mm already.
    builder.spool.into_triangles(source.path(), 1.0).map(Some)
}

fn corner_table(source: &ByteSource, points: &PointRows) -> Result<VertexTable, ReadError> {
    let count = match points {
        PointRows::Binary(rows) => rows.count,
        PointRows::Text(rows) => rows.index.rows,
        PointRows::Spooled(_, rows) => rows.count,
    };
    if count > u64::from(u32::MAX) {
        let problem = format!("a mesh of {count} corners is too large");
        return Err(ReadError::malformed(source.path(), FORMAT, "its head", problem));
    }
    Ok(VertexTable::new(source.len(), count))
}

/// Turns runs of corner numbers into triangles.
struct TriangleBuilder<'a> {
    source: &'a ByteSource,
    corners: VertexTable,
    spool: Spool,
    is_strip: bool,
    /// The two corners that the next one makes a triangle with.
    held: [Option<[f64; 3]>; 2],
    turn: u64,
}

impl TriangleBuilder<'_> {
    fn take(&mut self, item: u64, index: f64) -> Result<(), ReadError> {
        if item == 0 {
            (self.held, self.turn) = ([None; 2], 0);
        }
        if self.is_strip && index < 0.0 {
            (self.held, self.turn) = ([None; 2], 0);
            return Ok(());
        }
        let corner = self.corner(index)?;
        match self.held {
            [None, _] => self.held = [Some(corner), None],
            [first, None] => self.held = [first, Some(corner)],
            [Some(first), Some(second)] => {
                let swap = self.is_strip && self.turn % 2 == 1;
                let triangle = if swap { [second, first, corner] } else { [first, second, corner] };
                self.turn += 1;
                self.spool.push_triangle(triangle).map_err(|error| spool_error(self.source.path(), error))?;
                self.held = [Some(if self.is_strip { second } else { first }), Some(corner)];
            }
        }
        Ok(())
    }

    fn corner(&self, index: f64) -> Result<[f64; 3], ReadError> {
        let known = (index >= 0.0).then(|| self.corners.get(index as usize)).flatten();
        known.ok_or_else(|| {
            let problem = format!("a face names corner {index} of {}", self.corners.len());
            ReadError::malformed(self.source.path(), FORMAT, "its faces", problem)
        })
    }
}
