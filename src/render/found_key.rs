//! The key beneath the overview of what was found: one line a seam.
//!
//! In: [`FoundSeams`] and the inks of the picture above. Out: shapes in the picture. Units: mm.

use super::ink::Ink;
use super::picture::{Anchor, Area, Picture, Stroke};
use super::texts::{FoundTexts, Language};
use crate::trace::FoundSeams;

const MARGIN: f64 = 30.0;
const ROW: f64 = 19.0;
/// Seams stand in two columns from this many on.
const ONE_COLUMN: usize = 5;
/// Shares of a column's width at which its texts begin or end.
const NAME_AT: f64 = 52.0;
/// Least trust of what is called sure, and likely.
const SURE: [f64; 2] = [0.85, 0.6];

/// Draws the key from `top` down; the height at which it ends.
pub(super) fn draw_key(
    picture: &mut Picture,
    found: &FoundSeams,
    lines: &[u8],
    tints: &[u8],
    top: f64,
    language: Language,
) -> f64 {
    let texts = language.found_texts();
    let count = found.seams.len();
    let columns = if count > ONE_COLUMN { 2 } else { 1 };
    let rows = count.div_ceil(columns);
    let width = (picture.width - 2.0 * MARGIN + 20.0) / columns as f64 - 20.0;
    for column in 0..columns {
        let left = MARGIN + column as f64 * (width + 20.0);
        draw_heading(picture, left, top, width, texts);
        for row in 0..rows {
            let number = column * rows + row;
            if number < count {
                let y = top + 20.0 + ROW * row as f64;
                draw_row(picture, found, number, [left, y, width], (lines[number], tints), texts);
            }
        }
    }
    let end = top + 24.0 + ROW * rows as f64;
    picture.text([MARGIN, end + 10.0], 11.0, Anchor::Start, Ink::Muted, texts.hint);
    end + 14.0
}

fn draw_heading(picture: &mut Picture, left: f64, top: f64, width: f64, texts: &FoundTexts) {
    let [seam, length, gap, sure, panels] = texts.columns;
    picture.text([left + NAME_AT, top], 10.0, Anchor::Start, Ink::Muted, seam);
    picture.text([left + 0.56 * width, top], 10.0, Anchor::End, Ink::Muted, length);
    picture.text([left + 0.67 * width, top], 10.0, Anchor::End, Ink::Muted, gap);
    picture.text([left + 0.70 * width, top], 10.0, Anchor::Start, Ink::Muted, sure);
    picture.text([left + 0.81 * width, top], 10.0, Anchor::Start, Ink::Muted, panels);
    picture.line([left, top + 5.0], [left + width, top + 5.0], Stroke::new(Ink::Hair, 0.8));
}

fn draw_row(
    picture: &mut Picture,
    found: &FoundSeams,
    number: usize,
    [left, y, width]: [f64; 3],
    (line, tints): (u8, &[u8]),
    texts: &FoundTexts,
) {
    let seam = &found.seams[number];
    picture.line([left, y - 4.0], [left + 22.0, y - 4.0], Stroke::new(Ink::Line(line), 3.2));
    picture.bold([left + 42.0, y], 11.5, Anchor::End, Ink::Text, (number + 1).to_string());
    let twin = seam.twin.map_or_else(String::new, |twin| {
        format!("  {}", texts.mirrors.replace("{n}", &(twin + 1).to_string()))
    });
    picture.text([left + NAME_AT, y], 11.5, Anchor::Start, Ink::Text, format!("{}{twin}", seam.name));
    picture.text([left + 0.56 * width, y], 11.5, Anchor::End, Ink::Text, format!("{:.0}", seam.length_mm));
    picture.text([left + 0.67 * width, y], 11.5, Anchor::End, Ink::Text, format!("{:.1}", seam.width_mm));
    picture.text([left + 0.70 * width, y], 11.5, Anchor::Start, Ink::Text, sureness(seam.trust, texts));
    let mut x = left + 0.81 * width;
    for panel in seam.panels {
        let tint = tints.get(panel).copied().unwrap_or(0);
        picture.rect(Area::new(x, y - 9.0, 10.0, 10.0), Ink::Panel(tint, 3));
        let name = short_name(&found.panels[panel].name).chars().take(9).collect::<String>();
        picture.text([x + 13.0, y], 11.5, Anchor::Start, Ink::Text, name);
        x += 0.095 * width;
    }
}

/// `p3` for a panel that nobody has named.
pub(super) fn short_name(name: &str) -> String {
    name.strip_prefix("panel-").map_or_else(|| name.to_owned(), |digits| format!("p{digits}"))
}

/// The trust as a word.
fn sureness(trust: f64, texts: &FoundTexts) -> &'static str {
    let [sure, likely, doubtful] = texts.sureness;
    match trust {
        trust if trust >= SURE[0] => sure,
        trust if trust >= SURE[1] => likely,
        _ => doubtful,
    }
}
