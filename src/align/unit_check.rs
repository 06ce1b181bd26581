//! Notices a scan in the wrong unit, names the factor, and changes nothing.
//!
//! In: pairs of points, or two extents. Out: nothing, or [`AlignError::WrongUnit`]. Units: mm.
//! Method: distances between the points of a car do not change; a ratio near 10, 25.4, 1000 or their inverses (or
//! 2.54, 100, 39.37) is a unit. Nothing in between is judged here: it is left to the residuals.

use nalgebra::Point3;

use super::align_error::AlignError;

/// How far a ratio may be from a unit's: cars of a kind, and pairs that are mixed up, differ by less or by anything.
const RATIO_SLACK: f64 = 0.03;

/// How many mm were called 1 mm (or the other way round), and the unit that the scan then is in if it was read as mm.
const FACTORS: [(f64, &str); 3] = [(1000.0, "m"), (25.4, "inch"), (10.0, "cm")];

/// Compares the sizes of two sets of points that belong together.
pub(super) fn check_unit_of_pairs(scan: &[Point3<f64>], car: &[Point3<f64>]) -> Result<(), AlignError> {
    check_unit_of_lengths(size_mm(scan), size_mm(car), RATIO_SLACK)
}

/// Compares two lengths that should be equal within `slack`, a fraction.
pub(super) fn check_unit_of_lengths(scan_mm: f64, car_mm: f64, slack: f64) -> Result<(), AlignError> {
    if !(scan_mm > 0.0 && car_mm > 0.0) {
        return Ok(());
    }
    let ratio = scan_mm / car_mm;
    let evidence = format!("{scan_mm:.3} mm in the scan where {car_mm:.3} mm is expected");
    for (factor, unit) in FACTORS {
        if (ratio * factor - 1.0).abs() < slack {
            return Err(AlignError::WrongUnit { factor, too: "too small", evidence, suggestion: unit });
        }
        if (ratio / factor - 1.0).abs() < slack {
            return Err(AlignError::WrongUnit { factor, too: "too large", evidence, suggestion: "mm" });
        }
    }
    Ok(())
}

/// Median distance from the centre: one mixed-up point does not change it much.
fn size_mm(points: &[Point3<f64>]) -> f64 {
    let (centre, _) = super::pose_step::pivot_of(points.iter());
    let mut distances: Vec<f64> = points.iter().map(|point| (point - centre).norm()).collect();
    distances.sort_by(f64::total_cmp);
    distances.get(distances.len() / 2).copied().unwrap_or(0.0)
}
