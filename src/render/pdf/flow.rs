//! Blocks set one below the other on as many sheets as they need.
//!
//! In: headings, words, pictures, tables. Out: content streams and their tags. Units: points, y up.
//! Lines break at spaces; a picture that does not fit goes onto the next sheet whole; a table repeats its heading.

use pdf_writer::{Content, Name};

use super::canvas::{draw_bar, draw_picture, draw_text, label};
use super::document::Paper;
use super::fonts::Fonts;
use super::tags::{Role, Tags};
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
    tags: Tags,
    /// Where the next block begins.
    y: f64,
}

/// The sheets, and what stands on them.
pub(super) struct Sheets {
    pub pages: Vec<Content>,
    pub tags: Tags,
}

/// A piece of a line in one weight.
pub(super) type Run = (Weight, String);

impl<'a> Flow<'a> {
    pub fn new(paper: Paper, fonts: &'a Fonts) -> Self {
        let size = paper.size().map(f64::from);
        Self { fonts, size, pages: vec![Content::new()], tags: Tags::new(), y: size[1] - MARGIN }
    }

    pub fn width(&self) -> f64 {
        self.size[0] - 2.0 * MARGIN
    }

    /// Draws content of the open element.
    fn draw(&mut self, paint: impl FnOnce(&mut Content, &Fonts)) {
        let last = self.pages.len().saturating_sub(1);
        let Some(page) = self.pages.get_mut(last) else { return };
        let (name, id) = self.tags.mark(last);
        page.begin_marked_content_with_properties(name).properties().identify(id);
        paint(page, self.fonts);
        page.end_marked_content();
    }

    /// Draws what is passed over by people who read by ear.
    fn adorn(&mut self, paint: impl FnOnce(&mut Content, &Fonts)) {
        if let Some(page) = self.pages.last_mut() {
            adorn(page, |page| paint(page, self.fonts));
        }
    }

    /// What `fill` draws is one element.
    fn element(&mut self, role: Role, fill: impl FnOnce(&mut Self)) {
        self.tags.begin(role, None);
        fill(self);
        self.tags.end();
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
        let runs = [(Weight::Bold, text.to_owned())];
        self.element(Role::Title, |flow| flow.lines(&runs, 20.0, Ink::Text, 0.0));
    }

    /// A heading stays with some of what follows it.
    pub fn heading(&mut self, text: &str, following: f64) {
        self.skip(14.0);
        self.need(24.0 + following);
        let runs = [(Weight::Bold, text.to_owned())];
        self.element(Role::Heading, |flow| flow.lines(&runs, 14.0, Ink::Text, 0.0));
        self.skip(3.0);
    }

    pub fn words(&mut self, text: &str, ink: Ink) {
        self.runs(&[(Weight::Regular, text.to_owned())], ink, 0.0);
    }

    /// Words of both weights, indented.
    pub fn runs(&mut self, runs: &[Run], ink: Ink, indent: f64) {
        self.element(Role::Words, |flow| flow.lines(runs, WORDS, ink, indent));
    }

    /// A sentence with parts in bold, behind a letter mark.
    pub fn marked(&mut self, ink: Ink, letter: &str, runs: &[Run]) {
        let height = 2.0 * WORDS * LEADING + 8.0;
        self.need(height);
        let centre = [MARGIN + 9.0, self.y - 10.0];
        let mut badge = Picture::new(20.0, 20.0, String::new());
        badge.badge([10.0, 10.0], 8.0, ink, letter);
        let corner = [centre[0] as f32 - 10.0, centre[1] as f32 + 10.0];
        let top = self.y;
        self.element(Role::Words, |flow| {
            flow.adorn(|page, fonts| draw_picture(page, fonts, &badge, corner, 1.0));
            flow.lines(runs, WORDS, Ink::Text, 26.0);
        });
        self.y = self.y.min(top - 22.0) - 5.0;
    }

    pub fn caution(&mut self, text: &str) {
        self.skip(6.0);
        let lines = self.broken(&[(Weight::Regular, text.to_owned())], WORDS, self.width() - 12.0);
        let height = lines.len() as f64 * WORDS * LEADING;
        self.need(height);
        let area = Area::new(MARGIN, self.y - height - 2.0, 3.0, height);
        self.adorn(|page, _| draw_bar(page, area, Ink::Text));
        self.runs(&[(Weight::Regular, text.to_owned())], Ink::Text, 12.0);
        self.skip(6.0);
    }

    pub fn picture(&mut self, picture: &Picture) {
        let full = self.size[1] - 2.0 * MARGIN - FOOT;
        let scale = (self.width() / picture.width).min(full / picture.height.max(1.0));
        self.need(picture.height * scale);
        let corner = [MARGIN as f32, self.y as f32];
        self.tags.begin(Role::Figure, Some(picture.description.clone()));
        self.draw(|page, fonts| draw_picture(page, fonts, picture, corner, scale as f32));
        self.tags.end();
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
        self.tags.begin(Role::Table, None);
        self.table_head(head, &widths, &numbers, true);
        for (index, row) in rows.iter().enumerate() {
            let pages_before = self.pages.len();
            self.need(height);
            if self.pages.len() > pages_before {
                self.table_head(head, &widths, &numbers, false);
            }
            let is_bold = bold.and_then(|bold| bold.get(index)).copied().unwrap_or(false);
            let weight = if is_bold { Weight::Bold } else { Weight::Regular };
            self.table_row(row, (&widths, &numbers), (weight, Ink::Text), Some(Role::Cell));
        }
        self.tags.end();
        self.skip(4.0);
    }

    /// Once for those who read by ear, on each sheet for those who see it.
    fn table_head(&mut self, head: &[String], widths: &[f64], numbers: &[bool], is_first: bool) {
        if head.is_empty() {
            return;
        }
        let role = is_first.then_some(Role::HeadCell);
        self.table_row(head, (widths, numbers), (Weight::Bold, Ink::Muted), role);
        let area = Area::new(MARGIN, self.y + 1.0, self.width(), 0.6);
        self.adorn(|page, _| draw_bar(page, area, Ink::GoodLine));
        self.skip(2.0);
    }

    /// Without a role the row is an adornment.
    fn table_row(
        &mut self,
        row: &[String],
        (widths, numbers): (&[f64], &[bool]),
        (weight, ink): (Weight, Ink),
        role: Option<Role>,
    ) {
        let base = self.y - SMALL;
        if role.is_some() {
            self.tags.begin(Role::Row, None);
        }
        let mut left = MARGIN;
        for (column, cell) in row.iter().enumerate() {
            let width = widths.get(column).copied().unwrap_or(0.0);
            let is_number = numbers.get(column).copied().unwrap_or(false);
            let at = if is_number { [left + width - 8.0, base] } else { [left, base] };
            let mut text = label(at, SMALL, weight, ink, fitted(cell, width - 4.0, weight));
            text.anchor = if is_number { Anchor::End } else { Anchor::Start };
            match role {
                Some(role) => {
                    self.element(role, |flow| flow.draw(|page, fonts| draw_text(page, fonts, &text)))
                }
                None => self.adorn(|page, fonts| draw_text(page, fonts, &text)),
            }
            left += width;
        }
        if role.is_some() {
            self.tags.end();
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
            let base = self.y - size;
            self.draw(|page, fonts| {
                for (weight, text) in line {
                    let at = [left, base];
                    left += text_width(&text, size, weight);
                    draw_text(page, fonts, &label(at, size, weight, ink, text));
                }
            });
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
    pub fn finish(mut self, footer: &str) -> Sheets {
        let count = self.pages.len();
        for (index, page) in self.pages.iter_mut().enumerate() {
            let at = [MARGIN, MARGIN - 10.0];
            let mut number =
                label(at, SMALL, Weight::Regular, Ink::Muted, format!("{} / {count}", index + 1));
            number.at[0] = self.size[0] - MARGIN;
            number.anchor = Anchor::End;
            let footer = label(at, SMALL, Weight::Regular, Ink::Muted, footer);
            adorn(page, |page| {
                draw_text(page, self.fonts, &footer);
                draw_text(page, self.fonts, &number);
            });
        }
        Sheets { pages: self.pages, tags: self.tags }
    }
}

/// Content that is passed over by people who read by ear.
fn adorn(page: &mut Content, paint: impl FnOnce(&mut Content)) {
    page.begin_marked_content(Name(b"Artifact"));
    paint(page);
    page.end_marked_content();
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
