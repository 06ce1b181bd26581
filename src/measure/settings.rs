//! How to measure: everything that is not in the seam itself.
//!
//! In: a plan's scan terms. Out: [`MeasureSettings`]. Units: mm.

use crate::plan::Plan;

/// Settings of the measuring; the defaults are those of the documentation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureSettings {
    /// The scanner's own standard uncertainty over a gap-sized distance, common to the whole scan, mm.
    pub accuracy_mm: f64,
    /// Gaussian width of the scanner's smoothing where the plan gives it; estimated from the hems otherwise, mm.
    pub smoothing_mm: Option<f64>,
    /// Points of this far along the seam to both sides of a station make its edges, mm.
    pub hem_reach_mm: f64,
    /// Points of this far along the seam to both sides of a station make its outer surfaces, mm.
    pub surface_reach_mm: f64,
    /// Longest set-back: how far from the edge the outer surface is used at most, mm.
    pub set_back_mm: f64,
}

/// Standard uncertainty of a hand-held scanner over a gap where the plan is silent, mm: the common part seen in repeated
/// practice scans with registration errors of 0.008 mm a view.
pub const DEFAULT_ACCURACY_MM: f64 = 0.02;

impl Default for MeasureSettings {
    fn default() -> Self {
        Self {
            accuracy_mm: DEFAULT_ACCURACY_MM,
            smoothing_mm: None,
            hem_reach_mm: 5.0,
            surface_reach_mm: 15.0,
            set_back_mm: 40.0,
        }
    }
}

impl MeasureSettings {
    /// The defaults with what the plan says about the scanner.
    #[must_use]
    pub fn for_plan(plan: &Plan) -> Self {
        Self { accuracy_mm: plan.scan.accuracy_mm, smoothing_mm: plan.scan.smoothing_mm, ..Self::default() }
    }
}
