//! Features that run across a seam in the virtual world: creases, and rows of bars or grooves, on both panels.
//!
//! In: [`CrossFeature`]s of a seam's shape, a place on a panel. Out: how far the surface stands out there; the true lines.
//! Units: mm; frame: that of the true section: `x` across from mid-gap, `s` along the true curve, height outward.
//! Method: the panel's whole section is lifted along the section's outward axis by a function of the place across the feature's
//! line, `s − line(x)`: a roof of two straight slopes whose ridge is rounded by a parabola, or a flat top with two flanks
//! of half a cosine. By construction the slopes, continued, meet on the line, and the flanks stand at half height at the
//! same distance from it; so step, shift and pitch are the settings' own, exactly.
//! Does not turn noise or sight with the feature: views see its flanks as they see the panel.

use std::f64::consts::PI;
use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

use super::settings::SeamShape;
use crate::plan::{Plan, Seam};
use crate::units::LengthUnit;

/// What kind of feature; sizes in mm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "lowercase")]
pub enum CrossShape {
    /// Turns by this angle, rounded over `± rounded_mm`; positive falls away on both sides (a ridge).
    Crease { turn_deg: f64, rounded_mm: f64 },
    /// Bars of a height (negative: grooves), a width at the foot, flanks so wide, and where each lies off an even row.
    Bars {
        height_mm: f64,
        width_mm: f64,
        flank_mm: f64,
        #[serde(default)]
        off_mm: Vec<f64>,
    },
}

/// A feature across a seam, with what is wrong with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CrossFeature {
    /// Where the datum panel's line (of the first bar) meets mid-gap, along the true curve.
    pub at_mm: f64,
    /// How far the line runs along the seam for each millimetre across: 0 crosses at right angles.
    #[serde(default)]
    pub slope: f64,
    /// How far the other panel's line lies further along the seam.
    #[serde(default)]
    pub shift_mm: f64,
    /// Distance of bars along the seam, datum panel and other panel.
    #[serde(default)]
    pub pitch_mm: [f64; 2],
    /// How many, for bars.
    #[serde(default = "one")]
    pub count: usize,
    pub shape: CrossShape,
}

const fn one() -> usize {
    1
}

impl CrossFeature {
    /// How far a panel (0 datum, 1 other) stands out at a place, mm.
    #[must_use]
    pub fn lift_mm(&self, panel: usize, x_mm: f64, s_mm: f64) -> f64 {
        let own_mm = s_mm - self.slope * x_mm;
        match &self.shape {
            CrossShape::Crease { turn_deg, rounded_mm } => {
                roof_mm(own_mm - self.line_mm(panel, 0), (turn_deg.to_radians() / 2.0).tan(), *rounded_mm)
            }
            CrossShape::Bars { height_mm, width_mm, flank_mm, .. } => (0..self.count)
                .map(|index| bar_mm(own_mm - self.line_mm(panel, index), *height_mm, *width_mm, *flank_mm))
                .sum(),
        }
    }

    /// Where a panel's line meets mid-gap, along the true curve, mm.
    #[must_use]
    pub fn line_mm(&self, panel: usize, index: usize) -> f64 {
        let shift_mm = if panel == 1 { self.shift_mm } else { 0.0 };
        let off_mm = match &self.shape {
            CrossShape::Bars { off_mm, .. } => off_mm.get(index).copied().unwrap_or(0.0),
            CrossShape::Crease { .. } => 0.0,
        };
        self.at_mm + shift_mm + off_mm + index as f64 * self.pitch_mm.get(panel).copied().unwrap_or(0.0)
    }

    /// Distance from the datum panel's line to the other's, across the datum panel's.
    #[must_use]
    pub fn true_shift_mm(&self, index: usize) -> f64 {
        (self.line_mm(1, index) - self.line_mm(0, index)) * self.slope.atan().cos()
    }
}

/// The slopes of a crease end here, and the surface is level again, so that the rest of the seam stays near its curve, mm.
const SLOPE_END_MM: f64 = 36.0;
/// The end is rounded over so much to either side, mm.
const EASE_MM: f64 = 4.0;

/// What is true of one feature of a rehearsed seam, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct LineupTruth {
    pub seam: String,
    /// Place of the feature among the seam's, and of the bar in its row.
    pub feature: usize,
    pub index: usize,
    /// Where the datum panel's line meets mid-gap, along the true curve.
    pub at_mm: f64,
    pub step_mm: f64,
    pub shift_mm: f64,
}

/// The truth of every feature of a seam.
#[must_use]
pub fn lineup_truth(seam: &Seam, shape: &SeamShape) -> Vec<LineupTruth> {
    let mut rows = Vec::new();
    for (number, feature) in shape.features.iter().enumerate() {
        for index in 0..feature.count {
            let at_mm = feature.line_mm(0, index);
            let flush_mm =
                shape.flush_mm.as_ref().map_or(seam.flush.tolerance.nominal_mm, |flush| flush.at(at_mm));
            rows.push(LineupTruth {
                seam: seam.id.0.clone(),
                feature: number,
                index,
                at_mm,
                step_mm: flush_mm,
                shift_mm: feature.true_shift_mm(index),
            });
        }
    }
    rows
}

/// The truth of all features of a rehearsal as CSV, in the plan's unit; `None` where there are none.
#[must_use]
pub fn lineup_truth_csv(plan: &Plan, settings: &super::settings::Rehearsal) -> Option<String> {
    let suffix = if plan.units == LengthUnit::Inch { "in" } else { "mm" };
    let mut text = format!("seam,feature,bar,at_{suffix},step_{suffix},shift_{suffix}\n");
    let mut is_empty = true;
    for seam in &plan.seams {
        for row in lineup_truth(seam, settings.shape_of(&seam.id.0)) {
            let [at, step, shift] =
                [row.at_mm, row.step_mm, row.shift_mm].map(|length_mm| length_mm / plan.units.mm());
            is_empty = false;
            // Writing to a string cannot fail.
            let _ = writeln!(text, "{},{},{},{at:.5},{step:.5},{shift:.5}", row.seam, row.feature, row.index);
        }
    }
    (!is_empty).then_some(text)
}

/// A roof: slopes of `±slope` that meet at 0 at height 0, its ridge rounded over `±rounded_mm` by a parabola that meets the
/// slopes without a kink.
fn roof_mm(offset_mm: f64, slope: f64, rounded_mm: f64) -> f64 {
    let distance_mm = offset_mm.abs();
    let to_end_mm = SLOPE_END_MM - distance_mm;
    if distance_mm < rounded_mm {
        -slope * (offset_mm * offset_mm + rounded_mm * rounded_mm) / (2.0 * rounded_mm)
    } else if to_end_mm >= EASE_MM {
        -slope * distance_mm
    } else if to_end_mm > -EASE_MM {
        let into_mm = EASE_MM - to_end_mm;
        -slope * (distance_mm - into_mm * into_mm / (4.0 * EASE_MM))
    } else {
        -slope * SLOPE_END_MM
    }
}

/// A bar: flat on top, half a cosine down each flank, half height at `(width − flank) / 2`.
fn bar_mm(offset_mm: f64, height_mm: f64, width_mm: f64, flank_mm: f64) -> f64 {
    let from_foot_mm = width_mm / 2.0 - offset_mm.abs();
    if from_foot_mm <= 0.0 {
        0.0
    } else if from_foot_mm >= flank_mm {
        height_mm
    } else {
        height_mm * (1.0 - (PI * from_foot_mm / flank_mm).cos()) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_roof_and_a_bar_are_as_wide_and_high_as_asked_for() {
        // The parabola meets the slope at 3 mm: -0.1 * (9 + 9) / 6 = -0.3, and its slope there is -0.1 * 3 / 3.
        assert!(
            (roof_mm(3.0, 0.1, 3.0) + 0.3).abs() < 1e-15 && (roof_mm(2.999_999, 0.1, 3.0) + 0.3).abs() < 1e-6
        );
        assert!((roof_mm(-10.0, 0.1, 3.0) + 1.0).abs() < 1e-15);
        // Beyond its end the roof is level at -0.1 * 36, and joins without a step.
        assert!((roof_mm(60.0, 0.1, 3.0) + 3.6).abs() < 1e-12);
        assert!(
            (roof_mm(39.999_999, 0.1, 3.0) + 3.6).abs() < 1e-6
                && (roof_mm(32.000_001, 0.1, 3.0) + 3.2).abs() < 1e-6
        );
        // Half height at (6 - 2) / 2 = 2 mm from the axis.
        assert!((bar_mm(2.0, 1.5, 6.0, 2.0) - 0.75).abs() < 1e-12);
        assert!((bar_mm(-2.0, -1.5, 6.0, 2.0) + 0.75).abs() < 1e-12);
        assert_eq!((bar_mm(0.5, 1.5, 6.0, 2.0), bar_mm(3.0, 1.5, 6.0, 2.0)), (1.5, 0.0));
    }

    #[test]
    fn the_true_shift_lies_across_the_line() {
        let feature = CrossFeature {
            at_mm: 100.0,
            slope: 0.75,
            shift_mm: 1.0,
            pitch_mm: [0.0, 0.0],
            count: 1,
            shape: CrossShape::Crease { turn_deg: 20.0, rounded_mm: 2.0 },
        };
        assert!((feature.true_shift_mm(0) - 0.8).abs() < 1e-12);
    }
}
