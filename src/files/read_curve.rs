//! Reads a reference curve from any of the curve formats.
//!
//! In: a path, the name after `#` if any, and the plan's unit. Out: points in order and normals, mm.
//! Units, method, limits: see `curve_file`, which keeps a file for several seams.

use std::path::Path;

use super::curve_file::{CurveFile, CurvePoints};
use super::read_error::ReadError;
use crate::units::LengthUnit;

/// Reads the curve called `name` of a file, or its only curve.
///
/// # Errors
/// The file cannot be read, has no such curve or several, or is in another unit than the plan's.
pub fn read_curve(path: &Path, name: Option<&str>, plan_unit: LengthUnit) -> Result<CurvePoints, ReadError> {
    CurveFile::open(path)?.curve(name, &[], plan_unit)
}

#[cfg(test)]
mod tests {
    use nalgebra::{Point3, Vector3};

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
