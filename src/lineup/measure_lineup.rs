//! Step and shift of every feature of a lineup, and its row.
//!
//! In: a lineup, its seam, the seam's band and readings, the scanner's accuracy. Out: a [`LineupReading`]. Units: mm.
//! Uncertainty: the two lines' own, independent; the scanner's stated accuracy, of which both panels' common part drops out
//! as it does for flush. For a line that crosses at an angle the shift is what lies across it: the distance along the seam times
//! the cosine.
//! Does not judge.

use super::local_points::{place_at, points_near};
use super::reading::{FeatureReading, LineupReading, LineupReason, SideLine};
use super::row::row_reading;
use super::side_line::{gathered_half_mm, side_line};
use crate::measure::{Component, Estimate, SeamReadings, UncertaintySource};
use crate::plan::{Lineup, Seam, Side};
use crate::seam::SeamBand;

/// Share of the scanner's common error that reaches the difference of two neighbouring panels; as for flush in `measure`.
const COMMON_SHARE: f64 = 0.7;

/// Measures one lineup.
#[must_use]
pub fn measure_lineup(
    lineup: &Lineup,
    seam: &Seam,
    band: &SeamBand,
    readings: &SeamReadings,
    accuracy_mm: f64,
) -> LineupReading {
    let features: Vec<FeatureReading> = lineup
        .places_mm()
        .into_iter()
        .enumerate()
        .map(|(index, at_mm)| feature(lineup, seam, band, readings, (index, at_mm, accuracy_mm)))
        .collect();
    let row = lineup.bars.map(|_| row_reading(&features));
    LineupReading { id: lineup.id.clone(), features, row }
}

fn feature(
    lineup: &Lineup,
    seam: &Seam,
    band: &SeamBand,
    readings: &SeamReadings,
    (index, at_mm, accuracy_mm): (usize, f64, f64),
) -> FeatureReading {
    let place = match place_at(seam, readings, at_mm) {
        Ok(place) => place,
        Err(reason) => {
            let frame = seam.curve.frame_at(at_mm);
            let lines = [None, None];
            return FeatureReading { index, at_mm, frame, lines, step: Err(reason), shift: Err(reason) };
        }
    };
    let sides = points_near(band, at_mm, &place, gathered_half_mm(lineup));
    let found = [0, 1].map(|side: usize| side_line(&sides[side], lineup, 0.0));
    let reason = reason_of([sides[0].is_empty(), sides[1].is_empty()], &found);
    let [left, right] = found.map(Result::ok);
    let lines = if seam.datum_side == Side::Left { [left, right] } else { [right, left] };
    let (step, shift) = match (&lines, reason) {
        ([Some(datum), Some(other)], _) => {
            (Ok(step(datum, other, accuracy_mm)), Ok(shift(datum, other, accuracy_mm)))
        }
        (_, reason) => (Err(reason), Err(reason)),
    };
    FeatureReading { index, at_mm, frame: place.frame, lines, step, shift }
}

fn reason_of(is_empty: [bool; 2], found: &[Result<SideLine, LineupReason>; 2]) -> LineupReason {
    match is_empty {
        [true, true] => LineupReason::NoPoints,
        [true, false] | [false, true] => LineupReason::OnePanelMissing,
        [false, false] => {
            let reasons = found.iter().filter_map(|side| side.as_ref().err().copied());
            reasons.min().unwrap_or(LineupReason::FeatureNotSeen)
        }
    }
}

const fn noise(u_mm: f64, degrees_of_freedom: f64) -> Component {
    Component { source: UncertaintySource::ScanNoise, u_mm, degrees_of_freedom }
}

const fn stated(accuracy_mm: f64) -> Component {
    Component {
        source: UncertaintySource::ScannerAccuracy,
        u_mm: COMMON_SHARE * accuracy_mm,
        degrees_of_freedom: f64::INFINITY,
    }
}

fn step(datum: &SideLine, other: &SideLine, accuracy_mm: f64) -> Estimate {
    let components = vec![
        noise(datum.height_u_mm, datum.height_degrees_of_freedom),
        noise(other.height_u_mm, other.height_degrees_of_freedom),
        stated(accuracy_mm),
    ];
    Estimate::from_components(other.height_mm - datum.height_mm, components)
}

fn shift(datum: &SideLine, other: &SideLine, accuracy_mm: f64) -> Estimate {
    let cosine = datum.slope.atan().cos();
    let components = vec![
        noise(datum.along_u_mm * cosine, datum.along_degrees_of_freedom),
        noise(other.along_u_mm * cosine, other.along_degrees_of_freedom),
        stated(accuracy_mm),
    ];
    Estimate::from_components((other.along_mm - datum.along_mm) * cosine, components)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(along_mm: f64, slope: f64, height_mm: f64) -> SideLine {
        SideLine {
            along_mm,
            slope,
            height_mm,
            height_slope: 0.0,
            height_bend_per_mm: 0.0,
            along_u_mm: 0.03,
            height_u_mm: 0.04,
            along_degrees_of_freedom: 6.0,
            height_degrees_of_freedom: 5.0,
            places: Vec::new(),
        }
    }

    /// By hand: lines at 3:4 (cosine 0.8) that are 1 mm apart along the seam are 0.8 mm apart across themselves;
    /// u = 0.8 · 0.03 · √2 = 0.0339; heights 0.2 and −0.1 make a step of −0.3 with u = 0.04 · √2 = 0.0566.
    #[test]
    fn a_shift_lies_across_the_line_and_a_step_outward() {
        let (datum, other) = (line(2.0, 0.75, 0.2), line(3.0, 0.75, -0.1));
        let (shift, step) = (shift(&datum, &other, 0.0), step(&datum, &other, 0.0));
        assert!((shift.value_mm - 0.8).abs() < 1e-12 && (shift.u_mm - 0.033_941).abs() < 1e-6, "{shift:?}");
        assert!((step.value_mm + 0.3).abs() < 1e-12 && (step.u_mm - 0.056_569).abs() < 1e-6, "{step:?}");
    }
}
