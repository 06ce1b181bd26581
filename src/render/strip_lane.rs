//! One lane of a strip: a measurand along the seam, with its tolerance band, ±U, marks and verdict ribbon.
//!
//! In: a judged seam and where the lane lies. Out: shapes in a picture. Units: the plan's on paper, mm inside.
//! Good is a thin grey line; what is out grows from the tolerance limit to the value as solid columns, with a letter and
//! the value at the worst of each run; undecided is hatched, unseen dotted.
//! Does not judge.

use super::format::{length, signed, sixty_fourths, unit_name};
use super::ink::{Ink, excess_mm, mark, severity};
use super::picture::{Anchor, Area, Picture, Place, Stroke, Weight};
use super::raster::text_width;
use super::scale::Scale;
use super::strip::place_words;
use super::texts::Texts;
use crate::judge::{JudgedReading, JudgedSeam, JudgedValue, Measurand, Verdict, expanded_u_mm};
use crate::plan::{DecisionRule, Tolerance};
use crate::units::LengthUnit;

/// Room above and below the scale for marks and numbers.
const MARK_ROOM: f64 = 22.0;
const BADGE_RADIUS: f64 = 7.5;
const NUMBER_SIZE: f64 = 12.5;

/// Where and what a lane is.
pub(super) struct Lane<'a> {
    pub measurand: Measurand,
    pub head: Area,
    pub plot: Area,
    pub ribbon_height: f64,
    pub x: Scale,
    pub spacing_mm: f64,
    /// How far below and above the middle of the tolerances the lane reaches, mm; fitted to the values where `None`.
    pub reach_mm: Option<[f64; 2]>,
    pub unit: LengthUnit,
    /// Gives the coverage factor of the bars.
    pub rule: &'a DecisionRule,
    pub texts: &'a Texts,
}

impl Lane<'_> {
    fn cell(&self, station: &JudgedReading) -> [f64; 2] {
        let along_mm = station.reading.station.along_mm;
        let left = self.x.place(along_mm - self.spacing_mm / 2.0).max(self.x.first_place);
        [left, self.x.place(along_mm + self.spacing_mm / 2.0).min(self.x.last_place)]
    }

    fn x_of(&self, station: &JudgedReading) -> f64 {
        self.x.place(station.reading.station.along_mm)
    }

    fn column(&self, station: &JudgedReading) -> Area {
        let [left, right] = self.cell(station);
        Area::new(left, self.plot.y, right - left, self.plot.height)
    }
}

/// Draws a whole lane.
pub(super) fn draw_lane(picture: &mut Picture, judged: &JudgedSeam, lane: &Lane<'_>) {
    let y = value_scale(judged, lane);
    draw_lane_head(picture, judged, lane);
    draw_band(picture, judged, lane, &y);
    for station in &judged.stations {
        match station.value(lane.measurand).verdict {
            Verdict::Undecided => picture.hatch(lane.column(station)),
            Verdict::Unseen => picture.dots(lane.column(station)),
            _ => {}
        }
    }
    draw_columns(picture, judged, lane, &y);
    draw_line(picture, judged, lane, &y);
    draw_points(picture, judged, lane, &y);
    draw_marks(picture, judged, lane, &y);
    draw_ribbon(picture, judged, lane);
}

/// Values of a measurand from low to high, mm; the picture's y runs down.
fn value_scale(judged: &JudgedSeam, lane: &Lane<'_>) -> Scale {
    let (mut low_mm, mut high_mm) = (f64::INFINITY, f64::NEG_INFINITY);
    for station in &judged.stations {
        let value = station.value(lane.measurand);
        low_mm = low_mm.min(value.tolerance.lower_mm());
        high_mm = high_mm.max(value.tolerance.upper_mm());
        if let (Ok(estimate), None) = (value.measured, lane.reach_mm) {
            let half_mm = expanded_u_mm(estimate, lane.rule);
            low_mm = low_mm.min(estimate.value_mm - half_mm);
            high_mm = high_mm.max(estimate.value_mm + half_mm);
        }
    }
    if low_mm > high_mm {
        (low_mm, high_mm) = (0.0, 1.0);
    }
    if let Some([below_mm, above_mm]) = lane.reach_mm {
        let middle_mm = (low_mm + high_mm) / 2.0;
        (low_mm, high_mm) = (middle_mm - below_mm, middle_mm + above_mm);
    }
    let least_mm = 0.1;
    if high_mm - low_mm < least_mm {
        (low_mm, high_mm) = (low_mm - least_mm / 2.0, high_mm + least_mm / 2.0);
    }
    Scale::new([low_mm, high_mm], [lane.plot.bottom() - MARK_ROOM, lane.plot.y + MARK_ROOM])
}

/// The lane in a line: the worst value that is out, or the range where all is inside.
pub(super) fn lane_headline(
    judged: &JudgedSeam,
    measurand: Measurand,
    unit: LengthUnit,
    texts: &Texts,
) -> String {
    let values = || judged.stations.iter().map(|station| (station, station.value(measurand)));
    let out_count = values().filter(|(_, value)| value.verdict.is_out()).count();
    let seen: Vec<f64> =
        values().filter_map(|(_, value)| value.measured.ok()).map(|seen| seen.value_mm).collect();
    let name = unit_name(unit);
    match worst_out(judged, measurand) {
        Some((station, value_mm)) => {
            let value = station.value(measurand);
            format!(
                "{} {} {} {} · {} {} {} ({} {name} {})",
                out_count,
                texts.of,
                judged.stations.len(),
                texts.out,
                texts.verdict(value.verdict),
                length_or_signed(value_mm, measurand, unit),
                place_words(station.reading.station.along_mm, unit, texts),
                signed(excess_mm(value_mm, &value.tolerance), unit),
                texts.beyond_limit,
            )
        }
        None if seen.is_empty() => texts.verdict(Verdict::Unseen).to_owned(),
        None => {
            let least = seen.iter().copied().fold(f64::INFINITY, f64::min);
            let greatest = seen.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let undecided = values().filter(|(_, value)| value.verdict == Verdict::Undecided).count();
            let unsure = if undecided > 0 {
                format!(" · {undecided} {}", texts.verdict(Verdict::Undecided))
            } else {
                String::new()
            };
            format!(
                "{} … {} {name}{unsure}",
                length_or_signed(least, measurand, unit),
                length_or_signed(greatest, measurand, unit)
            )
        }
    }
}

fn worst_out(judged: &JudgedSeam, measurand: Measurand) -> Option<(&JudgedReading, f64)> {
    judged
        .stations
        .iter()
        .filter_map(|station| {
            let value = station.value(measurand);
            let seen = value.measured.ok().filter(|_| value.verdict.is_out())?;
            Some((station, seen.value_mm, excess_mm(seen.value_mm, &value.tolerance).abs()))
        })
        .max_by(|one, other| one.2.total_cmp(&other.2))
        .map(|(station, value_mm, _)| (station, value_mm))
}

/// A flush shows its sign, a gap does not.
pub(super) fn length_or_signed(value_mm: f64, measurand: Measurand, unit: LengthUnit) -> String {
    match measurand {
        Measurand::Gap => length(value_mm, unit),
        Measurand::Flush => signed(value_mm, unit),
    }
}

/// The same with the nearest sixty-fourth behind it where the plan is in inches: `0.101 (7/64)`.
pub(super) fn value_words(value_mm: f64, measurand: Measurand, unit: LengthUnit) -> String {
    let number = length_or_signed(value_mm, measurand, unit);
    if unit == LengthUnit::Inch { format!("{number} ({})", sixty_fourths(value_mm)) } else { number }
}

fn draw_lane_head(picture: &mut Picture, judged: &JudgedSeam, lane: &Lane<'_>) {
    let y = lane.head.bottom() - 6.0;
    let name = lane.texts.measurand(lane.measurand);
    picture.bold([lane.head.x, y], 13.0, Anchor::Start, Ink::Text, name);
    let name_width = text_width(name, 13.0, Weight::Bold);
    let unit = unit_name(lane.unit);
    picture.text([lane.head.x + name_width + 5.0, y], 11.0, Anchor::Start, Ink::Muted, unit);
    let mut headline = lane_headline(judged, lane.measurand, lane.unit, lane.texts);
    let room = lane.head.width - name_width - 40.0;
    if text_width(&headline, 11.5, Weight::Regular) > room {
        headline = headline.split(" (").next().unwrap_or_default().to_owned();
    }
    let size = 11.5f64.min(11.5 * room / text_width(&headline, 11.5, Weight::Regular).max(1.0)).max(8.0);
    picture.text([lane.head.right(), y], size, Anchor::End, Ink::Text, headline);
}

/// The tolerance band with its steps; its limits are written at the left and again where a zone changes them.
fn draw_band(picture: &mut Picture, judged: &JudgedSeam, lane: &Lane<'_>, y: &Scale) {
    let mut before: Option<Tolerance> = None;
    for stretch in judged
        .stations
        .chunk_by(|one, other| one.value(lane.measurand).tolerance == other.value(lane.measurand).tolerance)
    {
        let (Some(first), Some(last)) = (stretch.first(), stretch.last()) else { continue };
        let tolerance = first.value(lane.measurand).tolerance;
        let (left, right) = (lane.cell(first)[0], lane.cell(last)[1]);
        let places = [tolerance.upper_mm(), tolerance.nominal_mm, tolerance.lower_mm()].map(|mm| y.place(mm));
        let height = (places[2] - places[0]).max(0.6);
        picture.rect(Area::new(left, places[0], right - left, height), Ink::Band);
        for limit in [places[0], places[2]] {
            picture.line([left, limit], [right, limit], Stroke::new(Ink::Good, 1.0));
        }
        picture.line([left, places[1]], [right, places[1]], Stroke::new(Ink::Good, 0.7).dashed(2.0, 3.0));
        draw_limits(picture, lane, &tolerance, before.as_ref(), (left, places));
        before = Some(tolerance);
    }
}

fn draw_limits(
    picture: &mut Picture,
    lane: &Lane<'_>,
    tolerance: &Tolerance,
    before: Option<&Tolerance>,
    (left, places): (f64, [f64; 3]),
) {
    let values = [tolerance.upper_mm(), tolerance.nominal_mm, tolerance.lower_mm()];
    let mut last_place = f64::NEG_INFINITY;
    for (index, value_mm) in values.into_iter().enumerate() {
        let place = places[index];
        let text = length_or_signed(value_mm, lane.measurand, lane.unit);
        if before.is_some() && index != 1 {
            let away = if index == 0 { -4.0 } else { 11.0 };
            picture.text([left + 4.0, place + away], 10.0, Anchor::Start, Ink::Muted, text);
        } else if before.is_none() && place - last_place >= 11.0 {
            picture.text([left - 5.0, place + 3.6], 10.5, Anchor::End, Ink::Muted, text);
            last_place = place;
        }
    }
}

/// Solid columns from the tolerance limit to each value that is out.
fn draw_columns(picture: &mut Picture, judged: &JudgedSeam, lane: &Lane<'_>, y: &Scale) {
    for station in &judged.stations {
        let value = station.value(lane.measurand);
        let Some(value_mm) = out_value(&value) else { continue };
        let limit_mm = value_mm - excess_mm(value_mm, &value.tolerance);
        let [left, right] = lane.cell(station);
        let (one, other) = (y.place(limit_mm), y.place_held(value_mm));
        let inset = ((right - left) * 0.12).min(1.2);
        let area =
            Area::new(left + inset, one.min(other), right - left - 2.0 * inset, (one - other).abs().max(1.0));
        picture.boxed(area, Ink::of_verdict(value.verdict, severity(value_mm, &value.tolerance)));
    }
}

fn out_value(value: &JudgedValue<'_>) -> Option<f64> {
    value.measured.ok().filter(|_| value.verdict.is_out()).map(|seen| seen.value_mm)
}

/// The line through neighbouring measured stations, and a bar of ±U at each.
fn draw_line(picture: &mut Picture, judged: &JudgedSeam, lane: &Lane<'_>, y: &Scale) {
    let mut run: Vec<Place> = Vec::new();
    let mut bars = Vec::new();
    for station in &judged.stations {
        match station.value(lane.measurand).measured {
            Ok(seen) => {
                let x = lane.x_of(station);
                let half_mm = expanded_u_mm(seen, lane.rule);
                let ends =
                    [seen.value_mm - half_mm, seen.value_mm + half_mm].map(|end| [x, y.place_held(end)]);
                bars.push(ends);
                run.push([x, y.place_held(seen.value_mm)]);
            }
            Err(_) => picture.polyline(std::mem::take(&mut run), Stroke::new(Ink::GoodLine, 1.1)),
        }
    }
    picture.polyline(run, Stroke::new(Ink::GoodLine, 1.1));
    picture.segments(bars, Stroke::new(Ink::GoodLine, 1.0));
}

fn draw_points(picture: &mut Picture, judged: &JudgedSeam, lane: &Lane<'_>, y: &Scale) {
    for station in &judged.stations {
        let value = station.value(lane.measurand);
        let Ok(seen) = value.measured else { continue };
        let centre = [lane.x_of(station), y.place_held(seen.value_mm)];
        let ink = Ink::of_verdict(value.verdict, severity(seen.value_mm, &value.tolerance));
        match value.verdict {
            Verdict::Undecided => picture.ring(centre, 2.4, Stroke::new(ink, 1.1)),
            verdict if verdict.is_out() => picture.dot(centre, Stroke::new(ink, 4.8)),
            _ => picture.dot(centre, Stroke::new(ink, 3.2)),
        }
    }
}

/// A letter and the value at the worst station of each run that is out; the worst runs first, none over another.
fn draw_marks(picture: &mut Picture, judged: &JudgedSeam, lane: &Lane<'_>, y: &Scale) {
    let mut marks: Vec<(f64, &JudgedReading, f64)> = runs_of_out(judged, lane.measurand);
    marks.sort_by(|one, other| other.0.total_cmp(&one.0));
    let mut taken: Vec<(bool, f64, f64)> = Vec::new();
    for (_, station, value_mm) in marks {
        let value = station.value(lane.measurand);
        let text = value_words(value_mm, lane.measurand, lane.unit);
        let width = 2.0 * BADGE_RADIUS + 4.0 + text_width(&text, NUMBER_SIZE, Weight::Bold);
        let room = [lane.plot.x + 4.0, (lane.plot.right() - width).max(lane.plot.x + 4.0)];
        let left = (lane.x_of(station) - width / 2.0).clamp(room[0], room[1]);
        let is_above = matches!(value.verdict, Verdict::Wide | Verdict::High);
        let is_free = |used: &(bool, f64, f64)| used.0 != is_above || left > used.2 || left + width < used.1;
        if !taken.iter().all(is_free) {
            continue;
        }
        taken.push((is_above, left - 5.0, left + width + 5.0));
        let away = if is_above { -BADGE_RADIUS - 5.0 } else { BADGE_RADIUS + 5.0 };
        let centre = [left + BADGE_RADIUS, y.place_held(value_mm) + away];
        let ink = Ink::of_verdict(value.verdict, severity(value_mm, &value.tolerance));
        let backing =
            Area::new(left - 2.0, centre[1] - BADGE_RADIUS - 1.0, width + 5.0, 2.0 * BADGE_RADIUS + 2.0);
        picture.rect(backing, Ink::Paper);
        picture.badge(centre, BADGE_RADIUS, ink, mark(value.verdict));
        let at = [left + 2.0 * BADGE_RADIUS + 4.0, centre[1] + NUMBER_SIZE * 0.35];
        picture.bold(at, NUMBER_SIZE, Anchor::Start, Ink::Text, text);
    }
}

/// For each run of stations with the same verdict that is out: excess, station and value of its worst.
pub(super) fn runs_of_out(judged: &JudgedSeam, measurand: Measurand) -> Vec<(f64, &JudgedReading, f64)> {
    let mut runs: Vec<(f64, &JudgedReading, f64)> = Vec::new();
    let mut before = Verdict::Good;
    for station in &judged.stations {
        let value = station.value(measurand);
        if let Some(value_mm) = out_value(&value) {
            let excess = excess_mm(value_mm, &value.tolerance).abs();
            match runs.last_mut() {
                Some(last) if before == value.verdict => {
                    if excess > last.0 {
                        *last = (excess, station, value_mm);
                    }
                }
                _ => runs.push((excess, station, value_mm)),
            }
        }
        before = value.verdict;
    }
    runs
}

/// The verdicts as a row of cells, for the eye that runs over many seams.
fn draw_ribbon(picture: &mut Picture, judged: &JudgedSeam, lane: &Lane<'_>) {
    for station in &judged.stations {
        let [left, right] = lane.cell(station);
        let area = Area::new(left, lane.plot.bottom() + 1.0, right - left - 0.6, lane.ribbon_height - 2.0);
        let value = station.value(lane.measurand);
        match (value.verdict, value.measured) {
            (Verdict::Good, _) => picture.boxed(area, Ink::Good),
            (verdict, Ok(seen)) if verdict.is_out() => {
                picture.boxed(area, Ink::of_verdict(verdict, severity(seen.value_mm, &value.tolerance)));
            }
            (Verdict::Undecided, _) => picture.hatch(area),
            _ => picture.dots(area),
        }
    }
}
