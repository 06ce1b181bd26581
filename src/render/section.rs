//! A section drawn to scale: scan points, fitted surfaces and hems, edge points, and gap and flush as dimensions.
//!
//! In: one station of a judged seam with its plan. Out: a [`Picture`] or PNG bytes.
//! Frame: section axes, across to the right and outward up, one scale for both. Units: the plan's on paper, mm inside.
//! Does not fit: shapes are those of the reading's `Profile`.

use super::error::RenderError;
use super::format::{along, length, unit_name};
use super::ink::{Ink, mark, severity};
use super::picture::{Anchor, Area, Picture, Place, Stroke, Weight};
use super::raster::{png, text_width};
use super::section_view::View;
use super::strip::panel_title;
use super::strip_lane::{length_or_signed, value_words};
use super::texts::{Language, Texts};
use crate::judge::{JudgedReading, JudgedSeam, JudgedValue, Measurand, expanded_u_mm};
use crate::measure::{ProfileArc, ProfileSkin};
use crate::plan::{JudgedState, Plan, Seam, Side};

/// How a section is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionSettings {
    /// Width in picture units (1/96 inch).
    pub width: f64,
    pub pixels_per_unit: f64,
    pub language: Language,
    /// How much of each panel is shown, from mid-gap, mm.
    pub reach_mm: f64,
}

impl Default for SectionSettings {
    fn default() -> Self {
        Self { width: 680.0, pixels_per_unit: 3.0, language: Language::English, reach_mm: 22.0 }
    }
}

/// The section as PNG.
///
/// # Errors
/// The seam is not in the plan, or the settings give no drawable size.
pub fn section_png(
    plan: &Plan,
    seam: &JudgedSeam,
    station_index: usize,
    settings: &SectionSettings,
) -> Result<Vec<u8>, RenderError> {
    png(&section_picture(plan, seam, station_index, settings)?, settings.pixels_per_unit)
}

/// The section as a picture.
///
/// # Errors
/// The seam is not in the plan or has no such station.
pub fn section_picture(
    plan: &Plan,
    judged: &JudgedSeam,
    station_index: usize,
    settings: &SectionSettings,
) -> Result<Picture, RenderError> {
    let unknown = || RenderError::UnknownSeam { seam: judged.seam.0.clone() };
    let seam = plan.seam(&judged.seam).ok_or_else(unknown)?;
    let station =
        judged.stations.iter().find(|station| station.reading.station.index == station_index).ok_or_else(
            || RenderError::UnknownStation { seam: judged.seam.0.clone(), station: station_index },
        )?;
    let view = View::of(&station.reading.profile, settings);
    let texts = settings.language.texts();
    let mut picture = Picture::new(settings.width, view.height(), describe(plan, seam, station, texts));
    view.draw_points(&mut picture, &station.reading.profile);
    draw_fits(&mut picture, &view, station);
    view.draw_frame(&mut picture);
    draw_gap(&mut picture, &view, station, plan);
    draw_flush(&mut picture, &view, station, plan);
    draw_head(&mut picture, plan, seam, station, texts);
    draw_panels(&mut picture, &view, plan, seam, texts);
    view.draw_scale_bar(&mut picture, plan.units);
    Ok(picture)
}

fn describe(plan: &Plan, seam: &Seam, station: &JudgedReading, texts: &Texts) -> String {
    let values = Measurand::BOTH.map(|measurand| words(&station.value(measurand), measurand, plan, texts));
    let place = along(station.reading.station.along_mm, plan.units);
    format!("{}, {} {place}. {}. {}.", seam.title, texts.section_at, values[0], values[1])
}

/// "gap 2.91 ±0.05 mm, tight", or why there is none.
pub(super) fn words(value: &JudgedValue<'_>, measurand: Measurand, plan: &Plan, texts: &Texts) -> String {
    let name = texts.measurand(measurand);
    match value.measured {
        Ok(seen) => format!(
            "{name} {} ±{} {}, {}",
            value_words(seen.value_mm, measurand, plan.units),
            length(expanded_u_mm(seen, &plan.decision), plan.units),
            unit_name(plan.units),
            texts.verdict(value.verdict)
        ),
        Err(reason) => format!("{name}: {}", texts.reason_words(reason)),
    }
}

fn draw_head(picture: &mut Picture, plan: &Plan, seam: &Seam, station: &JudgedReading, texts: &Texts) {
    let title = format!(
        "{}, {} {}",
        seam.title,
        texts.section_at,
        along(station.reading.station.along_mm, plan.units)
    );
    picture.bold([14.0, 20.0], 15.0, Anchor::Start, Ink::Text, title);
    let mut x = 14.0;
    for measurand in Measurand::BOTH {
        let value = station.value(measurand);
        if let (true, Ok(seen)) = (value.verdict.is_out(), value.measured) {
            let ink = Ink::of_verdict(value.verdict, severity(seen.value_mm, &value.tolerance));
            picture.badge([x + 7.0, 36.0], 7.0, ink, mark(value.verdict));
            x += 19.0;
        }
        let text = words(&value, measurand, plan, texts);
        let width = text_width(&text, 12.0, Weight::Regular);
        picture.text([x, 40.0], 12.0, Anchor::Start, Ink::Text, text);
        x += width + 22.0;
    }
    if station.judged_state == JudgedState::Finished {
        picture.text([14.0, 54.0], 10.5, Anchor::Start, Ink::Muted, texts.drawn_as_scanned);
    }
}

fn draw_panels(picture: &mut Picture, view: &View, plan: &Plan, seam: &Seam, texts: &Texts) {
    let name = |side: Side| {
        let panel = seam.panel_on(side);
        let role = if *panel == seam.datum_panel { format!(" ({})", texts.datum) } else { String::new() };
        format!("{}{role}", panel_title(plan, panel))
    };
    let y = view.area.bottom() - 10.0;
    picture.bold([view.area.x + 10.0, y], 12.0, Anchor::Start, Ink::Text, name(Side::Left));
    picture.bold([view.area.right() - 10.0, y], 12.0, Anchor::End, Ink::Text, name(Side::Right));
}

/// Height of a fitted outer surface, mm.
fn skin_height_mm(skin: &ProfileSkin, u_mm: f64) -> f64 {
    let [constant, slope, bend] = skin.coefficients;
    constant + u_mm * (slope + u_mm * bend)
}

fn draw_fits(picture: &mut Picture, view: &View, station: &JudgedReading) {
    let profile = &station.reading.profile;
    let middle_mm = view.middle_mm;
    for (skin, arc) in profile.skins.iter().zip(&profile.arcs) {
        if let Some(skin) = skin {
            let near_mm =
                if skin.from_u_mm + skin.to_u_mm < 2.0 * middle_mm { skin.to_u_mm } else { skin.from_u_mm };
            picture.polyline(
                skin_places(view, skin, [skin.from_u_mm, skin.to_u_mm]),
                Stroke::new(Ink::Second, 1.8),
            );
            let onward = skin_places(view, skin, [near_mm, middle_mm]);
            picture.polyline(onward, Stroke::new(Ink::Second, 1.0).dashed(4.0, 3.0));
        }
        if let Some(arc) = arc {
            picture.polyline(arc_places(view, arc), Stroke::new(Ink::Second, 1.8));
            picture.disc(view.place(arc.edge_u_mm, arc.edge_v_mm), 3.4, Ink::Text);
        }
    }
}

fn skin_places(view: &View, skin: &ProfileSkin, [from_mm, to_mm]: [f64; 2]) -> Vec<Place> {
    let (low_mm, high_mm) = view.span_mm();
    (0..=48)
        .map(|index| from_mm + (to_mm - from_mm) * f64::from(index) / 48.0)
        .filter(|u_mm| (low_mm..=high_mm).contains(u_mm))
        .map(|u_mm| view.place(u_mm, skin_height_mm(skin, u_mm)))
        .collect()
}

/// The hem from the outer surface's direction round past the edge point.
fn arc_places(view: &View, arc: &ProfileArc) -> Vec<Place> {
    let towards = if arc.edge_u_mm < arc.centre_u_mm { -1.0 } else { 1.0 };
    (0..=36)
        .map(|index| f64::from(index) / 36.0 * 110f64.to_radians())
        .map(|turn_rad| {
            let u_mm = arc.centre_u_mm + towards * arc.radius_mm * turn_rad.sin();
            view.place(u_mm, arc.centre_v_mm + arc.radius_mm * turn_rad.cos())
        })
        // A large hem goes deeper than is shown.
        .filter(|[_, y]| *y <= view.area.bottom())
        .collect()
}

/// The gap between the edge points, dimensioned above the surface.
fn draw_gap(picture: &mut Picture, view: &View, station: &JudgedReading, plan: &Plan) {
    let [Some(one), Some(other)] = station.reading.profile.arcs else { return };
    // What is drawn is what was scanned.
    let value = station.value_in(JudgedState::AsScanned, Measurand::Gap);
    let Ok(seen) = value.measured else { return };
    let line = Stroke::new(Ink::Text, 0.9);
    let y = view.dimension_y();
    let [left, right] = if one.edge_u_mm < other.edge_u_mm { [one, other] } else { [other, one] };
    let ends = [left, right].map(|arc| view.place(arc.edge_u_mm, arc.edge_v_mm));
    for end in ends {
        picture.line([end[0], end[1] - 5.0], [end[0], y - 5.0], Stroke::new(Ink::Muted, 0.7));
    }
    let (from, to) = ([ends[0][0], y], [ends[1][0], y]);
    let text = length_or_signed(seen.value_mm, Measurand::Gap, plan.units);
    if to[0] - from[0] > 18.0 {
        picture.line(from, to, line);
        picture.arrow_head(from, [-1.0, 0.0], 7.0, Ink::Text);
        picture.arrow_head(to, [1.0, 0.0], 7.0, Ink::Text);
    } else {
        picture.line([from[0] - 18.0, y], from, line);
        picture.line(to, [to[0] + 18.0, y], line);
        picture.arrow_head(from, [1.0, 0.0], 7.0, Ink::Text);
        picture.arrow_head(to, [-1.0, 0.0], 7.0, Ink::Text);
    }
    let middle = (from[0] + to[0]) / 2.0;
    picture.bold([middle, y - 7.0], 14.0, Anchor::Middle, Ink::Text, text);
}

/// The flush at mid-gap between the continued surfaces, its value led down into the gap.
fn draw_flush(picture: &mut Picture, view: &View, station: &JudgedReading, plan: &Plan) {
    let [Some(datum), Some(other)] = station.reading.profile.skins else { return };
    let value = station.value_in(JudgedState::AsScanned, Measurand::Flush);
    let Ok(seen) = value.measured else { return };
    let u_mm = view.middle_mm;
    let heights = [&datum, &other].map(|skin| skin_height_mm(skin, u_mm));
    let [low, high] = heights.map(|v_mm| view.place(u_mm, v_mm));
    let line = Stroke::new(Ink::Text, 0.9);
    for (end, beyond) in [(low, heights[0] < heights[1]), (high, heights[1] <= heights[0])] {
        let away = if beyond { 1.0 } else { -1.0 };
        picture.line(end, [end[0], end[1] + away * 16.0], line);
        picture.arrow_head(end, [0.0, -away], 6.0, Ink::Text);
        picture.line([end[0] - 7.0, end[1]], [end[0] + 7.0, end[1]], Stroke::new(Ink::Text, 0.7));
    }
    let text = length_or_signed(seen.value_mm, Measurand::Flush, plan.units);
    let text_y = view.below_edges(&station.reading.profile) + 16.0;
    let lower_end = low[1].max(high[1]) + 16.0;
    picture.line([low[0], lower_end], [low[0], text_y - 15.0], Stroke::new(Ink::Muted, 0.7));
    let width = text_width(&text, 14.0, Weight::Bold);
    picture.rect(Area::new(low[0] - width / 2.0 - 3.0, text_y - 12.0, width + 6.0, 16.0), Ink::Paper);
    picture.bold([low[0], text_y], 14.0, Anchor::Middle, Ink::Text, text);
}
