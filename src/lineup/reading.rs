//! What a lineup gave: plain data. Units: mm; pairs are datum panel, then other panel.

use nalgebra::Point3;

use crate::geometry::CurveFrame;
use crate::measure::Estimate;

/// Why something about a lineup is not there. One token each, as written to `lineups.csv`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LineupReason {
    /// No station of the seam near the crossing was measured, and the plan does not say which way is outward.
    SeamUnseen,
    NoPoints,
    OnePanelMissing,
    TooSparse,
    /// The surface is there, and no crease, bar or groove was found on it near its place.
    FeatureNotSeen,
    /// Places were found that do not lie on a line.
    NotALine,
    /// Too few bars of the row were found.
    TooFewBars,
}

impl LineupReason {
    /// Every reason.
    pub const ALL: [Self; 7] = [
        Self::SeamUnseen,
        Self::NoPoints,
        Self::OnePanelMissing,
        Self::TooSparse,
        Self::FeatureNotSeen,
        Self::NotALine,
        Self::TooFewBars,
    ];

    /// The token in files.
    #[must_use]
    pub const fn token(self) -> &'static str {
        match self {
            Self::SeamUnseen => "seam-unseen",
            Self::NoPoints => "no-points",
            Self::OnePanelMissing => "one-panel-missing",
            Self::TooSparse => "too-sparse",
            Self::FeatureNotSeen => "feature-not-seen",
            Self::NotALine => "not-a-line",
            Self::TooFewBars => "too-few-bars",
        }
    }
}

/// One place of a line, in the section frame at the crossing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinePlace {
    /// Across the seam from mid-gap.
    pub x_mm: f64,
    /// Along the seam from the frame's origin.
    pub s_mm: f64,
    /// Outward.
    pub z_mm: f64,
}

/// A feature's line on one panel, continued to mid-gap.
#[derive(Debug, Clone, PartialEq)]
pub struct SideLine {
    /// Along the seam at mid-gap, from the frame's origin; and its change a millimetre across.
    pub along_mm: f64,
    pub slope: f64,
    /// Outward at mid-gap; the change a millimetre across, and half the bend.
    pub height_mm: f64,
    pub height_slope: f64,
    pub height_bend_per_mm: f64,
    /// Standard uncertainties from the scatter of the places.
    pub along_u_mm: f64,
    pub height_u_mm: f64,
    pub along_degrees_of_freedom: f64,
    pub height_degrees_of_freedom: f64,
    /// In order, from the seam outwards.
    pub places: Vec<LinePlace>,
}

impl SideLine {
    /// Height of the line at a place across, mm.
    #[must_use]
    pub fn height_at(&self, x_mm: f64) -> f64 {
        self.height_mm + x_mm * (self.height_slope + x_mm * self.height_bend_per_mm)
    }
}

/// One crease, bar or groove at its crossing.
#[derive(Debug, Clone, PartialEq)]
pub struct FeatureReading {
    /// From 0, along the row.
    pub index: usize,
    /// Where the plan has it, along the seam's curve.
    pub at_mm: f64,
    /// The section frame in which it was measured: origin at mid-gap, outward as the datum panel. Car frame.
    pub frame: CurveFrame,
    pub lines: [Option<SideLine>; 2],
    pub step: Result<Estimate, LineupReason>,
    pub shift: Result<Estimate, LineupReason>,
}

impl FeatureReading {
    /// Where one panel's line meets mid-gap. Car frame, mm.
    #[must_use]
    pub fn meeting_point(&self, side: usize) -> Option<Point3<f64>> {
        let line = self.lines.get(side)?.as_ref()?;
        Some(self.frame.origin + self.frame.along * line.along_mm + self.frame.outward * line.height_mm)
    }
}

/// A row of bars: each panel's own, and one against the other.
#[derive(Debug, Clone, PartialEq)]
pub struct RowReading {
    pub pitch: [Result<Estimate, LineupReason>; 2],
    /// Furthest that a bar lies off its place in an even row; noise alone makes it a little more than zero.
    pub evenness: [Result<Estimate, LineupReason>; 2],
    /// The other panel's pitch minus the datum panel's.
    pub pitch_difference: Result<Estimate, LineupReason>,
}

/// Everything about one lineup.
#[derive(Debug, Clone, PartialEq)]
pub struct LineupReading {
    pub id: String,
    /// In the row's order; one for a single feature.
    pub features: Vec<FeatureReading>,
    pub row: Option<RowReading>,
}

/// A lineup minus its mirror image on the other side of the car; `None` where either is unseen.
#[derive(Debug, Clone, PartialEq)]
pub struct MirrorDifference {
    pub id: String,
    pub mirror: String,
    /// Mean step of the features minus the mirror's.
    pub step: Option<Estimate>,
    /// Pitches, datum panel and other panel.
    pub pitch: [Option<Estimate>; 2],
}
