//! A pair of control charts as a picture: levels above, spread below, each with its centre line and limits.
//!
//! In: a [`ControlChart`], the names along its axis, the tolerance where there is one. Out: a [`Picture`].
//! Units: the plan's on paper, mm inside. Points beyond their limits are ringed and named; limits are dashed and written
//! out; tolerance limits are drawn solid, as they are another thing than control limits.
//! Does not decide anything.

use super::format::length;
use super::ink::{Ink, Severity};
use super::picture::{Anchor, Area, Picture, Stroke};
use super::scale::Scale;
use super::texts::RepeatTexts;
use crate::summarise::{ChartKind, ChartLimits, ControlChart};
use crate::units::LengthUnit;

const WIDTH: f64 = 680.0;
const LEFT: f64 = 62.0;
const RIGHT: f64 = 74.0;
const HEAD: f64 = 34.0;
const LEVEL_PLOT: f64 = 150.0;
const SPREAD_PLOT: f64 = 84.0;
const SPACE: f64 = 30.0;
const FOOT: f64 = 30.0;
/// Room above and below the furthest value.
const MARGIN: f64 = 12.0;
/// Most names that are written along the axis.
const MOST_NAMES: usize = 12;

/// What a chart is of.
#[derive(Debug, Clone, Copy)]
pub struct ChartSubject<'a> {
    pub title: &'a str,
    /// Gap or flush, in the language of the words.
    pub quantity: &'a str,
    /// One for each level, in order.
    pub names: &'a [String],
    /// Lower and upper limit of the tolerance, mm.
    pub tolerance_mm: Option<[f64; 2]>,
    pub unit: LengthUnit,
    pub words: &'a RepeatTexts,
}

/// The charts of levels and of spread.
#[must_use]
pub fn control_picture(chart: &ControlChart, subject: &ChartSubject<'_>) -> Picture {
    let out = chart.levels_out().len() + chart.spreads_out().len();
    let sentence = subject
        .words
        .chart_label
        .replace("{title}", subject.title)
        .replace("{quantity}", subject.quantity)
        .replace("{n}", &chart.levels.len().to_string())
        .replace("{out}", &out.to_string());
    let height = HEAD + LEVEL_PLOT + SPACE + SPREAD_PLOT + FOOT;
    let mut picture = Picture::new(WIDTH, height, sentence);
    let head = format!("{} · {}", subject.title, subject.quantity);
    picture.bold([LEFT, 16.0], 13.0, Anchor::Start, Ink::Text, head);
    let [means, ranges, deviations, each, moving] = subject.words.chart_words;
    let (level_words, spread_words) = match chart.kind {
        ChartKind::MeanAndRange => (means, ranges),
        ChartKind::MeanAndSd => (means, deviations),
        ChartKind::IndividualAndMovingRange => (each, moving),
    };
    let width = WIDTH - LEFT - RIGHT;
    let level_area = Area::new(LEFT, HEAD, width, LEVEL_PLOT);
    let spread_area = Area::new(LEFT, level_area.bottom() + SPACE, width, SPREAD_PLOT);
    let last = chart.levels.len().saturating_sub(1).max(1) as f64;
    let x = Scale::new([0.0, last], [LEFT + 14.0, LEFT + width - 14.0]);
    let levels = Panel {
        area: level_area,
        x,
        words: level_words,
        values: &chart.levels,
        first_place: 0,
        limits: chart.level,
        out: chart.levels_out(),
        tolerance_mm: subject.tolerance_mm,
        unit: subject.unit,
        tolerance_word: subject.words.tolerance,
    };
    levels.draw(&mut picture);
    let spreads = Panel {
        area: spread_area,
        x,
        words: spread_words,
        values: &chart.spreads,
        // A moving range stands at the later of its two values.
        first_place: chart.levels.len() - chart.spreads.len(),
        limits: chart.spread,
        out: chart.spreads_out(),
        tolerance_mm: None,
        unit: subject.unit,
        tolerance_word: subject.words.tolerance,
    };
    spreads.draw(&mut picture);
    draw_names(&mut picture, &x, spread_area.bottom() + 16.0, subject.names);
    picture
}

fn draw_names(picture: &mut Picture, x: &Scale, y: f64, names: &[String]) {
    let step = names.len().div_ceil(MOST_NAMES).max(1);
    for (index, name) in names.iter().enumerate().step_by(step) {
        picture.text([x.place(index as f64), y], 10.0, Anchor::Middle, Ink::Muted, name.clone());
    }
}

struct Panel<'a> {
    area: Area,
    x: Scale,
    words: &'static str,
    values: &'a [f64],
    /// Place along the axis of the first value.
    first_place: usize,
    limits: ChartLimits,
    out: Vec<usize>,
    tolerance_mm: Option<[f64; 2]>,
    unit: LengthUnit,
    tolerance_word: &'static str,
}

impl Panel<'_> {
    fn scale(&self) -> Scale {
        let all = self
            .values
            .iter()
            .copied()
            .chain([self.limits.lower, self.limits.upper])
            .chain(self.tolerance_mm.into_iter().flatten());
        let (low, high) = all
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
        Scale::new([low, high], [self.area.bottom() - MARGIN, self.area.y + MARGIN])
    }

    fn draw(&self, picture: &mut Picture) {
        let y = self.scale();
        let area = self.area;
        picture.text([area.x, area.y - 2.0], 10.0, Anchor::Start, Ink::Muted, self.words);
        if let Some(limits) = self.tolerance_mm {
            let [lower, upper] = limits.map(|limit| y.place(limit));
            let corners =
                vec![[area.x, upper], [area.right(), upper], [area.right(), lower], [area.x, lower]];
            picture.polygon(corners, Ink::Band);
            for (limit_mm, place) in limits.iter().zip([lower, upper]) {
                picture.line([area.x, place], [area.right(), place], Stroke::new(Ink::Muted, 0.8));
                let label = format!("{} {}", length(*limit_mm, self.unit), self.tolerance_word);
                picture.text([area.x - 4.0, place + 3.5], 10.0, Anchor::End, Ink::Muted, label);
            }
        }
        let lines = [(self.limits.lower, true), (self.limits.centre, false), (self.limits.upper, true)];
        for (value_mm, is_limit) in lines {
            let place = y.place(value_mm);
            let stroke = Stroke::new(Ink::Text, if is_limit { 0.8 } else { 1.0 });
            let stroke = if is_limit { stroke.dashed(5.0, 3.0) } else { stroke };
            picture.line([area.x, place], [area.right(), place], stroke);
            let label = finer(value_mm, self.unit);
            picture.text([area.right() + 4.0, place + 3.5], 10.0, Anchor::Start, Ink::Text, label);
        }
        let place =
            |index: usize| [self.x.place((index + self.first_place) as f64), y.place(self.values[index])];
        picture.polyline((0..self.values.len()).map(place).collect(), Stroke::new(Ink::GoodLine, 1.2));
        for index in 0..self.values.len() {
            let is_out = self.out.contains(&index);
            let ink = if is_out { Ink::Above(Severity::Clear) } else { Ink::Text };
            picture.disc(place(index), 2.6, ink);
            if is_out {
                let [at_x, at_y] = place(index);
                picture.ring([at_x, at_y], 6.5, Stroke::new(ink, 1.4));
                let label = finer(self.values[index], self.unit);
                picture.bold([at_x, at_y - 10.0], 10.0, Anchor::Middle, Ink::Text, label);
            }
        }
    }
}

/// One decimal more than a reading: means and limits are finer than single readings.
fn finer(value_mm: f64, unit: LengthUnit) -> String {
    let decimals = if unit == LengthUnit::Inch { 4 } else { 3 };
    format!("{:.decimals$}", value_mm / unit.mm()).replace('-', "−")
}
