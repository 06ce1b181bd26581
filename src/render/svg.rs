//! Pictures to SVG inside a page, coloured by the page's style sheet so that they follow light and dark.
//!
//! In: a [`Picture`]. Out: one `<svg>` element whose colours are custom properties (`Ink::css_name`).
//! Does not carry the font: the page does.

use std::fmt::Write;

use super::ink::Ink;
use super::picture::{Anchor, Picture, Place, Shape, Stroke, Weight};

/// The picture as an `<svg>` element with its description for those who cannot see it.
#[must_use]
pub fn svg(picture: &Picture) -> String {
    let mut out = String::with_capacity(picture.shapes.len() * 96 + 256);
    let name = escape(&picture.description);
    // Writing to a String cannot fail.
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{name}\"",
        short(picture.width),
        short(picture.height)
    );
    if let Some(axis) = &picture.axis {
        let numbers = [axis.places, axis.along_mm, axis.rows].concat();
        let numbers: Vec<String> = numbers.into_iter().map(|number| short(number).to_string()).collect();
        let _ = write!(out, " data-seam=\"{}\" data-axis=\"{}\"", escape(&axis.seam), numbers.join(" "));
    }
    out.push('>');
    for shape in &picture.shapes {
        let _ = write_shape(&mut out, shape);
    }
    out.push_str("</svg>");
    out
}

/// Text with the five characters of markup replaced.
#[must_use]
pub fn escape(text: &str) -> String {
    text.chars().fold(String::with_capacity(text.len()), |mut out, letter| {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other if other.is_control() => out.push(' '),
            other => out.push(other),
        }
        out
    })
}

fn write_shape(out: &mut String, shape: &Shape) -> std::fmt::Result {
    match shape {
        Shape::Path { points, is_closed, fill, stroke } => {
            out.push_str("<path d=\"");
            write_points(out, points)?;
            out.push_str(if *is_closed { "Z\"" } else { "\"" });
            write_paint(out, *fill, *stroke)?;
        }
        Shape::Segments { lines, stroke } => {
            out.push_str("<path d=\"");
            for [from, to] in lines {
                let ([x, y], [end_x, end_y]) = (from.map(short), to.map(short));
                write!(out, "M{x} {y}")?;
                if x == end_x {
                    write!(out, "V{end_y}")?;
                } else if y == end_y {
                    write!(out, "H{end_x}")?;
                } else {
                    write!(out, "L{end_x} {end_y}")?;
                }
            }
            out.push('"');
            write_paint(out, None, Some(*stroke))?;
        }
        Shape::Circle { centre, radius, fill, stroke } => {
            let [x, y] = centre.map(short);
            write!(out, "<circle cx=\"{x}\" cy=\"{y}\" r=\"{}\"", short(*radius))?;
            write_paint(out, *fill, *stroke)?;
        }
        Shape::Label(label) => {
            let [x, y] = label.at.map(short);
            let anchor = match label.anchor {
                Anchor::Start => "",
                Anchor::Middle => " text-anchor=\"middle\"",
                Anchor::End => " text-anchor=\"end\"",
            };
            let weight = if label.weight == Weight::Bold { " font-weight=\"600\"" } else { "" };
            write!(
                out,
                "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\"{anchor}{weight} fill=\"{}\">{}</text>",
                short(label.size),
                css(label.ink),
                escape(&label.text)
            )?;
        }
        Shape::Dots { centres, stroke } => {
            out.push_str("<path stroke-linecap=\"round\" d=\"");
            for centre in centres {
                // A dot's place to a tenth of a unit is finer than the dot.
                let [x, y] = centre.map(|value| (value * 10.0).round() / 10.0);
                write!(out, "M{x} {y}h0")?;
            }
            out.push('"');
            write_paint(out, None, Some(*stroke))?;
        }
        Shape::Boxes { areas, fill } => {
            out.push_str("<path d=\"");
            for area in areas {
                let [x, y, width, height] = [area.x, area.y, area.width, area.height].map(short);
                write!(out, "M{x} {y}h{width}v{height}h{}z", -width)?;
            }
            out.push('"');
            write_paint(out, Some(*fill), None)?;
        }
    }
    Ok(())
}

fn write_points(out: &mut String, points: &[Place]) -> std::fmt::Result {
    for (index, point) in points.iter().enumerate() {
        let command = if index == 0 { 'M' } else { 'L' };
        let [x, y] = point.map(short);
        write!(out, "{command}{x} {y}")?;
    }
    Ok(())
}

fn write_paint(out: &mut String, fill: Option<Ink>, stroke: Option<Stroke>) -> std::fmt::Result {
    match fill {
        Some(ink) => write!(out, " fill=\"{}\"", css(ink))?,
        None => out.push_str(" fill=\"none\""),
    }
    if let Some(stroke) = stroke {
        write!(out, " stroke=\"{}\" stroke-width=\"{}\"", css(stroke.ink), short(stroke.width))?;
        if let Some([on, off]) = stroke.dash {
            write!(out, " stroke-dasharray=\"{} {}\"", short(on), short(off))?;
        }
    }
    out.push_str("/>");
    Ok(())
}

fn css(ink: Ink) -> String {
    format!("var(--{})", ink.css_name())
}

/// Two decimals at most: a hundredth of a unit is far below what an eye sees.
fn short(value: f64) -> f64 {
    let rounded = (value * 100.0).round() / 100.0;
    if rounded == 0.0 { 0.0 } else { rounded }
}
