//! A seam before and after the advised move, and what must change in metal, for gap and for flush.
//!
//! In: the plan, an [`Advice`], one of its seams. Out: a [`Picture`]; the axis is the distance along the seam.
//! Units: the plan's on paper, mm inside. Before and after are drawn to one scale.
//! The lowest lane has bars: up for take off (or raise), down for add (or lower), with the largest of each stretch written.
//! Does not decide anything.

use super::advice_texts::AdviceTexts;
use super::change_strip::common_range_mm;
use super::error::RenderError;
use super::format::{along, length, unit_name};
use super::ink::{Ink, Severity};
use super::picture::{Anchor, Area, Picture, Stroke};
use super::scale::Scale;
use super::strip_lane::{Lane, draw_lane};
use super::texts::Language;
use crate::advise::{Advice, SeamEdges};
use crate::judge::Measurand;
use crate::plan::{Plan, Seam, SeamId};

const WIDTH: f64 = 680.0;
const MARGIN_LEFT: f64 = 40.0;
const MARGIN_RIGHT: f64 = 20.0;
const HEAD: f64 = 30.0;
const TAG: f64 = 15.0;
const LANE_HEAD: f64 = 20.0;
const LANE_PLOT: f64 = 104.0;
const RIBBON: f64 = 9.0;
const SPACE: f64 = 8.0;
const CHANGE_PLOT: f64 = 62.0;
const FOOT: f64 = 24.0;
/// Room above and below the bars for a number.
const NUMBER_ROOM: f64 = 14.0;
/// Least half span of the change's scale, mm.
const LEAST_HALF_MM: f64 = 0.2;

/// The picture of one seam.
///
/// # Errors
/// The seam is not in the plan or not in the advice.
pub fn advice_strip_picture(
    plan: &Plan,
    advice: &Advice,
    id: &SeamId,
    language: Language,
) -> Result<Picture, RenderError> {
    let unknown = || RenderError::UnknownSeam { seam: id.0.clone() };
    let seam = plan.seam(id).ok_or_else(unknown)?;
    let place = advice.seams_before.iter().position(|judged| judged.seam == *id).ok_or_else(unknown)?;
    let scans = [&advice.seams_before[place], &advice.seams_after[place]];
    let edges = advice.edges.iter().find(|edges| edges.seam == *id).ok_or_else(unknown)?;
    let texts = language.advice_texts();
    let lane_height = TAG + LANE_HEAD + LANE_PLOT + RIBBON + SPACE;
    let needs = Measurand::BOTH.map(|measurand| edges.runs.iter().any(|run| run.measurand == measurand));
    let foot_height = |is_needed: bool| if is_needed { TAG + CHANGE_PLOT + FOOT } else { FOOT };
    let height = HEAD + needs.iter().map(|need| 2.0 * lane_height + foot_height(*need)).sum::<f64>();
    let sentence = format!("{}: {}, {}", seam.title, texts.before, texts.after);
    let mut picture = Picture::new(WIDTH, height, sentence);
    picture.bold([MARGIN_LEFT, 18.0], 16.0, Anchor::Start, Ink::Text, seam.title.clone());
    let x = Scale::new([0.0, seam.curve.length_mm()], [MARGIN_LEFT + 6.0, WIDTH - MARGIN_RIGHT]);
    let mut top = HEAD;
    for (index, measurand) in Measurand::BOTH.into_iter().enumerate() {
        let range_mm = common_range_mm(plan, scans, measurand);
        for (scan, tag) in scans.into_iter().zip([texts.before, texts.after]) {
            picture.bold([MARGIN_LEFT, top + 11.0], 11.0, Anchor::Start, Ink::Muted, tag);
            let lane = lane(plan, seam, measurand, (top + TAG, x, range_mm), language);
            draw_lane(&mut picture, scan, &lane);
            top += lane_height;
        }
        let area = Area::new(MARGIN_LEFT, top + TAG, x.last_place - MARGIN_LEFT, CHANGE_PLOT);
        if needs[index] {
            EdgeLane { plan, texts, area, x, edges, measurand }.draw(&mut picture);
        }
        top += foot_height(needs[index]);
        draw_axis(&mut picture, plan, &x, top - FOOT + 12.0);
    }
    Ok(picture)
}

fn lane<'a>(
    plan: &'a Plan,
    seam: &Seam,
    measurand: Measurand,
    (top, x, range_mm): (f64, Scale, f64),
    language: Language,
) -> Lane<'a> {
    Lane {
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
    }
}

fn draw_axis(picture: &mut Picture, plan: &Plan, x: &Scale, y: f64) {
    for tick_mm in x.ticks(70.0) {
        picture.text([x.place(tick_mm), y], 10.0, Anchor::Middle, Ink::Muted, along(tick_mm, plan.units));
    }
}

struct EdgeLane<'a> {
    plan: &'a Plan,
    texts: &'a AdviceTexts,
    area: Area,
    x: Scale,
    edges: &'a SeamEdges,
    measurand: Measurand,
}

impl EdgeLane<'_> {
    fn amounts(&self) -> impl Iterator<Item = (f64, f64)> {
        self.edges.changes.iter().map(|change| {
            let amount_mm = match self.measurand {
                Measurand::Gap => change.take_off_mm,
                Measurand::Flush => change.raise_mm,
            };
            (change.along_mm, amount_mm)
        })
    }

    fn words(&self) -> (&'static str, [&'static str; 2]) {
        match self.measurand {
            Measurand::Gap => (self.texts.edge_line, [self.texts.take_off, self.texts.add]),
            Measurand::Flush => (self.texts.panel_shape, [self.texts.raise, self.texts.lower]),
        }
    }

    fn draw(&self, picture: &mut Picture) {
        let half_mm = self.amounts().map(|(_, amount)| amount.abs()).fold(LEAST_HALF_MM, f64::max);
        let places = [self.area.bottom() - NUMBER_ROOM, self.area.y + NUMBER_ROOM];
        let y = Scale::new([-half_mm, half_mm], places);
        self.draw_frame(picture, &y);
        let spacing_mm = self.plan.seam(&self.edges.seam).map_or(10.0, |seam| seam.station_spacing_mm);
        for (along_mm, amount_mm) in self.amounts().filter(|(_, amount)| *amount != 0.0) {
            let [left, right] = [-0.5, 0.5].map(|half| self.x.place(along_mm + half * spacing_mm));
            let (one, other) = (y.place(0.0), y.place(amount_mm));
            let bar = Area::new(left + 0.4, one.min(other), right - left - 0.8, (one - other).abs());
            picture.rect(
                bar,
                if amount_mm > 0.0 { Ink::Above(Severity::Clear) } else { Ink::Below(Severity::Clear) },
            );
        }
        for run in self.edges.runs.iter().filter(|run| run.measurand == self.measurand) {
            let words = self.words().1[usize::from(run.most_mm < 0.0)];
            let text = format!("{words} {}", length(run.most_mm.abs(), self.plan.units));
            let away = if run.most_mm < 0.0 { 11.0 } else { -3.0 };
            let x = self.x.place(run.most_at_mm).clamp(self.area.x + 50.0, self.area.right() - 50.0);
            picture.bold([x, y.place(run.most_mm) + away], 11.0, Anchor::Middle, Ink::Text, text);
        }
    }

    fn draw_frame(&self, picture: &mut Picture, y: &Scale) {
        let panel = self.plan.panel(&self.edges.panel);
        let title = panel.map_or(self.edges.panel.0.as_str(), |panel| panel.title.as_str());
        let (kind, words) = self.words();
        let head = format!(
            "{} · {} {title} · + {}, − {} · {}",
            kind,
            self.texts.edge_of,
            words[0],
            words[1],
            unit_name(self.plan.units)
        );
        picture.bold([self.area.x, self.area.y - 4.0], 11.0, Anchor::Start, Ink::Muted, head);
        let zero = y.place(0.0);
        picture.line([self.area.x, zero], [self.area.right(), zero], Stroke::new(Ink::Text, 0.8));
        picture.text([self.area.x - 4.0, zero + 3.5], 10.0, Anchor::End, Ink::Muted, "0");
    }
}
