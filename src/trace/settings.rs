//! What can be set when seams are looked for, and why it could not be done.
//!
//! In: nothing. Out: settings and errors. Units: mm, in the names.
//! Does not read them from anywhere.

use thiserror::Error;

use crate::scan::ScanFailure;

/// Settings of tracing and finding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TraceSettings {
    /// Narrowest and widest gap that counts as a seam.
    pub gap_mm: [f64; 2],
    /// The smallest hem that must be seen; decides which spacing is fine enough.
    pub hem_radius_mm: f64,
    /// Longest stretch without data that is bridged when nobody said that the seam goes on.
    pub bridge_mm: f64,
    /// Longest stretch that is bridged between two of the user's points.
    pub guided_bridge_mm: f64,
    /// How far the user's rough points may lie from the gap.
    pub rough_mm: f64,
    /// Seams shorter than this are not believed unless they lead from junction to junction.
    pub least_length_mm: f64,
    /// Distance between points of the written curve.
    pub curve_step_mm: f64,
}

impl Default for TraceSettings {
    fn default() -> Self {
        Self {
            gap_mm: [1.0, 13.0],
            hem_radius_mm: 1.5,
            bridge_mm: 45.0,
            guided_bridge_mm: 200.0,
            rough_mm: 15.0,
            least_length_mm: 30.0,
            curve_step_mm: 5.0,
        }
    }
}

impl TraceSettings {
    /// Largest point spacing beside the edges at which hems of the wanted radius still show.
    #[must_use]
    pub fn spacing_needed_mm(&self) -> f64 {
        // Measured on made-up sheets: at 0.4 of the radius all seams are found, at half of it some break up;
        // the estimate of the spacing itself is good to some 5 %.
        0.45 * self.hem_radius_mm
    }
}

/// Why seams could not be looked for.
#[derive(Debug, Error, PartialEq, Clone)]
pub enum TraceError {
    #[error("look for seams: {0}")]
    Scan(#[from] ScanFailure),
    #[error("look for seams: the scan has no usable points; is it the right file?")]
    Empty,
    #[error(
        "look for seams: the scan is {size_mm:.3} mm across, which is no car and no part of one; \
         say the right unit of the scan ({advice})"
    )]
    WrongUnit { size_mm: f64, advice: &'static str },
    #[error(
        "look for seams: points lie {spacing_mm:.2} mm apart at the panels' edges, too far to see hems of {hem_radius_mm:.1} mm radius; \
         scan the edges with {needed_mm:.2} mm or closer"
    )]
    TooSparse { spacing_mm: f64, hem_radius_mm: f64, needed_mm: f64 },
    #[error(
        "trace the seam: no gap within {rough_mm:.0} mm of the {which} point ({x_mm:.1}, {y_mm:.1}, {z_mm:.1}) mm; \
         the nearest is {nearest}; pick a point nearer to the gap"
    )]
    NoGapAt { which: String, x_mm: f64, y_mm: f64, z_mm: f64, rough_mm: f64, nearest: String },
    #[error(
        "trace the seam: the first and last point are the same place on the seam; pick them further apart"
    )]
    NoLength,
}
