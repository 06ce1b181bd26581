//! A seam as a strip: gap and flush along the station axis, with tolerance, uncertainty and what is out.
//!
//! In: a judged seam with its plan. Out: a [`Picture`] or PNG bytes; the axis is the distance along the seam.
//! Units: the plan's on paper, mm inside.
//! Does not decide anything: verdicts, tolerances and uncertainties are those of the readings.

use super::error::RenderError;
use super::finish_words::finish_caption;
use super::format::{along, unit_name};
use super::ink::Ink;
use super::picture::{Anchor, Area, Picture, SeamAxis, Stroke, Weight};
use super::raster::{png, text_width};
use super::scale::Scale;
use super::strip_lane::{Lane, draw_lane, lane_headline};
use super::texts::{Language, Texts};
use crate::judge::{JudgedSeam, Measurand};
use crate::plan::{PanelId, Plan, Seam, Side};

/// How a strip is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct StripSettings {
    /// Width in picture units (1/96 inch): 680 prints 180 mm wide; 340 suits a phone.
    pub width: f64,
    pub pixels_per_unit: f64,
    pub language: Language,
    /// What lies at the curve's first and last point, such as "front" and "rear"; empty where not known.
    pub ends: [String; 2],
    /// How far the gap and the flush lane reach below and above the middle of the tolerances, mm, to draw several seams to
    /// one scale; fitted to the seam where `None`.
    pub reach_mm: [Option<[f64; 2]>; 2],
    /// Length of seam that fills the width, mm, so that several strips share one scale along; the seam's own where `None`.
    pub full_length_mm: Option<f64>,
}

impl Default for StripSettings {
    fn default() -> Self {
        Self {
            width: 680.0,
            pixels_per_unit: 3.0,
            language: Language::English,
            ends: [String::new(), String::new()],
            reach_mm: [None, None],
            full_length_mm: None,
        }
    }
}

const MARGIN_LEFT: f64 = 40.0;
const MARGIN_RIGHT: f64 = 20.0;
const HEAD: f64 = 46.0;
const LANE_HEAD: f64 = 20.0;
const LANE_PLOT: f64 = 118.0;
const RIBBON: f64 = 11.0;
const LANE_SPACE: f64 = 14.0;
const FOOT: f64 = 40.0;
/// Least share of the width that a short seam gets: room for its marks.
const LEAST_SHARE: f64 = 0.3;

/// The strip as PNG.
///
/// # Errors
/// The seam is not in the plan, or the settings give no drawable size.
pub fn strip_png(plan: &Plan, seam: &JudgedSeam, settings: &StripSettings) -> Result<Vec<u8>, RenderError> {
    png(&strip_picture(plan, seam, settings)?, settings.pixels_per_unit)
}

/// The strip as a picture.
///
/// # Errors
/// The seam is not in the plan.
pub fn strip_picture(
    plan: &Plan,
    judged: &JudgedSeam,
    settings: &StripSettings,
) -> Result<Picture, RenderError> {
    let unknown = || RenderError::UnknownSeam { seam: judged.seam.0.clone() };
    let seam = plan.seam(&judged.seam).ok_or_else(unknown)?;
    let texts = settings.language.texts();
    let lane_height = LANE_HEAD + LANE_PLOT + RIBBON + LANE_SPACE;
    let height = HEAD + 2.0 * lane_height + FOOT;
    let mut picture = Picture::new(settings.width, height, description(seam, judged, plan, texts));
    draw_head(&mut picture, plan, seam, texts);
    let x = along_scale(seam.curve.length_mm(), settings);
    for (index, measurand) in Measurand::BOTH.into_iter().enumerate() {
        let top = HEAD + index as f64 * lane_height;
        let lane = Lane {
            measurand,
            head: Area::new(MARGIN_LEFT, top, settings.width - MARGIN_LEFT - MARGIN_RIGHT, LANE_HEAD),
            plot: Area::new(MARGIN_LEFT, top + LANE_HEAD, x.last_place - MARGIN_LEFT, LANE_PLOT),
            ribbon_height: RIBBON,
            x,
            spacing_mm: seam.station_spacing_mm,
            reach_mm: settings.reach_mm[index],
            unit: plan.units,
            rule: &plan.decision,
            texts,
        };
        draw_lane(&mut picture, judged, &lane);
    }
    draw_foot(&mut picture, plan, &x, settings);
    picture.axis = Some(SeamAxis {
        seam: seam.id.0.clone(),
        places: [x.first_place, x.last_place],
        along_mm: [x.from, x.to],
        rows: [HEAD, HEAD + 2.0 * lane_height],
    });
    Ok(picture)
}

/// Distances along the seam to places; a short seam is drawn short where a full length is given, but never tiny.
fn along_scale(length_mm: f64, settings: &StripSettings) -> Scale {
    let room = [MARGIN_LEFT + 6.0, settings.width - MARGIN_RIGHT];
    let share = settings.full_length_mm.map_or(1.0, |full_mm| length_mm / full_mm).clamp(LEAST_SHARE, 1.0);
    Scale::new([0.0, length_mm], [room[0], room[0] + (room[1] - room[0]) * share])
}

fn description(seam: &Seam, judged: &JudgedSeam, plan: &Plan, texts: &Texts) -> String {
    let lines = Measurand::BOTH.map(|measurand| {
        format!("{}: {}", texts.measurand(measurand), lane_headline(judged, measurand, plan.units, texts))
    });
    let state = finish_caption(plan, seam, texts).map_or_else(String::new, |caption| format!(" {caption}."));
    format!("{}. {}. {}.{state}", seam.title, lines[0], lines[1])
}

fn draw_head(picture: &mut Picture, plan: &Plan, seam: &Seam, texts: &Texts) {
    picture.bold([MARGIN_LEFT, 18.0], 16.0, Anchor::Start, Ink::Text, seam.title.clone());
    let side = |side: Side| {
        let panel = seam.panel_on(side);
        let role = if *panel == seam.datum_panel { texts.datum } else { texts.other };
        format!("{} ({role})", panel_title(plan, panel))
    };
    let sides = format!("{}: {}   ·   {}: {}", texts.left, side(Side::Left), texts.right, side(Side::Right));
    let is_wide =
        text_width(&seam.title, 16.0, Weight::Bold) + text_width(&sides, 11.0, Weight::Regular) + 80.0
            < picture.width;
    if is_wide {
        picture.text([picture.width - MARGIN_RIGHT, 18.0], 11.0, Anchor::End, Ink::Muted, sides);
    } else {
        picture.text([MARGIN_LEFT, 34.0], 11.0, Anchor::Start, Ink::Muted, sides);
    }
    if let Some(caption) = finish_caption(plan, seam, texts) {
        let y = if is_wide { 35.0 } else { 45.5 };
        let room = picture.width - MARGIN_LEFT - MARGIN_RIGHT;
        let size = 11f64.min(11.0 * room / text_width(&caption, 11.0, Weight::Regular).max(1.0));
        picture.text([MARGIN_LEFT, y], size, Anchor::Start, Ink::Text, caption);
    }
}

/// A panel's title, or its id where the plan has no such panel.
pub(super) fn panel_title<'a>(plan: &'a Plan, panel: &'a PanelId) -> &'a str {
    plan.panel(panel).map_or(panel.0.as_str(), |found| found.title.as_str())
}

fn draw_foot(picture: &mut Picture, plan: &Plan, x: &Scale, settings: &StripSettings) {
    let texts = settings.language.texts();
    let base = picture.height - FOOT + 4.0;
    let hair = Stroke::new(Ink::Muted, 0.8);
    picture.line([x.first_place, base], [x.last_place, base], hair);
    let unit_mm = plan.units.mm();
    let in_units = Scale::new([x.from / unit_mm, x.to / unit_mm], [x.first_place, x.last_place]);
    for tick in in_units.ticks(52.0) {
        let place = in_units.place(tick);
        picture.line([place, base], [place, base + 4.0], hair);
        picture.text([place, base + 15.0], 10.5, Anchor::Middle, Ink::Muted, format!("{tick}"));
    }
    let low = base + 30.0;
    let [first, last] = &settings.ends;
    let name = |end: &str, fallback: &str| if end.is_empty() { fallback.to_owned() } else { end.to_owned() };
    picture.bold([x.first_place, low], 11.0, Anchor::Start, Ink::Text, name(first, texts.start));
    picture.bold([x.last_place, low], 11.0, Anchor::End, Ink::Text, name(last, texts.end));
    let middle = (x.first_place + x.last_place) / 2.0;
    let axis = format!("{} {}", unit_name(plan.units), texts.along_the_seam);
    let half = text_width(&axis, 10.5, Weight::Regular) / 2.0 + 8.0;
    picture.text([middle, low], 10.5, Anchor::Middle, Ink::Muted, axis);
    picture.line([middle + half, low - 3.5], [middle + half + 26.0, low - 3.5], hair);
    picture.arrow_head([middle + half + 30.0, low - 3.5], [1.0, 0.0], 6.0, Ink::Muted);
}

/// `340 mm`, as the strips and lists name a place.
pub(super) fn place_words(along_mm: f64, plan_unit: crate::units::LengthUnit, texts: &Texts) -> String {
    format!("{} {}", texts.at, along(along_mm, plan_unit))
}
