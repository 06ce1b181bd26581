//! What the benches measure: straight seams in rows, 200 mm apart, with background filled in.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

use nalgebra::{Point3, Vector3};
use shutline::geometry::Curve;
use shutline::plan::{Plan, PlanText};
use shutline::rehearse::{Rehearsal, Scanner, rehearse};

/// Length of one seam, mm.
pub const SEAM_MM: f64 = 200.0;

/// A plan of so many seams; the first ones are always at the same places.
pub fn plan(seam_count: usize) -> Plan {
    let mut text = "title = 'Bench'\nunits = 'mm'\n[scan]\nunits = 'mm'\n[panels.a]\n[panels.b]\n".to_owned();
    for index in 0..seam_count {
        text += &format!(
            "[[seam]]\nid = 'seam-{index}'\ndatum_panel = 'a'\nother_panel = 'b'\ndatum_side = 'left'\n\
             curve = '{index}'\ngap = {{ nominal = 4, minus = 0.5, plus = 0.5 }}\n\
             flush = {{ nominal = 0, minus = 0.5, plus = 0.5 }}\n"
        );
    }
    let text = PlanText::parse(&text, "bench").unwrap();
    text.into_plan(|reference| Ok(seam_curve(reference.path.parse().unwrap()))).unwrap()
}

fn seam_curve(index: usize) -> Curve {
    let origin = Point3::new((index % 10) as f64 * 300.0, (index / 10) as f64 * 200.0, 0.0);
    let points: Vec<Point3<f64>> =
        (0..=20).map(|step| origin + Vector3::x() * (f64::from(step) * SEAM_MM / 20.0)).collect();
    Curve::through(&points, Some(&vec![Vector3::z(); points.len()])).unwrap()
}

/// The points of all seams of a plan under an ordinary scanner.
pub fn seam_points(plan: &Plan, spacing_mm: f64) -> Vec<Point3<f64>> {
    let scanner = Scanner { spacing_mm, ..Scanner::ordinary() };
    rehearse(plan, &Rehearsal { scanner, ..Rehearsal::default() }).unwrap().points
}

/// Points of the rest of the car, half of them within the box of the seams, in no order that a cache could use.
pub fn background(count: usize) -> impl Iterator<Item = Point3<f64>> {
    (0..count).map(|index| {
        let step = index as f64;
        Point3::new(
            (step * 971.31) % 6000.0 - 1500.0,
            (step * 613.77) % 3500.0 - 700.0,
            120.0 + (step * 0.37) % 900.0,
        )
    })
}

/// A row of a PLY with normals and colour: 27 bytes.
fn row(point: &Point3<f64>) -> [u8; 27] {
    let mut bytes = [128; 27];
    let values = point.iter().map(|value| *value as f32).chain([0.0, 0.0, 1.0]);
    for (place, value) in bytes.chunks_exact_mut(4).zip(values) {
        place.copy_from_slice(&value.to_le_bytes());
    }
    bytes
}

/// Writes a binary PLY: the given points, then background up to a count.
pub fn write_ply(path: &Path, points: &[Point3<f64>], point_count: usize) {
    let mut file = BufWriter::new(File::create(path).unwrap());
    write!(
        file,
        "ply\nformat binary_little_endian 1.0\nelement vertex {point_count}\nproperty float x\nproperty float y\n\
         property float z\nproperty float nx\nproperty float ny\nproperty float nz\nproperty uchar red\n\
         property uchar green\nproperty uchar blue\nend_header\n"
    )
    .unwrap();
    let rest = background(point_count.saturating_sub(points.len()));
    for point in points.iter().take(point_count).copied().chain(rest) {
        file.write_all(&row(&point)).unwrap();
    }
    file.flush().unwrap();
}
