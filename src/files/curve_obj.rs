//! Curves of an OBJ file: its `l` lines, by object or group.
//!
//! In: bytes of a file. Out: one curve for each run of lines. Units: OBJ stores none.
//! Method: `v`, `o`, `g` and `l` as in read_obj; lines that meet are joined; several runs of one name are
//! called `NAME`, `NAME-2`, …, those without a name `line`, `line-2`, …
//! Does not read faces.

use std::collections::BTreeMap;
use std::path::Path;

use nalgebra::Point3;

use super::curve_file::{MOST_CURVE_POINTS, RawCurve};
use super::number_table::parse_number;
use super::read_error::{ReadError, excerpt};
use super::read_obj::{FEWEST_CORNER_BYTES, FORMAT, corner_place};
use super::vertex_table::VertexTable;

/// True for text with OBJ corners and lines.
pub(super) fn is_obj(bytes: &[u8]) -> bool {
    let has =
        |word: &[u8]| bytes.split(|byte| *byte == b'\n').any(|line| line.trim_ascii().starts_with(word));
    has(b"v ") && has(b"l ")
}

/// Reads the lines of an OBJ file.
pub(super) fn read(path: &Path, bytes: &[u8]) -> Result<Vec<RawCurve>, ReadError> {
    let corner_count = bytes.len() as u64 / FEWEST_CORNER_BYTES;
    let mut corners = VertexTable::new(bytes.len() as u64, corner_count);
    let mut point_count = 0;
    let mut name = None;
    let mut groups: BTreeMap<String, Vec<Vec<Point3<f64>>>> = BTreeMap::new();
    for (index, line) in bytes.split(|byte| *byte == b'\n').enumerate() {
        let bad = |problem: &str| {
            let problem = format!("{problem}: {}", excerpt(line.trim_ascii()));
            ReadError::malformed(path, FORMAT, format!("line {}", index + 1), problem)
        };
        let mut words = line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty());
        match words.next() {
            Some(b"v") => {
                let mut next = || words.next().and_then(parse_number);
                let corner = next().zip(next()).zip(next());
                let ((x, y), z) = corner.ok_or_else(|| bad("a corner is not three numbers"))?;
                corners.push([x, y, z]);
            }
            Some(b"o" | b"g") => name = words.next().map(|word| String::from_utf8_lossy(word).into_owned()),
            Some(b"l") => {
                let place = |word| {
                    corner_place(word, corners.len()).and_then(|place| corners.get(place)).map(Point3::from)
                };
                let points: Option<Vec<_>> = words.take(MOST_CURVE_POINTS).map(place).collect();
                let points = points.ok_or_else(|| bad("a line names a corner that is not there"))?;
                point_count += points.len();
                if point_count > MOST_CURVE_POINTS {
                    return Err(bad("its lines have too many points for seams"));
                }
                groups.entry(name.clone().unwrap_or_else(|| "line".to_owned())).or_default().push(points);
            }
            _ => {}
        }
    }
    // Corners are the same or they are not: no slack.
    Ok(RawCurve::of_groups(groups, 0.0, None))
}
