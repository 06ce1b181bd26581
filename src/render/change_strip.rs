//! Two scans of a seam, or the two sides of one, above each other, and the change below, for gap and for flush.
//!
//! In: a seam judged in both scans and its changes. Out: a [`Picture`]; the axis is the distance along the seam.
//! Units: the plan's on paper, mm inside. Both scans are drawn to one scale.
//! Real changes are discs, the largest of each run ringed, with its value and whether it is for better or worse; the grey band is ±U (the plan's k) about
//! the change, so that a change whose band holds the zero line is not proved by that station alone.
//! Does not decide anything.

use super::car_axes::seam_ends;
use super::error::RenderError;
use super::format::{along, signed, unit_name};
use super::ink::{Ink, Severity};
use super::picture::{Anchor, Area, Picture, Stroke, Weight};
use super::raster::text_width;
use super::scale::Scale;
use super::strip_lane::{Lane, draw_lane};
use super::texts::Language;
use crate::judge::{JudgedSeam, Measurand, expanded_u_mm};
use crate::plan::Plan;
use crate::summarise::{ChangeVerdict, ComparisonKind, MeasurandChange, SeamChange, StationChange, Trend};

const WIDTH: f64 = 680.0;
const MARGIN_LEFT: f64 = 40.0;
const MARGIN_RIGHT: f64 = 20.0;
const HEAD: f64 = 30.0;
const TAG: f64 = 15.0;
const LANE_HEAD: f64 = 20.0;
const LANE_PLOT: f64 = 104.0;
const RIBBON: f64 = 9.0;
const SPACE: f64 = 8.0;
const CHANGE_PLOT: f64 = 84.0;
const FOOT: f64 = 36.0;
/// Least span of the change's scale, mm, so that noise does not look like news.
const LEAST_SPAN_MM: f64 = 0.4;

/// The picture of one seam's changes.
///
/// # Errors
/// The seam is not in the plan.
pub fn change_strip_picture(
    plan: &Plan,
    scans: [&JudgedSeam; 2],
    change: &SeamChange,
    kind: ComparisonKind,
    language: Language,
) -> Result<Picture, RenderError> {
    let unknown = || RenderError::UnknownSeam { seam: change.seam.0.clone() };
    let seam = plan.seam(&change.seam).ok_or_else(unknown)?;
    let lane_height = TAG + LANE_HEAD + LANE_PLOT + RIBBON + SPACE;
    let block_height = 2.0 * lane_height + TAG + CHANGE_PLOT + FOOT;
    let words = language.comparison_texts();
    let [gap, flush] = Measurand::BOTH.map(|measurand| words.verdict(change.measurand(measurand).verdict));
    let sentence = words
        .strip_label
        .replace("{seam}", &seam.title)
        .replace("{change}", words.change_of(kind))
        .replace("{gap}", gap)
        .replace("{flush}", flush);
    let mut picture = Picture::new(WIDTH, HEAD + 2.0 * block_height, sentence);
    picture.bold([MARGIN_LEFT, 18.0], 16.0, Anchor::Start, Ink::Text, seam.title.clone());
    let x = Scale::new([0.0, seam.curve.length_mm()], [MARGIN_LEFT + 6.0, WIDTH - MARGIN_RIGHT]);
    for (index, measurand) in Measurand::BOTH.into_iter().enumerate() {
        let top = HEAD + index as f64 * block_height;
        let range_mm = common_range_mm(plan, scans, measurand);
        for (place, tag) in words.sides_of(kind).into_iter().enumerate() {
            let lane_top = top + place as f64 * lane_height;
            picture.bold([MARGIN_LEFT, lane_top + 11.0], 11.0, Anchor::Start, Ink::Muted, tag);
            let top = lane_top + TAG;
            let lane = Lane {
                measurand,
                head: Area::new(MARGIN_LEFT, top, WIDTH - MARGIN_LEFT - MARGIN_RIGHT, LANE_HEAD),
                plot: Area::new(MARGIN_LEFT, top + LANE_HEAD, x.last_place - MARGIN_LEFT, LANE_PLOT),
                ribbon_height: RIBBON,
                x,
                spacing_mm: seam.station_spacing_mm,
                reach_mm: Some([range_mm / 2.0, range_mm / 2.0]),
                unit: plan.units,
                rule: &plan.decision,
                texts: language.texts(),
            };
            draw_lane(&mut picture, scans[place], &lane);
        }
        let area =
            Area::new(MARGIN_LEFT, top + 2.0 * lane_height + TAG, x.last_place - MARGIN_LEFT, CHANGE_PLOT);
        let ends = seam_ends(&seam.curve, plan.axes(), language.texts());
        let head = lane_head(change.measurand(measurand), kind, plan, language);
        ChangeLane { plan, area, x, change: change.measurand(measurand), head, ends, trends: words.trends }
            .draw(&mut picture);
    }
    Ok(picture)
}

/// A span about the middle of the tolerances that holds both scans with their U, mm.
pub(super) fn common_range_mm(plan: &Plan, scans: [&JudgedSeam; 2], measurand: Measurand) -> f64 {
    let stations = || scans.into_iter().flat_map(|scan| &scan.stations);
    let limits = || stations().map(|station| station.value(measurand).tolerance);
    let low_mm = limits().map(|one| one.lower_mm()).fold(f64::INFINITY, f64::min);
    let high_mm = limits().map(|one| one.upper_mm()).fold(f64::NEG_INFINITY, f64::max);
    if low_mm > high_mm {
        return 1.0;
    }
    let middle_mm = f64::midpoint(low_mm, high_mm);
    let furthest_mm = stations()
        .filter_map(|station| station.value(measurand).measured.ok())
        .map(|estimate| (estimate.value_mm - middle_mm).abs() + expanded_u_mm(estimate, &plan.decision))
        .fold((high_mm - low_mm) / 2.0, f64::max);
    2.0 * furthest_mm
}

/// "change of gap · real · mean +0.40 ±0.05 mm · 3 better, 40 worse".
fn lane_head(change: &MeasurandChange, kind: ComparisonKind, plan: &Plan, language: Language) -> String {
    let (words, unit) = (language.comparison_texts(), plan.units);
    let mean = change.mean.as_ref().map_or_else(String::new, |mean| {
        let expanded = signed(expanded_u_mm(mean, &plan.decision), unit).replace('+', "±");
        format!(" · {} {} {expanded} {}", words.mean, signed(mean.value_mm, unit), unit_name(unit))
    });
    let head = words
        .lane_head
        .replace("{change}", words.change_of(kind))
        .replace("{quantity}", language.texts().measurand(change.measurand))
        .replace("{verdict}", words.verdict(change.verdict));
    let real = change.stations.iter().filter(|station| station.verdict == ChangeVerdict::Real).count();
    let at =
        words.real_at.replace("{n}", &real.to_string()).replace("{of}", &change.stations.len().to_string());
    let head = if real > 0 { format!("{head} {at}") } else { head };
    let counts = words
        .counts
        .replace("{better}", &change.better_count.to_string())
        .replace("{worse}", &change.worse_count.to_string());
    format!("{head}{mean} · {counts}")
}

struct ChangeLane<'a> {
    plan: &'a Plan,
    area: Area,
    x: Scale,
    change: &'a MeasurandChange,
    /// What the lane shows, in words.
    head: String,
    /// What is better, and what is worse.
    trends: [&'static str; 2],
    /// What lies at the first and the last point; empty where nobody knows.
    ends: [String; 2],
}

impl ChangeLane<'_> {
    fn draw(&self, picture: &mut Picture) {
        let y = self.scale();
        self.draw_frame(picture, &y);
        for run in self.seen_runs() {
            self.draw_run(picture, &y, &run);
        }
        self.draw_marks(picture, &y);
    }

    fn scale(&self) -> Scale {
        let half_mm = self
            .change
            .stations
            .iter()
            .filter_map(|station| station.change.as_ref())
            .map(|change| change.value_mm.abs() + expanded_u_mm(change, &self.plan.decision))
            .fold(LEAST_SPAN_MM / 2.0, f64::max);
        Scale::new([-half_mm, half_mm], [self.area.bottom() - 10.0, self.area.y + 10.0])
    }

    fn draw_frame(&self, picture: &mut Picture, y: &Scale) {
        let unit = self.plan.units;
        let at = [self.area.x, self.area.y - 4.0];
        picture.bold(at, 11.0, Anchor::Start, Ink::Muted, self.head.clone());
        for tick_mm in y.ticks(12.0).into_iter().filter(|tick| tick.abs() > 1e-9) {
            let place = y.place(tick_mm);
            picture.line([self.area.x, place], [self.area.right(), place], Stroke::new(Ink::Hair, 0.4));
            let label = signed(tick_mm, unit);
            picture.text([self.area.x - 4.0, place + 3.5], 10.0, Anchor::End, Ink::Muted, label);
        }
        let zero = y.place(0.0);
        picture.line([self.area.x, zero], [self.area.right(), zero], Stroke::new(Ink::Text, 0.8));
        picture.text([self.area.x - 4.0, zero + 3.5], 10.0, Anchor::End, Ink::Muted, "0");
        let [first, last] = &self.ends;
        let foot = self.area.bottom() + 24.0;
        picture.text([self.x.first_place, foot], 10.0, Anchor::Start, Ink::Muted, first.clone());
        picture.text([self.x.last_place, foot], 10.0, Anchor::End, Ink::Muted, last.clone());
        for tick_mm in self.x.ticks(70.0) {
            let place = [self.x.place(tick_mm), self.area.bottom() + 12.0];
            picture.text(place, 10.0, Anchor::Middle, Ink::Muted, along(tick_mm, unit));
        }
    }

    /// Contiguous stations seen in both scans.
    fn seen_runs(&self) -> Vec<Vec<&StationChange>> {
        let runs = self.change.stations.chunk_by(|one, other| one.change.is_some() == other.change.is_some());
        runs.filter(|run| run.iter().all(|station| station.change.is_some()))
            .map(|run| run.iter().collect())
            .collect()
    }

    fn draw_run(&self, picture: &mut Picture, y: &Scale, run: &[&StationChange]) {
        let place = |station: &StationChange, side: f64| {
            let change = station.change.as_ref()?;
            let end_mm = change.value_mm + side * expanded_u_mm(change, &self.plan.decision);
            Some([self.x.place(station.along_mm), y.place(end_mm)])
        };
        let upper = run.iter().filter_map(|station| place(station, 1.0));
        let lower = run.iter().rev().filter_map(|station| place(station, -1.0));
        picture.polygon(upper.chain(lower).collect(), Ink::Band);
        let line = run.iter().filter_map(|station| place(station, 0.0)).collect();
        picture.polyline(line, Stroke::new(Ink::Text, 1.2));
        for station in run.iter().filter(|station| station.verdict == ChangeVerdict::Real) {
            if let Some(centre) = place(station, 0.0) {
                picture.disc(centre, 2.4, trend_ink(station.trend));
            }
        }
    }

    /// A ring and words at the largest change of each run that goes one way: the largest first, none over another.
    fn draw_marks(&self, picture: &mut Picture, y: &Scale) {
        let same = |one: &StationChange, other: &StationChange| one.trend == other.trend;
        let size = |station: &StationChange| station.change.as_ref().map_or(0.0, |c| c.value_mm.abs());
        let by_size = |one: &&StationChange, other: &&StationChange| size(one).total_cmp(&size(other));
        let mut largest: Vec<&StationChange> = self
            .change
            .stations
            .chunk_by(same)
            .filter(|run| run[0].trend != Trend::Same)
            .filter_map(|run| run.iter().max_by(by_size))
            .collect();
        largest.sort_by(|one, other| by_size(other, one));
        let mut taken: Vec<Area> = Vec::new();
        for station in largest {
            let Some(change) = &station.change else { continue };
            let centre = [self.x.place(station.along_mm), y.place(change.value_mm)];
            let word = self.trends[usize::from(station.trend != Trend::Better)];
            let said = format!("{word} {}", signed(change.value_mm, self.plan.units));
            let width = text_width(&said, 11.0, Weight::Bold);
            let left = (centre[0] - width / 2.0).clamp(self.area.x, self.area.right() - width);
            // Between the curve and zero, where the curve leaves room for it; else beyond the curve.
            let towards_zero = (y.place(0.0) - centre[1]).signum();
            let has_room = (y.place(0.0) - centre[1]).abs() > 22.0;
            let middle = centre[1] + if has_room { 14.0 } else { -14.0 } * towards_zero;
            let area = Area::new(left - 2.0, middle - 6.5, width + 4.0, 13.0);
            if taken.iter().any(|other| overlap(other, &area)) {
                continue;
            }
            taken.push(area);
            picture.rect(area, Ink::Paper);
            picture.ring(centre, 5.0, Stroke::new(trend_ink(station.trend), 2.0));
            picture.bold([left, middle + 4.0], 11.0, Anchor::Start, Ink::Text, said);
        }
    }
}

fn overlap(one: &Area, other: &Area) -> bool {
    one.x < other.right() && other.x < one.right() && one.y < other.bottom() && other.y < one.bottom()
}

const fn trend_ink(trend: Trend) -> Ink {
    match trend {
        Trend::Worse => Ink::Above(Severity::Clear),
        Trend::Better => Ink::First,
        Trend::Same => Ink::GoodLine,
    }
}
