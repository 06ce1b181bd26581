//! Pitch and evenness of a row of bars on each panel, and left against right.
//!
//! In: the features of a row. Out: a [`RowReading`]; for a pair of mirror images a [`MirrorDifference`]. Units: mm.
//! Method: the bars' places at mid-gap, added up from bar to bar across the bars (chords: a bent seam does not shorten them by
//! more than a ten-thousandth), against their numbers; pitch is the slope of a straight line by least squares, evenness the
//! largest distance from it. The pitch's uncertainty is that of the places through the same line; it does not take in how
//! uneven the row is, which is a property of the row.
//! A row with a bar missing is measured from the others, as long as three are seen.

use nalgebra::Vector3;

use super::reading::{FeatureReading, LineupReading, LineupReason, MirrorDifference, RowReading};
use crate::measure::{Component, Estimate, UncertaintySource};

/// Fewest bars from which a pitch is told: two give a distance and no evenness.
const FEWEST_BARS: usize = 3;

/// The bars' direction and the frames' are known to about a degree, whose cosine is off by this share.
const DIRECTION_DOUBT: f64 = 2e-4;

/// A bar's number, its place in the row, and the standard uncertainty of that.
type Bar = (f64, f64, f64);

pub(super) fn row_reading(features: &[FeatureReading]) -> RowReading {
    let rows = [0, 1].map(|side| bars_of(features, side));
    let pitch = [0, 1].map(|side: usize| pitch(&rows[side]).map(|(pitch, _)| pitch));
    let evenness = [0, 1].map(|side: usize| evenness_of(&rows[side]));
    let pitch_difference = match &pitch {
        [Ok(datum), Ok(other)] => Ok(difference(other, datum)),
        [Err(reason), _] | [_, Err(reason)] => Err(*reason),
    };
    RowReading { pitch, evenness, pitch_difference }
}

fn bars_of(features: &[FeatureReading], side: usize) -> Vec<Bar> {
    let mut bars: Vec<Bar> = Vec::new();
    let mut last: Option<(nalgebra::Point3<f64>, Vector3<f64>)> = None;
    for feature in features {
        let (Some(point), Some(line)) = (feature.meeting_point(side), feature.lines[side].as_ref()) else {
            continue;
        };
        let angle_rad = line.slope.atan();
        let across_bar = feature.frame.along * angle_rad.cos() - feature.frame.across() * angle_rad.sin();
        let from_last_mm = last.map_or(0.0, |(before, direction)| {
            let mean = (direction + across_bar).try_normalize(1e-9).unwrap_or(across_bar);
            (point - before).dot(&mean)
        });
        let place_mm = bars.last().map_or(0.0, |bar| bar.1) + from_last_mm;
        bars.push((feature.index as f64, place_mm, line.along_u_mm * angle_rad.cos()));
        last = Some((point, across_bar));
    }
    bars
}

/// The straight line through the places: pitch, and its place at number 0.
fn pitch(bars: &[Bar]) -> Result<(Estimate, f64), LineupReason> {
    if bars.len() < FEWEST_BARS {
        return Err(LineupReason::TooFewBars);
    }
    let count = bars.len() as f64;
    let middle = bars.iter().map(|bar| bar.0).sum::<f64>() / count;
    let level_mm = bars.iter().map(|bar| bar.1).sum::<f64>() / count;
    let spread: f64 = bars.iter().map(|bar| (bar.0 - middle).powi(2)).sum();
    let slope_mm = bars.iter().map(|bar| (bar.0 - middle) * (bar.1 - level_mm)).sum::<f64>() / spread;
    let u_mm = bars.iter().map(|bar| ((bar.0 - middle) * bar.2).powi(2)).sum::<f64>().sqrt() / spread;
    let direction = Component {
        source: UncertaintySource::Model,
        u_mm: DIRECTION_DOUBT * slope_mm.abs(),
        degrees_of_freedom: f64::INFINITY,
    };
    let estimate = Estimate::from_components(slope_mm, vec![noise(u_mm, 6.0 * count), direction]);
    Ok((estimate, level_mm - middle * slope_mm))
}

fn evenness_of(bars: &[Bar]) -> Result<Estimate, LineupReason> {
    let (pitch, start_mm) = pitch(bars)?;
    let off_mm = |bar: &Bar| (bar.1 - start_mm - bar.0 * pitch.value_mm).abs();
    let worst = bars.iter().max_by(|one, other| off_mm(one).total_cmp(&off_mm(other)));
    let (largest_mm, u_mm) = worst.map_or((0.0, 0.0), |bar| (off_mm(bar), bar.2));
    Ok(Estimate::from_components(largest_mm, vec![noise(u_mm, 6.0)]))
}

const fn noise(u_mm: f64, degrees_of_freedom: f64) -> Component {
    Component { source: UncertaintySource::ScanNoise, u_mm, degrees_of_freedom }
}

/// One estimate minus another, independent.
fn difference(one: &Estimate, other: &Estimate) -> Estimate {
    let components =
        vec![noise(one.u_mm, one.degrees_of_freedom), noise(other.u_mm, other.degrees_of_freedom)];
    Estimate::from_components(one.value_mm - other.value_mm, components)
}

/// A lineup against its mirror image on the other side of the car, as its own datum panel sees it; `is_opposite` is true
/// where the mirror's datum panel stands opposite to its own in the mirror.
#[must_use]
pub fn mirror_difference(one: &LineupReading, mirror: &LineupReading, is_opposite: bool) -> MirrorDifference {
    let pitch_of = |reading: &LineupReading, side: usize| {
        reading.row.as_ref().and_then(|row| row.pitch[side].as_ref().ok().cloned())
    };
    MirrorDifference {
        id: one.id.clone(),
        mirror: mirror.id.clone(),
        step: mean_step(one).zip(mean_step(mirror)).map(|(one, other)| {
            let value_mm = if is_opposite { -other.value_mm } else { other.value_mm };
            difference(&one, &Estimate { value_mm, ..other })
        }),
        pitch: [0, 1].map(|side: usize| {
            let there = if is_opposite { 1 - side } else { side };
            pitch_of(one, side).zip(pitch_of(mirror, there)).map(|(one, other)| difference(&one, &other))
        }),
    }
}

fn mean_step(reading: &LineupReading) -> Option<Estimate> {
    let steps: Vec<&Estimate> =
        reading.features.iter().filter_map(|feature| feature.step.as_ref().ok()).collect();
    let count = steps.len() as f64;
    if steps.is_empty() {
        return None;
    }
    let mean_mm = steps.iter().map(|step| step.value_mm).sum::<f64>() / count;
    // The scanner's part is the same for all of them, and the largest part: the mean is given no less than it.
    let u_mm = (steps.iter().map(|step| step.u_mm.powi(2)).sum::<f64>() / count).sqrt();
    Some(Estimate::from_components(mean_mm, vec![noise(u_mm, 6.0)]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: places 0, 10, 20.3, 30 against 0, 1, 2, 3. Slope: (−1.5·−15.075 − 0.5·−5.075 + 0.5·5.225 + 1.5·14.925) / 5
    /// = 10.03; u = 0.02 · √5 / 5 = 0.00894, with 0.002 for the direction; off the line: 0.03, 0.06, 0.21, 0.12 … the third by 0.21.
    #[test]
    fn pitch_is_the_slope_and_evenness_the_largest_distance() {
        let bars = [(0.0, 0.0, 0.02), (1.0, 10.0, 0.02), (2.0, 20.3, 0.02), (3.0, 30.0, 0.02)];
        let (found, start_mm) = pitch(&bars).unwrap();
        assert!((found.value_mm - 10.03).abs() < 1e-12, "{found:?}");
        let by_hand_mm = (0.02 * 5f64.sqrt() / 5.0).hypot(2e-4 * 10.03);
        assert!((found.u_mm - by_hand_mm).abs() < 1e-12, "{found:?}");
        // Mean place 15.075 less 1.5 pitches.
        assert!((start_mm - 0.03).abs() < 1e-12);
        let evenness = evenness_of(&bars).unwrap();
        assert!((evenness.value_mm - 0.21).abs() < 1e-12, "{evenness:?}");
        assert_eq!(pitch(&bars[..2]).unwrap_err(), LineupReason::TooFewBars);
    }
}
