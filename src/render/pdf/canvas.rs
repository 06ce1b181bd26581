//! Pictures and texts as operators of a PDF content stream.
//!
//! In: a [`Picture`] and where it goes. Out: operators. Frame: points, y up from the bottom of the sheet; inside a picture
//! its own units, y down, by one transformation.

use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use pdf_writer::{Content, Str};

use super::fonts::Fonts;
use crate::render::ink::{Ink, Rgb, Theme};
use crate::render::picture::{Anchor, Area, Label, Picture, Place, Shape, Stroke, Weight};
use crate::render::raster::text_width;

/// Distance of control points that makes four cubic curves a circle, to 3e-4 of its radius.
const CIRCLE: f32 = 0.552_284_8;

/// Draws a picture with its upper left corner at `corner` (points, y up), `scale` points for a unit.
pub(super) fn draw_picture(
    content: &mut Content,
    fonts: &Fonts,
    picture: &Picture,
    corner: [f32; 2],
    scale: f32,
) {
    content.save_state();
    content.transform([scale, 0.0, 0.0, -scale, corner[0], corner[1]]);
    content.set_line_join(LineJoinStyle::RoundJoin);
    for shape in &picture.shapes {
        draw_shape(content, fonts, shape);
    }
    content.restore_state();
}

/// A line of text; `at` in points, y up.
pub(super) fn draw_text(content: &mut Content, fonts: &Fonts, label: &Label) {
    show(content, fonts, label, 1.0);
}

/// A filled rectangle, points, y up from its lower edge.
pub(super) fn draw_bar(content: &mut Content, area: Area, ink: Ink) {
    fill_ink(content, ink);
    content.rect(area.x as f32, area.y as f32, area.width as f32, area.height as f32);
    content.fill_nonzero();
}

fn draw_shape(content: &mut Content, fonts: &Fonts, shape: &Shape) {
    match shape {
        Shape::Path { points, is_closed, fill, stroke } => {
            trace(content, points);
            if *is_closed {
                content.close_path();
            }
            paint(content, *fill, *stroke);
        }
        Shape::Segments { lines, stroke } => {
            lines.iter().for_each(|line| trace(content, line));
            paint(content, None, Some(*stroke));
        }
        Shape::Dots { centres, stroke } => {
            content.set_line_cap(LineCapStyle::RoundCap);
            centres.iter().for_each(|centre| trace(content, &[*centre, *centre]));
            paint(content, None, Some(*stroke));
            content.set_line_cap(LineCapStyle::ButtCap);
        }
        Shape::Boxes { areas, fill } => {
            for area in areas {
                content.rect(area.x as f32, area.y as f32, area.width as f32, area.height as f32);
            }
            paint(content, Some(*fill), None);
        }
        Shape::Circle { centre, radius, fill, stroke } => {
            circle(content, *centre, *radius as f32);
            paint(content, *fill, *stroke);
        }
        Shape::Label(label) => show(content, fonts, label, -1.0),
    }
}

/// `upright` is -1 where y runs down, so that letters stand upright there too.
fn show(content: &mut Content, fonts: &Fonts, label: &Label, upright: f32) {
    let width = text_width(&label.text, label.size, label.weight);
    let left = match label.anchor {
        Anchor::Start => label.at[0],
        Anchor::Middle => label.at[0] - width / 2.0,
        Anchor::End => label.at[0] - width,
    };
    fill_ink(content, label.ink);
    content.begin_text();
    content.set_font(Fonts::name(label.weight), label.size as f32);
    content.set_text_matrix([1.0, 0.0, 0.0, upright, left as f32, label.at[1] as f32]);
    content.show(Str(&fonts.glyphs(&label.text, label.weight)));
    content.end_text();
}

fn trace(content: &mut Content, points: &[Place]) {
    for (index, [x, y]) in points.iter().enumerate() {
        if index == 0 {
            content.move_to(*x as f32, *y as f32);
        } else {
            content.line_to(*x as f32, *y as f32);
        }
    }
}

fn circle(content: &mut Content, centre: Place, radius: f32) {
    let [x, y] = centre.map(|value| value as f32);
    let (far, near) = (radius, radius * CIRCLE);
    content.move_to(x + far, y);
    content.cubic_to(x + far, y + near, x + near, y + far, x, y + far);
    content.cubic_to(x - near, y + far, x - far, y + near, x - far, y);
    content.cubic_to(x - far, y - near, x - near, y - far, x, y - far);
    content.cubic_to(x + near, y - far, x + far, y - near, x + far, y);
    content.close_path();
}

fn paint(content: &mut Content, fill: Option<Ink>, stroke: Option<Stroke>) {
    if let Some(ink) = fill {
        fill_ink(content, ink);
    }
    if let Some(stroke) = stroke {
        let [red, green, blue] = rgb(stroke.ink);
        content.set_stroke_rgb(red, green, blue);
        content.set_line_width(stroke.width as f32);
        let dash = stroke.dash.map(|dash| dash.map(|length| length as f32));
        content.set_dash_pattern(dash.into_iter().flatten(), 0.0);
    }
    match (fill, stroke) {
        (Some(_), Some(_)) => content.fill_nonzero_and_stroke(),
        (Some(_), None) => content.fill_nonzero(),
        (None, Some(_)) => content.stroke(),
        (None, None) => content.end_path(),
    };
}

fn fill_ink(content: &mut Content, ink: Ink) {
    let [red, green, blue] = rgb(ink);
    content.set_fill_rgb(red, green, blue);
}

/// The light inks; what is left as paper is white.
fn rgb(ink: Ink) -> [f32; 3] {
    if ink == Ink::Paper {
        return [1.0; 3];
    }
    let Rgb(red, green, blue) = ink.rgb(Theme::Light);
    [red, green, blue].map(|value| f32::from(value) / 255.0)
}

/// A label in points.
pub(super) fn label(at: Place, size: f64, weight: Weight, ink: Ink, text: impl Into<String>) -> Label {
    Label { at, size, weight, anchor: Anchor::Start, ink, text: text.into() }
}
