//! A lineup as a picture of two lanes across the seam: how its line runs in the surface, and how high it lies.
//!
//! In: a judged lineup with its plan. Out: a [`Picture`]. Axis: across the seam from the left panel to the right one, mm from
//! mid-gap. Lane one: distance from the datum panel's line, along the seam (the shift); lane two: height over the datum panel's
//! line (the step); both relative to the datum panel's own line, continued, so that a line that goes on runs level.
//! Dots are the places found, strip by strip; dashes are the lines continued to mid-gap; the band is the tolerance.
//! Does not fit.

use super::error::RenderError;
use super::format::{length, signed, unit_name};
use super::ink::{Ink, mark, severity};
use super::picture::{Anchor, Area, Picture, Stroke, Weight};
use super::raster::{png, text_width};
use super::scale::Scale;
use super::strip::{StripSettings, panel_title};
use super::texts::Texts;
use crate::judge::{JudgedLineup, Verdict};
use crate::lineup::{FeatureReading, LineupReason, SideLine};
use crate::measure::Estimate;
use crate::plan::{JudgedState, Lineup, Plan, Seam, Side, Tolerance};

const MARGIN_LEFT: f64 = 46.0;
const MARGIN_RIGHT: f64 = 20.0;
const HEAD: f64 = 44.0;
const LANE_HEAD: f64 = 20.0;
const LANE_PLOT: f64 = 92.0;
const LANE_SPACE: f64 = 16.0;
const FOOT: f64 = 44.0;
/// How far across is shown, mm from mid-gap.
const REACH_MM: f64 = 42.0;

/// The picture of a lineup as PNG.
///
/// # Errors
/// The lineup or its seam is not in the plan, or the settings give no drawable size.
pub fn lineup_png(
    plan: &Plan,
    judged: &JudgedLineup,
    settings: &StripSettings,
) -> Result<Vec<u8>, RenderError> {
    png(&lineup_picture(plan, judged, settings)?, settings.pixels_per_unit)
}

/// The picture of a lineup.
///
/// # Errors
/// The lineup or its seam is not in the plan.
pub fn lineup_picture(
    plan: &Plan,
    judged: &JudgedLineup,
    settings: &StripSettings,
) -> Result<Picture, RenderError> {
    let unknown = || RenderError::UnknownSeam { seam: judged.reading.id.clone() };
    let lineup = plan.lineups.iter().find(|lineup| lineup.id == judged.reading.id).ok_or_else(unknown)?;
    let seam = plan.seam(&lineup.seam).ok_or_else(unknown)?;
    let texts = settings.language.texts();
    let height = HEAD + 2.0 * (LANE_HEAD + LANE_PLOT + LANE_SPACE) + FOOT;
    let mut picture = Picture::new(settings.width, height, format!("{}: {}", seam.title, lineup.title));
    picture.bold([MARGIN_LEFT, 18.0], 16.0, Anchor::Start, Ink::Text, lineup.title.clone());
    let side = |side: Side| panel_title(plan, seam.panel_on(side)).to_owned();
    let x = Scale::new([-REACH_MM, REACH_MM], [MARGIN_LEFT + 6.0, settings.width - MARGIN_RIGHT]);
    for (index, quantity) in [Quantity::Shift, Quantity::Step].into_iter().enumerate() {
        let top = HEAD + index as f64 * (LANE_HEAD + LANE_PLOT + LANE_SPACE);
        let plot = Area::new(MARGIN_LEFT, top + LANE_HEAD, x.last_place - MARGIN_LEFT, LANE_PLOT);
        let lane = LineupLane { plan, lineup, seam, quantity, plot, x, texts };
        lane.draw(&mut picture, judged);
    }
    let base = height - FOOT + 2.0;
    let names =
        [(Anchor::Start, x.first_place, side(Side::Left)), (Anchor::End, x.last_place, side(Side::Right))];
    for (anchor, place, name) in names {
        picture.bold([place, base + 31.0], 11.0, anchor, Ink::Text, name);
    }
    draw_axis(&mut picture, plan, &x, base);
    Ok(picture)
}

fn draw_axis(picture: &mut Picture, plan: &Plan, x: &Scale, base: f64) {
    let hair = Stroke::new(Ink::Muted, 0.8);
    picture.line([x.first_place, base], [x.last_place, base], hair);
    let unit_mm = plan.units.mm();
    let in_units = Scale::new([x.from / unit_mm, x.to / unit_mm], [x.first_place, x.last_place]);
    for tick in in_units.ticks(60.0) {
        let place = in_units.place(tick);
        picture.line([place, base], [place, base + 4.0], hair);
        picture.text([place, base + 14.0], 10.0, Anchor::Middle, Ink::Muted, format!("{tick}"));
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Quantity {
    Shift,
    Step,
}

struct LineupLane<'a> {
    plan: &'a Plan,
    lineup: &'a Lineup,
    seam: &'a Seam,
    quantity: Quantity,
    plot: Area,
    x: Scale,
    texts: &'a Texts,
}

impl LineupLane<'_> {
    fn tolerance(&self) -> Option<Tolerance> {
        match self.quantity {
            Quantity::Shift => self.lineup.shift,
            Quantity::Step => self.lineup.step,
        }
    }

    const fn value<'f>(&self, feature: &'f FeatureReading) -> &'f Result<Estimate, LineupReason> {
        match self.quantity {
            Quantity::Shift => &feature.shift,
            Quantity::Step => &feature.step,
        }
    }

    /// How far a line lies off the datum panel's, both taken at the same place across, mm.
    fn off_mm(&self, datum: &SideLine, line: &SideLine, x_mm: f64) -> f64 {
        match self.quantity {
            Quantity::Shift => {
                let along = |line: &SideLine| line.along_mm + line.slope * x_mm;
                (along(line) - along(datum)) * datum.slope.atan().cos()
            }
            // Heights are shown over each panel's own course, so that a crown does not hide the step.
            Quantity::Step => line.height_mm - datum.height_mm,
        }
    }

    /// How far a place lies off its own line, mm.
    fn rest_mm(&self, datum: &SideLine, line: &SideLine, place: &crate::lineup::LinePlace) -> f64 {
        match self.quantity {
            Quantity::Shift => {
                (place.s_mm - line.along_mm - line.slope * place.x_mm) * datum.slope.atan().cos()
            }
            Quantity::Step => place.z_mm - line.height_at(place.x_mm),
        }
    }

    fn draw(&self, picture: &mut Picture, judged: &JudgedLineup) {
        let y = self.scale(judged);
        self.draw_head(picture, judged);
        if let Some(tolerance) = self.tolerance() {
            let places = [tolerance.upper_mm(), tolerance.lower_mm()].map(|limit_mm| y.place_held(limit_mm));
            let other = if self.seam.datum_side == Side::Left { 1.0 } else { -1.0 };
            let ends = [self.x.place(0.0), self.x.place(other * REACH_MM)];
            let left = ends[0].min(ends[1]);
            picture.rect(
                Area::new(left, places[0], (ends[1] - ends[0]).abs(), (places[1] - places[0]).max(0.6)),
                Ink::Band,
            );
        }
        let zero = y.place_held(0.0);
        picture.line([self.x.first_place, zero], [self.x.last_place, zero], Stroke::new(Ink::Hair, 0.8));
        let middle = self.x.place(0.0);
        let dashed = Stroke::new(Ink::Muted, 0.8).dashed(3.0, 3.0);
        picture.line([middle, self.plot.y], [middle, self.plot.bottom()], dashed);
        for tick in y_ticks(&y, self.plan) {
            let text = signed(tick, self.plan.units);
            picture.text([self.plot.x - 4.0, y.place(tick) + 3.4], 10.0, Anchor::End, Ink::Muted, text);
        }
        for (feature, verdicts) in judged.reading.features.iter().zip(&judged.features) {
            self.draw_feature(picture, &y, feature, verdicts[usize::from(self.quantity == Quantity::Shift)]);
        }
    }

    fn draw_feature(
        &self,
        picture: &mut Picture,
        y: &Scale,
        feature: &FeatureReading,
        verdict: Option<Verdict>,
    ) {
        let Some(datum) = &feature.lines[0] else { return };
        for line in feature.lines.iter().flatten() {
            let near_mm = line.places.first().map_or(0.0, |place| place.x_mm);
            let far_mm = line.places.last().map_or(0.0, |place| place.x_mm);
            let at = |x_mm: f64| [self.x.place(x_mm), y.place_held(self.off_mm(datum, line, x_mm))];
            picture.line(at(near_mm), at(far_mm), Stroke::new(Ink::Second, 1.6));
            picture.line(at(0.0), at(near_mm), Stroke::new(Ink::Second, 1.0).dashed(4.0, 3.0));
            for place in &line.places {
                let off_mm = self.off_mm(datum, line, place.x_mm) + self.rest_mm(datum, line, place);
                picture.disc([self.x.place(place.x_mm), y.place_held(off_mm)], 1.9, Ink::GoodLine);
            }
        }
        if let Ok(found) = self.value(feature) {
            let ink = verdict.zip(self.tolerance()).map_or(Ink::Text, |(verdict, tolerance)| {
                if verdict.is_out() {
                    Ink::of_verdict(verdict, severity(found.value_mm, &tolerance))
                } else {
                    Ink::Text
                }
            });
            let half_mm = 2.0 * found.u_mm;
            let at = |value_mm: f64| [self.x.place(0.0), y.place_held(value_mm)];
            picture.line(at(found.value_mm - half_mm), at(found.value_mm + half_mm), Stroke::new(ink, 1.6));
            picture.disc(at(found.value_mm), 3.0, ink);
        }
    }

    fn draw_head(&self, picture: &mut Picture, judged: &JudgedLineup) {
        let y = self.plot.y - 6.0;
        let name = match self.quantity {
            Quantity::Shift => self.texts.shift,
            Quantity::Step => self.texts.step,
        };
        picture.bold([MARGIN_LEFT, y], 13.0, Anchor::Start, Ink::Text, name);
        let width = text_width(name, 13.0, Weight::Bold);
        let unit = unit_name(self.plan.units);
        picture.text([MARGIN_LEFT + width + 5.0, y], 11.0, Anchor::Start, Ink::Muted, unit);
        let which = usize::from(self.quantity == Quantity::Shift);
        // What is proved out comes first, then what lies furthest off; what is unseen only where nothing else is there.
        let rank = |(_, (feature, verdicts)): (usize, (&FeatureReading, &[Option<Verdict>; 2]))| {
            let nominal_mm = self.tolerance().map_or(0.0, |tolerance| tolerance.nominal_mm);
            let off_mm =
                self.value(feature).as_ref().map_or(-1.0, |found| (found.value_mm - nominal_mm).abs());
            (verdicts[which].is_some_and(Verdict::is_out), off_mm)
        };
        let worst = judged.reading.features.iter().zip(&judged.features).enumerate().max_by(|one, other| {
            let (one, other) = (rank(*one), rank(*other));
            one.0.cmp(&other.0).then(one.1.total_cmp(&other.1))
        });
        let Some((place, (feature, verdicts))) = worst else { return };
        let is_finished = self.quantity == Quantity::Step && judged.judged_state == JudgedState::Finished;
        let value = if is_finished { judged.judged_step(place) } else { Some(self.value(feature)) };
        let Some(value) = value else { return };
        let mut words = lineup_value_words(value, verdicts[which], self.plan, self.texts);
        if is_finished {
            words = format!("{words}; {}", self.texts.drawn_as_scanned);
        }
        let right = self.x.last_place;
        picture.text([right, y], 11.5, Anchor::End, Ink::Text, words.clone());
        if let Some(verdict) = verdicts[which].filter(|verdict| verdict.is_out()) {
            let place = [right - text_width(&words, 11.5, Weight::Regular) - 13.0, y - 4.0];
            picture.badge(place, 7.0, Ink::of_verdict(verdict, super::ink::Severity::Clear), mark(verdict));
        }
    }

    fn scale(&self, judged: &JudgedLineup) -> Scale {
        let mut furthest_mm = self
            .tolerance()
            .map_or(0.2, |tolerance| tolerance.upper_mm().abs().max(tolerance.lower_mm().abs()));
        for feature in &judged.reading.features {
            if let Ok(found) = self.value(feature) {
                furthest_mm = furthest_mm.max(found.value_mm.abs() + 2.0 * found.u_mm);
            }
        }
        let half_mm = 1.25 * furthest_mm;
        Scale::new([-half_mm, half_mm], [self.plot.bottom(), self.plot.y])
    }
}

fn y_ticks(y: &Scale, plan: &Plan) -> Vec<f64> {
    let unit_mm = plan.units.mm();
    let in_units = Scale::new([y.from / unit_mm, y.to / unit_mm], [y.first_place, y.last_place]);
    in_units.ticks(24.0).into_iter().map(|tick| tick * unit_mm).collect()
}

/// "+0.31 ±0.05, high", or why there is none.
pub(super) fn lineup_value_words(
    value: &Result<Estimate, LineupReason>,
    verdict: Option<Verdict>,
    plan: &Plan,
    texts: &Texts,
) -> String {
    match value {
        Ok(found) => {
            let word = verdict.map_or_else(String::new, |verdict| format!(", {}", texts.verdict(verdict)));
            format!("{} ±{}{word}", signed(found.value_mm, plan.units), length(2.0 * found.u_mm, plan.units))
        }
        Err(reason) => texts.lineup_reason(*reason).to_owned(),
    }
}
