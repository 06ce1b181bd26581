//! Seam curves as text for other programs.
//!
//! In: curves (mm) with names. Out: CSV with normals, DXF (3D polylines), OBJ (lines).
//! Method: DXF group codes of release 12, which every CAD program reads (Autodesk, DXF Reference: POLYLINE with flag 8,
//! VERTEX with flag 32); OBJ `o`, `v`, `l` statements (Wavefront Object file specification).
//! Does not write files.

use std::fmt::Write;

use super::chains::ChainPoint;

/// A curve and its name.
#[derive(Debug, Clone, Copy)]
pub struct NamedCurve<'a> {
    pub name: &'a str,
    pub points: &'a [ChainPoint],
}

/// One curve: `x,y,z,nx,ny,nz`, a heading first, lengths divided by `unit_mm`.
#[must_use]
pub fn curve_csv(points: &[ChainPoint], unit_mm: f64) -> String {
    let mut text = String::from("x,y,z,nx,ny,nz\n");
    for ChainPoint { point, outward, .. } in points {
        let place = point / unit_mm;
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "{:.5},{:.5},{:.5},{:.6},{:.6},{:.6}",
            place.x, place.y, place.z, outward.x, outward.y, outward.z
        );
    }
    text
}

/// Several curves as open 3D polylines, one layer each.
#[must_use]
pub fn curves_dxf(curves: &[NamedCurve<'_>], unit_mm: f64) -> String {
    let mut text = String::from("0\nSECTION\n2\nENTITIES\n");
    for curve in curves {
        let _ = write!(text, "0\nPOLYLINE\n8\n{}\n66\n1\n70\n8\n10\n0.0\n20\n0.0\n30\n0.0\n", curve.name);
        for point in curve.points {
            let place = point.point / unit_mm;
            let _ = write!(
                text,
                "0\nVERTEX\n8\n{}\n10\n{:.6}\n20\n{:.6}\n30\n{:.6}\n70\n32\n",
                curve.name, place.x, place.y, place.z
            );
        }
        let _ = write!(text, "0\nSEQEND\n8\n{}\n", curve.name);
    }
    text.push_str("0\nENDSEC\n0\nEOF\n");
    text
}

/// Several curves as named line objects.
#[must_use]
pub fn curves_obj(curves: &[NamedCurve<'_>], unit_mm: f64) -> String {
    let mut text = String::new();
    let mut vertex = 1;
    for curve in curves {
        let _ = writeln!(text, "o {}", curve.name);
        for point in curve.points {
            let place = point.point / unit_mm;
            let _ = writeln!(text, "v {:.6} {:.6} {:.6}", place.x, place.y, place.z);
        }
        let line: Vec<String> =
            (vertex..vertex + curve.points.len()).map(|number| number.to_string()).collect();
        let _ = writeln!(text, "l {}", line.join(" "));
        vertex += curve.points.len();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Point3, Vector3};

    #[test]
    fn the_three_texts_hold_the_same_points() {
        let points: Vec<ChainPoint> = (0..3)
            .map(|step| ChainPoint {
                point: Point3::new(25.4 * f64::from(step), 0.0, 50.8),
                outward: Vector3::z(),
                width_mm: 4.0,
                pair_count: 3,
            })
            .collect();
        let curves = [NamedCurve { name: "a", points: &points }, NamedCurve { name: "b", points: &points }];
        assert_eq!(
            curve_csv(&points, 25.4).lines().nth(2),
            Some("1.00000,0.00000,2.00000,0.000000,0.000000,1.000000")
        );
        let dxf = curves_dxf(&curves, 1.0);
        assert_eq!(dxf.matches("\nVERTEX\n").count(), 6);
        assert_eq!(dxf.lines().count() % 2, 0, "DXF is pairs of lines");
        let obj = curves_obj(&curves, 1.0);
        assert!(obj.ends_with("l 4 5 6\n"), "{obj}");
    }
}
