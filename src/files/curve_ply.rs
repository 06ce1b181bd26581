//! Curves of a PLY file: its edges, joined where they meet.
//!
//! In: a path. Out: one curve for each run of edges, called `edge-1`, `edge-2`, …, in the direction of its first edge.
//! Units: PLY stores none. Method: element `edge` with `vertex1` and `vertex2` (G. Turk, The PLY Polygon File Format, 1994);
//! runs end where an edge ends or edges branch.
//! Does not read faces.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path;

use nalgebra::Point3;

use super::byte_source::ByteSource;
use super::curve_file::{MOST_CURVE_POINTS, RawCurve};
use super::ply_header::{self, FORMAT, LONGEST_HEAD, PlyHeader};
use super::ply_walk::PlyWalk;
use super::read_error::ReadError;
use super::read_ply::{position_places, vertex_place};
use super::vertex_table::VertexTable;

/// Most corners of a file with edges.
const MOST_CORNERS: u64 = 50_000_000;

/// True for the first word of a PLY file.
pub(super) fn is_ply(bytes: &[u8]) -> bool {
    bytes.trim_ascii_start().starts_with(b"ply")
        && bytes.trim_ascii_start().get(3).is_some_and(u8::is_ascii_whitespace)
}

/// Reads the edges of a PLY file.
pub(super) fn read(path: &Path) -> Result<Vec<RawCurve>, ReadError> {
    let file = File::open(path).map_err(|source| ReadError::Open { path: path.to_owned(), source })?;
    let source = ByteSource::from_file(path, file).map_err(|error| ReadError::read(path, error))?;
    let head = source.bytes_at(0, LONGEST_HEAD).map_err(|error| ReadError::read(path, error))?;
    let header = ply_header::parse(path, &head)?;
    let corners = corners_of(&source, &header)?;
    let edges = edges_of(&source, &header, corners.len())?;
    let point = |corner: &u32| corners.get(*corner as usize).map(Point3::from);
    let curves = runs(&edges).into_iter().enumerate().map(|(index, run)| RawCurve {
        name: Some(format!("edge-{}", index + 1)),
        points: run.iter().filter_map(point).collect(),
        ..RawCurve::default()
    });
    Ok(curves.collect())
}

fn bad(source: &ByteSource, problem: impl Into<String>) -> ReadError {
    ReadError::malformed(source.path(), FORMAT, "its content", problem)
}

fn corners_of(source: &ByteSource, header: &PlyHeader) -> Result<VertexTable, ReadError> {
    let place = vertex_place(source, header)?;
    let vertex = header.elements.get(place).ok_or_else(|| bad(source, "it has no corners"))?;
    let position = position_places(vertex).ok_or_else(|| bad(source, "it has no corners"))?;
    if vertex.count > MOST_CORNERS {
        return Err(bad(source, "it has too many corners for a file of curves"));
    }
    let mut corners = VertexTable::new(source.len(), vertex.count);
    let walk = PlyWalk::new(source, header);
    walk.numbers(vertex, walk.offset_of(place)?, position, |corner| {
        corners.push(corner);
        Ok(())
    })?;
    Ok(corners)
}

fn edges_of(
    source: &ByteSource,
    header: &PlyHeader,
    corner_count: usize,
) -> Result<Vec<[u32; 2]>, ReadError> {
    let no_edges = || bad(source, "it has no element `edge` with vertex1 and vertex2");
    let place = header.elements.iter().position(|element| element.name == "edge").ok_or_else(no_edges)?;
    let element = header.elements.get(place).ok_or_else(no_edges)?;
    let ends = element.place(&["vertex1"]).zip(element.place(&["vertex2"]));
    let (first, second) = ends.ok_or_else(no_edges)?;
    let walk = PlyWalk::new(source, header);
    let mut edges = Vec::new();
    walk.numbers(element, walk.offset_of(place)?, [first, second], |ends| {
        if ends.iter().any(|end| !(0.0..corner_count as f64).contains(end)) {
            return Err(bad(
                source,
                format!("an edge names corner {} or {} of {corner_count}", ends[0], ends[1]),
            ));
        }
        if edges.len() >= MOST_CURVE_POINTS {
            return Err(bad(source, "it has too many edges for seams"));
        }
        edges.push(ends.map(|end| end as u32));
        Ok(())
    })?;
    Ok(edges)
}

/// Corner numbers of each run of edges.
fn runs(edges: &[[u32; 2]]) -> Vec<Vec<u32>> {
    let mut at_corner: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for (index, [first, second]) in edges.iter().enumerate().filter(|(_, [first, second])| first != second) {
        at_corner.entry(*first).or_default().push(index);
        at_corner.entry(*second).or_default().push(index);
    }
    let mut is_used = vec![false; edges.len()];
    let mut found = Vec::new();
    for (index, [first, second]) in edges.iter().enumerate() {
        if first == second || is_used.get(index) != Some(&false) {
            continue;
        }
        is_used.iter_mut().skip(index).take(1).for_each(|used| *used = true);
        let on = follow(*second, edges, &at_corner, &mut is_used);
        let is_ring = on.last() == Some(first);
        let mut back = if is_ring { vec![*first] } else { follow(*first, edges, &at_corner, &mut is_used) };
        back.reverse();
        found.push(back.into_iter().chain(on).collect());
    }
    found
}

/// Corners from one on, along unused edges, as long as they do not branch.
fn follow(
    from: u32,
    edges: &[[u32; 2]],
    at_corner: &BTreeMap<u32, Vec<usize>>,
    is_used: &mut [bool],
) -> Vec<u32> {
    let mut run = vec![from];
    let mut here = from;
    while let Some([one, other]) = at_corner.get(&here).map(Vec::as_slice) {
        let next = [*one, *other].into_iter().find(|edge| is_used.get(*edge) == Some(&false));
        let Some((edge, [first, second])) = next.and_then(|edge| Some((edge, *edges.get(edge)?))) else {
            break;
        };
        is_used.iter_mut().skip(edge).take(1).for_each(|used| *used = true);
        here = if first == here { second } else { first };
        run.push(here);
    }
    run
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edges_make_runs_in_the_direction_of_their_first() {
        assert_eq!(runs(&[[1, 2], [3, 2], [0, 1]]), [[0, 1, 2, 3]]);
        assert_eq!(runs(&[[0, 1], [1, 2], [2, 0]]), [[0, 1, 2, 0]], "a ring");
        assert_eq!(runs(&[[0, 1], [1, 2], [1, 3], [4, 4]]), [vec![0, 1], vec![1, 2], vec![1, 3]], "a branch");
    }
}
