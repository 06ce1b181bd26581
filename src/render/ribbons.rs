//! The verdicts of one seam as two thin ribbons, gap above flush: a line of a list that the eye compares with its neighbours.
//!
//! In: a judged seam, and the length that fills the width. Out: a [`Picture`]. Units: mm in, picture units out.
//! Good is grey, what is out is solid, undecided hatched, unseen dotted, as in the strips.
//! Does not show values.

use super::ink::{Ink, severity};
use super::picture::{Anchor, Area, Picture};
use super::scale::Scale;
use super::strip_lane::lane_headline;
use super::texts::Texts;
use crate::judge::{JudgedSeam, JudgedValue, Measurand, Verdict};
use crate::plan::Seam;
use crate::units::LengthUnit;

const WIDTH: f64 = 340.0;
/// Room for the words gap and flush before their ribbons.
const WORDS: f64 = 52.0;
const RIBBON: f64 = 10.0;
const SPACE: f64 = 2.0;

pub(super) fn ribbons(judged: &JudgedSeam, seam: &Seam, full_length_mm: f64, texts: &Texts) -> Picture {
    let x = Scale::new([0.0, full_length_mm], [WORDS, WIDTH]);
    let lines = Measurand::BOTH.map(|measurand| {
        let headline = lane_headline(judged, measurand, LengthUnit::Millimetre, texts);
        format!("{}: {headline}", texts.measurand(measurand))
    });
    let mut picture = Picture::new(WIDTH, 2.0 * RIBBON + SPACE, lines.join(". "));
    for (index, measurand) in Measurand::BOTH.into_iter().enumerate() {
        let top = index as f64 * (RIBBON + SPACE);
        let at = [WORDS - 5.0, top + RIBBON - 1.4];
        picture.text(at, 10.0, Anchor::End, Ink::Muted, texts.measurand(measurand));
        let same = |one: &crate::judge::JudgedReading, other: &crate::judge::JudgedReading| {
            ink_of(&one.value(measurand)) == ink_of(&other.value(measurand))
        };
        for stretch in judged.stations.chunk_by(same) {
            let (Some(first), Some(last)) = (stretch.first(), stretch.last()) else { continue };
            let half_mm = seam.station_spacing_mm / 2.0;
            let left = x.place_held(first.reading.station.along_mm - half_mm);
            let right = x.place_held(last.reading.station.along_mm + half_mm);
            let area = Area::new(left, top, right - left, RIBBON);
            match first.value(measurand).verdict {
                Verdict::Undecided => picture.hatch(area),
                Verdict::Unseen => picture.dots(area),
                _ => picture.boxed(area, ink_of(&first.value(measurand))),
            }
        }
    }
    picture
}

fn ink_of(value: &JudgedValue<'_>) -> Ink {
    match (value.verdict, value.measured) {
        (Verdict::Good, _) => Ink::Good,
        (verdict, Ok(seen)) => Ink::of_verdict(verdict, severity(seen.value_mm, &value.tolerance)),
        (verdict, Err(_)) => Ink::of_verdict(verdict, severity(0.0, &value.tolerance)),
    }
}
