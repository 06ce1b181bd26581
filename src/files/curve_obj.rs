//! Curves of an OBJ file: its `l` lines, by object or group.
//!
//! In: bytes of a file. Out: one curve for each `l`. Units: OBJ stores none.
//! Method: `v`, `o`, `g` and `l` as in read_obj; lines without a name are called `line-1`, `line-2`, …
//! Does not read faces.

use std::path::Path;

use nalgebra::Point3;

use super::curve_file::RawCurve;
use super::number_table::parse_number;
use super::read_error::{ReadError, excerpt};
use super::read_obj::{FORMAT, corner_place};

/// True for text with OBJ corners and lines.
pub(super) fn is_obj(bytes: &[u8]) -> bool {
    let has =
        |word: &[u8]| bytes.split(|byte| *byte == b'\n').any(|line| line.trim_ascii().starts_with(word));
    has(b"v ") && has(b"l ")
}

/// Reads the lines of an OBJ file.
pub(super) fn read(path: &Path, bytes: &[u8]) -> Result<Vec<RawCurve>, ReadError> {
    let mut corners = Vec::new();
    let mut name = None;
    let mut curves: Vec<RawCurve> = Vec::new();
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
                corners.push(Point3::new(x, y, z));
            }
            Some(b"o" | b"g") => name = words.next().map(|word| String::from_utf8_lossy(word).into_owned()),
            Some(b"l") => {
                let place =
                    |word| corner_place(word, corners.len()).and_then(|place| corners.get(place).copied());
                let points: Option<Vec<_>> = words.map(place).collect();
                let points = points.ok_or_else(|| bad("a line names a corner that is not there"))?;
                add(&mut curves, name.as_deref(), points);
            }
            _ => {}
        }
    }
    Ok(curves)
}

/// Adds a run of corners: to the last curve where it goes on from there, or as a new one.
fn add(curves: &mut Vec<RawCurve>, group: Option<&str>, points: Vec<Point3<f64>>) {
    let base = group.unwrap_or("line");
    let known = curves.iter().filter(|curve| {
        let name = curve.name.as_deref().unwrap_or_default();
        name == base || name.strip_prefix(base).is_some_and(|rest| rest.starts_with('-'))
    });
    let known = known.count();
    if let Some(last) = curves.last_mut().filter(|_| known > 0)
        && last.points.last() == points.first()
    {
        last.points.extend(points.into_iter().skip(1));
        return;
    }
    let name = match (group, known) {
        (Some(group), 0) => group.to_owned(),
        _ => format!("{base}-{}", known + 1),
    };
    curves.push(RawCurve { name: Some(name), points, normals: Vec::new(), unit: None });
}
