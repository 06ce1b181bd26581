//! Curves as text: one point a line, `x,y,z[,nx,ny,nz]`.
//!
//! In: bytes of a file. Out: points in order, in the file's unit, and normals where every line has them.
//! Units: a heading such as `x_mm` names one; otherwise unknown. Separator and decimal sign: see `number_table`.
//! Does not check that the points make a curve: `geometry::Curve` does.

use std::path::Path;

use nalgebra::{Point3, Vector3};

use super::curve_file::{MOST_CURVE_POINTS, RawCurve};
use super::number_table::{Columns, Dialect, starts_with_number};
use super::read_error::{ReadError, excerpt};

const FORMAT: &str = "a curve in text";

/// Reads the one curve of a text file.
pub(super) fn read(path: &Path, bytes: &[u8]) -> Result<RawCurve, ReadError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let lines = bytes
        .split(|byte| matches!(byte, b'\n' | b'\r'))
        .enumerate()
        .map(|(index, line)| (index, line.trim_ascii()))
        .filter(|(_, line)| !line.is_empty() && !is_comment(line));
    let data = lines.clone().map(|(_, line)| line).filter(|line| starts_with_number(line));
    let dialect = Dialect::detect(data.take(20));
    let mut columns = None;
    let mut curve = RawCurve::default();
    for (index, line) in lines {
        if columns.is_none() && !starts_with_number(line) {
            columns = Some(heading(path, &dialect, index, line)?);
            curve.unit = columns.as_ref().and_then(|columns| columns.unit);
            continue;
        }
        let numbers: Option<Vec<f64>> = dialect.fields(line).map(|field| dialect.number(field)).collect();
        let numbers = numbers.ok_or_else(|| bad_line(path, index, line))?;
        let columns = columns.get_or_insert_with(|| Columns::in_order(numbers.len() >= 6));
        let normal = columns.normal.map(|normal| triple(&numbers, normal));
        let [x, y, z] = triple(&numbers, columns.position).ok_or_else(|| bad_line(path, index, line))?;
        if curve.points.len() >= MOST_CURVE_POINTS {
            let problem = format!("it has more than {MOST_CURVE_POINTS} points; is it a scan?");
            return Err(ReadError::malformed(path, FORMAT, format!("line {}", index + 1), problem));
        }
        curve.points.push(Point3::new(x, y, z));
        if let Some(normal) = normal {
            let [x, y, z] = normal.ok_or_else(|| bad_line(path, index, line))?;
            curve.normals.push(Vector3::new(x, y, z));
        }
    }
    Ok(curve)
}

fn is_comment(line: &[u8]) -> bool {
    line.starts_with(b"#")
}

fn heading(path: &Path, dialect: &Dialect, index: usize, line: &[u8]) -> Result<Columns, ReadError> {
    let mut fields: Vec<&[u8]> = dialect.fields(line).collect();
    if fields.len() < 3 {
        fields =
            line.split(|byte| matches!(byte, b',' | b';' | b'\t' | b' ')).map(<[u8]>::trim_ascii).collect();
    }
    Columns::from_heading(&fields).ok_or_else(|| bad_line(path, index, line))
}

fn triple(numbers: &[f64], [x, y, z]: [usize; 3]) -> Option<[f64; 3]> {
    Some([*numbers.get(x)?, *numbers.get(y)?, *numbers.get(z)?])
}

fn bad_line(path: &Path, index: usize, line: &[u8]) -> ReadError {
    ReadError::Malformed {
        path: path.to_owned(),
        format: FORMAT,
        place: format!("line {}", index + 1),
        problem: format!("{} is not x,y,z or x,y,z,nx,ny,nz", excerpt(line)),
        hint: "write three or six numbers on every line".to_owned(),
    }
}
