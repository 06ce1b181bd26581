//! Blocks set one below the other on as many sheets as they need.
//!
//! In: headings, words, pictures, tables. Out: content streams. Units: points, y up.
//! Lines break at spaces; a picture that does not fit goes onto the next sheet whole; a table repeats its heading.

use pdf_writer::Content;

use super::canvas::{draw_bar, draw_picture, draw_text, label};
use super::document::Paper;
use super::fonts::Fonts;
use crate::render::blocks::{Block, number_columns};
use crate::render::ink::Ink;
use crate::render::picture::{Anchor, Area, Picture, Weight};
use crate::render::raster::text_width;

const MARGIN: f64 = 42.0;
const FOOT: f64 = 30.0;
const WORDS: f64 = 10.5;
const SMALL: f64 = 8.0;
const LEADING: f64 = 1.35;

pub(super) struct Flow<'a> {
    fonts: &'a Fonts,
    size: [f64; 2],
    pages: Vec<Content>,
    /// Where the next block begins.
    y: f64,
}

/// A piece of a line in one weight.
pub(super) type Run = (Weight, String);

impl<'a> Flow<'a> {
    pub fn new(paper: Paper, fonts: &'a Fonts) -> Self {
        let size = paper.size().map(f64::from);
        Self { fonts, size, pages: vec![Content::new()], y: size[1] - MARGIN }
    }

    pub fn width(&self) -> f64 {
        self.size[0] - 2.0 * MARGIN
    }

    fn page(&mut self) -> &mut Content {
        if self.pages.is_empty() {
            self.pages.push(Content::new());
        }
        let last = self.pages.len() - 1;
        &mut self.pages[last]
    }

    fn next_page(&mut self) {
        self.pages.push(Content::new());
        self.y = self.size[1] - MARGIN;
    }

    /// Makes room for a block of this height.
    fn need(&mut self, height: f64) {
        let is_fresh = self.y >= self.size[1] - MARGIN - 0.5;
        if self.y - height < MARGIN + FOOT && !is_fresh {
            self.next_page();
        }
    }

    pub fn skip(&mut self, height: f64) {
        self.y -= height;
    }

    pub fn title(&mut self, text: &str) {
        self.lines(&[(Weight::Bold, text.to_owned())], 20.0, Ink::Text, 0.0);
    }

    /// A heading stays with some of what follows it.
    pub fn heading(&mut self, text: &str, following: f64) {
        self.skip(14.0);
        self.need(24.0 + following);
        self.lines(&[(Weight::Bold, text.to_owned())], 14.0, Ink::Text, 0.0);
        self.skip(3.0);
    }

    pub fn words(&mut self, text: &str, ink: Ink) {
        self.lines(&[(Weight::Regular, text.to_owned())], WORDS, ink, 0.0);
    }

    /// A sentence with parts in bold, behind a letter mark.
    pub fn marked(&mut self, ink: Ink, letter: &str, runs: &[Run]) {
        let height = 2.0 * WORDS * LEADING + 8.0;
        self.need(height);
        let centre = [MARGIN + 9.0, self.y - 10.0];
        let mut badge = Picture::new(20.0, 20.0, String::new());
        badge.badge([10.0, 10.0], 8.0, ink, letter);
        let fonts = self.fonts;
        draw_picture(self.page(), fonts, &badge, [centre[0] as f32 - 10.0, centre[1] as f32 + 10.0], 1.0);
        let top = self.y;
        self.lines(runs, WORDS, Ink::Text, 26.0);
        self.y = self.y.min(top - 22.0) - 5.0;
    }

    pub fn caution(&mut self, text: &str) {
        self.skip(6.0);
        let lines = self.broken(&[(Weight::Regular, text.to_owned())], WORDS, self.width() - 12.0);
        let height = lines.len() as f64 * WORDS * LEADING;
        self.need(height);
        let area = Area::new(MARGIN, self.y - height - 2.0, 3.0, height);
        draw_bar(self.page(), area, Ink::Text);
        self.lines(&[(Weight::Regular, text.to_owned())], WORDS, Ink::Text, 12.0);
        self.skip(6.0);
    }

    pub fn picture(&mut self, picture: &Picture) {
        let full = self.size[1] - 2.0 * MARGIN - FOOT;
        let scale = (self.width() / picture.width).min(full / picture.height.max(1.0));
        self.need(picture.height * scale);
        let corner = [MARGIN as f32, self.y as f32];
        let fonts = self.fonts;
        draw_picture(self.page(), fonts, picture, corner, scale as f32);
        self.skip(picture.height * scale + 8.0);
    }

    pub fn block(&mut self, block: &Block) {
        match block {
            Block::Words(words) => self.words(words, Ink::Text),
            Block::Caution(words) => self.caution(words),
            Block::Picture(picture) => self.picture(picture),
            Block::Table { head, rows } => self.table(head, rows, None),
        }
    }

    /// A table; `bold` says which rows stand out.
    pub fn table(&mut self, head: &[String], rows: &[Vec<String>], bold: Option<&[bool]>) {
        let numbers = number_columns(rows);
        let widths = self.column_widths(head, rows);
        let height = SMALL * 1.45;
        self.need(3.0 * height);
        self.table_head(head, &widths, &numbers);
        for (index, row) in rows.iter().enumerate() {
            let pages_before = self.pages.len();
            self.need(height);
            if self.pages.len() > pages_before {
                self.table_head(head, &widths, &numbers);
            }
            let is_bold = bold.and_then(|bold| bold.get(index)).copied().unwrap_or(false);
            let weight = if is_bold { Weight::Bold } else { Weight::Regular };
            self.table_row(row, (&widths, &numbers), weight, Ink::Text);
        }
        self.skip(4.0);
    }

    fn table_head(&mut self, head: &[String], widths: &[f64], numbers: &[bool]) {
        if head.is_empty() {
            return;
        }
        self.table_row(head, (widths, numbers), Weight::Bold, Ink::Muted);
        let area = Area::new(MARGIN, self.y + 1.0, self.width(), 0.6);
        draw_bar(self.page(), area, Ink::GoodLine);
        self.skip(2.0);
    }

    fn table_row(&mut self, row: &[String], (widths, numbers): (&[f64], &[bool]), weight: Weight, ink: Ink) {
        let base = self.y - SMALL;
        let mut left = MARGIN;
        for (column, cell) in row.iter().enumerate() {
            let width = widths.get(column).copied().unwrap_or(0.0);
            let is_number = numbers.get(column).copied().unwrap_or(false);
            let at = if is_number { [left + width - 8.0, base] } else { [left, base] };
            let mut text = label(at, SMALL, weight, ink, fitted(cell, width - 4.0, weight));
            text.anchor = if is_number { Anchor::End } else { Anchor::Start };
            let fonts = self.fonts;
            draw_text(self.page(), fonts, &text);
            left += width;
        }
        self.skip(SMALL * 1.45);
    }

    /// As wide as their cells ask for, shared out over the page.
    fn column_widths(&self, head: &[String], rows: &[Vec<String>]) -> Vec<f64> {
        let count = rows.iter().map(Vec::len).chain([head.len()]).max().unwrap_or(0);
        let wanted: Vec<f64> = (0..count)
            .map(|column| {
                let cells = rows.iter().filter_map(|row| row.get(column)).chain(head.get(column));
                cells.map(|cell| text_width(cell, SMALL, Weight::Bold)).fold(16.0, f64::max) + 12.0
            })
            .collect();
        let total: f64 = wanted.iter().sum();
        let spare = (self.width() - total) / count.max(1) as f64;
        let factor = (self.width() / total).min(1.0);
        wanted.iter().map(|width| width * factor + spare.max(0.0)).collect()
    }

    fn lines(&mut self, runs: &[Run], size: f64, ink: Ink, indent: f64) {
        for line in self.broken(runs, size, self.width() - indent) {
            self.need(size * LEADING);
            let mut left = MARGIN + indent;
            for (weight, text) in line {
                let at = [left, self.y - size];
                left += text_width(&text, size, weight);
                let fonts = self.fonts;
                draw_text(self.page(), fonts, &label(at, size, weight, ink, text));
            }
            self.skip(size * LEADING);
        }
    }

    /// Breaks runs into lines at spaces.
    fn broken(&self, runs: &[Run], size: f64, width: f64) -> Vec<Vec<Run>> {
        let mut lines: Vec<Vec<Run>> = vec![Vec::new()];
        let mut used = 0.0;
        for (weight, text) in runs {
            for word in text.split_inclusive(' ') {
                let wide = text_width(word.trim_end(), size, *weight);
                if used > 0.0 && used + wide > width {
                    lines.push(Vec::new());
                    used = 0.0;
                }
                used += text_width(word, size, *weight);
                let Some(line) = lines.last_mut() else { continue };
                match line.last_mut() {
                    Some(last) if last.0 == *weight => last.1.push_str(word),
                    _ => line.push((*weight, word.to_owned())),
                }
            }
        }
        lines
    }

    /// Adds the foot with page numbers and gives the sheets back.
    pub fn finish(mut self, footer: &str) -> Vec<Content> {
        let count = self.pages.len();
        for (index, page) in self.pages.iter_mut().enumerate() {
            let at = [MARGIN, MARGIN - 10.0];
            draw_text(page, self.fonts, &label(at, SMALL, Weight::Regular, Ink::Muted, footer));
            let mut number =
                label(at, SMALL, Weight::Regular, Ink::Muted, format!("{} / {count}", index + 1));
            number.at[0] = self.size[0] - MARGIN;
            number.anchor = Anchor::End;
            draw_text(page, self.fonts, &number);
        }
        self.pages
    }
}

/// The text, cut with an ellipsis where it is too long for its column.
fn fitted(text: &str, width: f64, weight: Weight) -> String {
    if text_width(text, SMALL, weight) <= width {
        return text.to_owned();
    }
    let mut cut = text.to_owned();
    while !cut.is_empty() && text_width(&cut, SMALL, weight) + text_width("…", SMALL, weight) > width {
        cut.pop();
    }
    cut + "…"
}
