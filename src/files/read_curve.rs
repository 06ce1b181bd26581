//! Reads a reference curve from any of the curve formats.
//!
//! In: a path, the name after `#` if any, and the plan's unit. Out: points in order and normals, mm.
//! Units: the plan's where the file has none; where the file has one it must be the plan's.
//! Method: the type is told from the content. Does not smooth or check the curve: `geometry::Curve` does.

use std::path::Path;

use nalgebra::{Point3, Vector3};

use super::read_error::ReadError;
use super::{curve_csv, curve_dxf, curve_obj};
use crate::units::LengthUnit;

/// Largest curve file that is read, bytes: exchange files of whole cars run to some hundred MB.
const LARGEST_CURVE_FILE_BYTES: u64 = 1 << 30;

/// A reference curve as its file has it, in mm.
#[derive(Debug, Clone, PartialEq)]
pub struct CurvePoints {
    /// In order along the curve, mm.
    pub points: Vec<Point3<f64>>,
    /// As many as points, where the file has them; any length.
    pub normals: Option<Vec<Vector3<f64>>>,
    /// The unit that the file itself names.
    pub source_unit: Option<LengthUnit>,
}

/// A curve in its file's unit.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct RawCurve {
    pub name: Option<String>,
    pub points: Vec<Point3<f64>>,
    /// Empty, or as many as points.
    pub normals: Vec<Vector3<f64>>,
    pub unit: Option<LengthUnit>,
}

/// Reads the curve called `name` of a file, or its only curve.
///
/// # Errors
/// The file cannot be read, has no such curve or several, or is in another unit than the plan's.
pub fn read_curve(path: &Path, name: Option<&str>, plan_unit: LengthUnit) -> Result<CurvePoints, ReadError> {
    let bytes = read_whole(path)?;
    let curve = pick(path, name, curves_of(path, &bytes)?)?;
    if let Some(unit) = curve.unit.filter(|unit| *unit != plan_unit) {
        return Err(ReadError::UnitContradiction {
            path: path.to_owned(),
            file_unit: unit.symbol(),
            plan_unit: plan_unit.symbol(),
        });
    }
    let mm = plan_unit.mm();
    Ok(CurvePoints {
        points: curve.points.iter().map(|point| point * mm).collect(),
        normals: (!curve.normals.is_empty()).then_some(curve.normals),
        source_unit: curve.unit,
    })
}

fn curves_of(path: &Path, bytes: &[u8]) -> Result<Vec<RawCurve>, ReadError> {
    if curve_dxf::is_dxf(bytes) {
        return curve_dxf::read(path, bytes);
    }
    if curve_obj::is_obj(bytes) {
        return curve_obj::read(path, bytes);
    }
    Ok(vec![curve_csv::read(path, bytes)?])
}

fn pick(path: &Path, name: Option<&str>, mut curves: Vec<RawCurve>) -> Result<RawCurve, ReadError> {
    let known = |curves: &[RawCurve]| curves.iter().filter_map(|curve| curve.name.clone()).collect();
    match name {
        Some(name) => match curves.iter().position(|curve| curve.name.as_deref() == Some(name)) {
            Some(index) => Ok(curves.swap_remove(index)),
            None => Err(ReadError::NoSuchCurve {
                path: path.to_owned(),
                name: name.to_owned(),
                known: known(&curves),
            }),
        },
        None if curves.len() > 1 => {
            Err(ReadError::CurveNotNamed { path: path.to_owned(), known: known(&curves) })
        }
        None => curves.pop().ok_or_else(|| ReadError::NoPoints { path: path.to_owned() }),
    }
}

fn read_whole(path: &Path) -> Result<Vec<u8>, ReadError> {
    use std::io::Read;
    let open = |source| ReadError::Open { path: path.to_owned(), source };
    let file = std::fs::File::open(path).map_err(open)?;
    let mut bytes = Vec::new();
    file.take(LARGEST_CURVE_FILE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|source| ReadError::read(path, source))?;
    if bytes.is_empty() {
        return Err(ReadError::Empty { path: path.to_owned() });
    }
    if bytes.len() as u64 > LARGEST_CURVE_FILE_BYTES {
        let problem = format!("it is larger than {LARGEST_CURVE_FILE_BYTES} bytes");
        return Err(ReadError::malformed(path, "a curve", "the whole file", problem));
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<CurvePoints, ReadError> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("curve.csv");
        std::fs::write(&path, text).unwrap();
        read_curve(&path, None, LengthUnit::Inch)
    }

    #[test]
    fn text_curves_are_read_in_any_dialect_and_come_in_mm() {
        for text in
            ["0,0,0\n1,0,0\n", "x;y;z\n0;0;0\n1,0;0;0\n", "# made by hand\r\nX Y Z\r\n0 0 0\r\n1 0 0\r\n"]
        {
            let curve = read(text).unwrap();
            assert_eq!(curve.points, [Point3::origin(), Point3::new(25.4, 0.0, 0.0)], "{text}");
            assert_eq!(curve.normals, None);
        }
        let curve = read("\u{feff}x,y,z,nx,ny,nz\n0,0,0,0,0,1\n1,0,0,0,0,2\n").unwrap();
        assert_eq!(curve.normals, Some(vec![Vector3::z(), Vector3::z() * 2.0]));
    }

    #[test]
    fn a_unit_in_the_heading_must_be_the_plans() {
        assert_eq!(read("x_in,y_in,z_in\n0,0,0\n").unwrap().source_unit, Some(LengthUnit::Inch));
        assert!(matches!(read("x_mm,y_mm,z_mm\n0,0,0\n"), Err(ReadError::UnitContradiction { .. })));
    }

    #[test]
    fn bad_lines_are_named() {
        for text in ["0,0,0\n1,0\n", "0,0,0\n1,x,0\n", "0,0,0,0,0,1\n1,0,0\n"] {
            assert!(read(text).unwrap_err().to_string().contains("line 2"), "{text}");
        }
        assert!(matches!(read(""), Err(ReadError::Empty { .. })));
    }
}
