//! Pictures to PNG, the same bytes on every machine: own font, own rasteriser, no system graphics.
//!
//! In: a [`Picture`] and pixels per picture unit. Out: PNG bytes with their resolution.
//! Method: `tiny-skia` fills and strokes, outlines of the built-in font by `ab_glyph`, encoding by `image`.
//! Does not lay out.

use ab_glyph::{Font, FontRef, OutlineCurve};
use image::ImageEncoder;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use tiny_skia::{FillRule, LineCap, LineJoin, Paint, Path, PathBuilder, Pixmap, StrokeDash, Transform};

use super::error::RenderError;
use super::ink::{Ink, Rgb, Theme};
use super::picture::{Anchor, Label, Picture, Place, Shape, Stroke, Weight};

const REGULAR: &[u8] = include_bytes!("font/BarlowSemiCondensed-Regular-subset.ttf");
const BOLD: &[u8] = include_bytes!("font/BarlowSemiCondensed-SemiBold-subset.ttf");

/// The built-in font's file, for pages that carry it along.
#[must_use]
pub const fn font_bytes(weight: Weight) -> &'static [u8] {
    match weight {
        Weight::Regular => REGULAR,
        Weight::Bold => BOLD,
    }
}

/// Width of a text in picture units; characters that the font lacks count as its empty box.
#[must_use]
pub fn text_width(text: &str, size: f64, weight: Weight) -> f64 {
    FontRef::try_from_slice(font_bytes(weight)).map_or(0.0, |font| width_in(&font, text, size))
}

/// Draws a picture on light paper and encodes it.
///
/// # Errors
/// The picture has no area or more than 200 million pixels.
pub fn png(picture: &Picture, pixels_per_unit: f64) -> Result<Vec<u8>, RenderError> {
    let (width, height) =
        ((picture.width * pixels_per_unit).round(), (picture.height * pixels_per_unit).round());
    let refuse = || RenderError::PictureSize { picture: picture.description.clone(), width, height };
    if !(width >= 1.0 && height >= 1.0 && width * height <= 2e8) {
        return Err(refuse());
    }
    let mut pixmap = Pixmap::new(width as u32, height as u32).ok_or_else(refuse)?;
    pixmap.fill(colour(Ink::Paper));
    let mut pen = Pen {
        pixmap,
        to_pixels: Transform::from_scale(pixels_per_unit as f32, pixels_per_unit as f32),
        regular: FontRef::try_from_slice(REGULAR).map_err(|_| RenderError::Font)?,
        bold: FontRef::try_from_slice(BOLD).map_err(|_| RenderError::Font)?,
    };
    for shape in &picture.shapes {
        pen.draw(shape);
    }
    encode(&pen.pixmap)
        .map_err(|error| RenderError::Png { picture: picture.description.clone(), cause: error.to_string() })
}

struct Pen {
    pixmap: Pixmap,
    to_pixels: Transform,
    regular: FontRef<'static>,
    bold: FontRef<'static>,
}

impl Pen {
    fn draw(&mut self, shape: &Shape) {
        match shape {
            Shape::Path { points, is_closed, fill, stroke } => {
                self.paint(path_of(points, *is_closed), *fill, *stroke);
            }
            Shape::Segments { lines, stroke } => {
                let mut builder = PathBuilder::new();
                for [from, to] in lines {
                    builder.move_to(from[0] as f32, from[1] as f32);
                    builder.line_to(to[0] as f32, to[1] as f32);
                }
                self.paint(builder.finish(), None, Some(*stroke));
            }
            Shape::Circle { centre, radius, fill, stroke } => {
                let path = PathBuilder::from_circle(centre[0] as f32, centre[1] as f32, *radius as f32);
                self.paint(path, *fill, *stroke);
            }
            Shape::Label(label) => self.label(label),
            Shape::Dots { centres, stroke } => {
                let mut builder = PathBuilder::new();
                for [x, y] in centres {
                    builder.push_circle(*x as f32, *y as f32, (stroke.width / 2.0) as f32);
                }
                self.paint(builder.finish(), Some(stroke.ink), None);
            }
            Shape::Boxes { areas, fill } => {
                let boxes = areas.iter().filter_map(|area| {
                    let [x, y, width, height] =
                        [area.x, area.y, area.width, area.height].map(|value| value as f32);
                    tiny_skia::Rect::from_xywh(x, y, width, height)
                });
                let mut builder = PathBuilder::new();
                boxes.for_each(|area| builder.push_rect(area));
                self.paint(builder.finish(), Some(*fill), None);
            }
        }
    }

    fn paint(&mut self, path: Option<Path>, fill: Option<Ink>, stroke: Option<Stroke>) {
        let Some(path) = path else { return };
        if let Some(ink) = fill {
            self.pixmap.fill_path(&path, &paint(ink), FillRule::Winding, self.to_pixels, None);
        }
        if let Some(stroke) = stroke {
            let style = tiny_skia::Stroke {
                width: stroke.width as f32,
                line_cap: LineCap::Butt,
                line_join: LineJoin::Round,
                dash: stroke.dash.and_then(|[on, off]| StrokeDash::new(vec![on as f32, off as f32], 0.0)),
                ..tiny_skia::Stroke::default()
            };
            self.pixmap.stroke_path(&path, &paint(stroke.ink), &style, self.to_pixels, None);
        }
    }

    fn label(&mut self, label: &Label) {
        let font = match label.weight {
            Weight::Regular => self.regular.clone(),
            Weight::Bold => self.bold.clone(),
        };
        let width = width_in(&font, &label.text, label.size);
        let start = label.at[0]
            - match label.anchor {
                Anchor::Start => 0.0,
                Anchor::Middle => width / 2.0,
                Anchor::End => width,
            };
        let path = text_path(&font, &label.text, label.size, [start, label.at[1]]);
        self.paint(path, Some(label.ink), None);
    }
}

fn width_in(font: &FontRef<'_>, text: &str, size: f64) -> f64 {
    let per_unit = size / f64::from(font.units_per_em().unwrap_or(1000.0));
    text.chars().map(|letter| f64::from(font.h_advance_unscaled(font.glyph_id(letter))) * per_unit).sum()
}

fn text_path(font: &FontRef<'_>, text: &str, size: f64, start: Place) -> Option<Path> {
    let scale = (size / f64::from(font.units_per_em().unwrap_or(1000.0))) as f32;
    let (mut x, y) = (start[0] as f32, start[1] as f32);
    let mut builder = PathBuilder::new();
    for letter in text.chars() {
        let glyph = font.glyph_id(letter);
        if let Some(outline) = font.outline(glyph) {
            add_outline(&mut builder, &outline.curves, |point| (x + point.x * scale, y - point.y * scale));
        }
        x += font.h_advance_unscaled(glyph) * scale;
    }
    builder.finish()
}

fn add_outline(
    builder: &mut PathBuilder,
    curves: &[OutlineCurve],
    place: impl Fn(&ab_glyph::Point) -> (f32, f32),
) {
    let mut last = None;
    for curve in curves {
        let (from, to) = match curve {
            OutlineCurve::Line(from, to) => (from, to),
            OutlineCurve::Quad(from, _, to) => (from, to),
            OutlineCurve::Cubic(from, _, _, to) => (from, to),
        };
        if last != Some(*from) {
            let (x, y) = place(from);
            builder.move_to(x, y);
        }
        let (x, y) = place(to);
        match curve {
            OutlineCurve::Line(..) => builder.line_to(x, y),
            OutlineCurve::Quad(_, control, _) => {
                let (cx, cy) = place(control);
                builder.quad_to(cx, cy, x, y);
            }
            OutlineCurve::Cubic(_, first, second, _) => {
                let ((ax, ay), (bx, by)) = (place(first), place(second));
                builder.cubic_to(ax, ay, bx, by, x, y);
            }
        }
        last = Some(*to);
    }
}

fn path_of(points: &[Place], is_closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let (first, rest) = points.split_first()?;
    builder.move_to(first[0] as f32, first[1] as f32);
    for point in rest {
        builder.line_to(point[0] as f32, point[1] as f32);
    }
    if is_closed {
        builder.close();
    }
    builder.finish()
}

fn colour(ink: Ink) -> tiny_skia::Color {
    let Rgb(red, green, blue) = ink.rgb(Theme::Light);
    tiny_skia::Color::from_rgba8(red, green, blue, 255)
}

fn paint(ink: Ink) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color(colour(ink));
    paint.anti_alias = true;
    paint
}

fn encode(pixmap: &Pixmap) -> Result<Vec<u8>, image::ImageError> {
    let rgb: Vec<u8> =
        pixmap.data().chunks_exact(4).flat_map(|pixel| [pixel[0], pixel[1], pixel[2]]).collect();
    let mut bytes = Vec::new();
    PngEncoder::new_with_quality(&mut bytes, CompressionType::Fast, FilterType::Adaptive).write_image(
        &rgb,
        pixmap.width(),
        pixmap.height(),
        image::ExtendedColorType::Rgb8,
    )?;
    Ok(bytes)
}
