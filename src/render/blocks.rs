//! Pieces of a report that page and paper set alike: words, pictures, tables.
//!
//! In and out: data only. Does not know what they are about, and does not set them (`page`, `pdf`).

use super::picture::Picture;

/// A section of the report that another stage fills.
#[derive(Debug, Clone, PartialEq)]
pub struct ExtraSection {
    /// Anchor in the page: lower case, digits, hyphens.
    pub id: String,
    pub title: String,
    pub blocks: Vec<Block>,
}

/// A piece of an [`ExtraSection`].
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    Words(String),
    /// Set apart, for what can hurt.
    Caution(String),
    /// Fits its width to the page; 680 units are a page wide.
    Picture(Picture),
    /// The first column is words; the others are numbers where every cell of theirs looks like one.
    Table {
        head: Vec<String>,
        rows: Vec<Vec<String>>,
    },
}

/// True for each column of a table that holds numbers, which are set to the right.
#[must_use]
pub(super) fn number_columns(rows: &[Vec<String>]) -> Vec<bool> {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let is_number = |cell: &String| {
        cell.is_empty() || cell.starts_with(|one: char| one.is_ascii_digit() || "+−±-".contains(one))
    };
    (0..count)
        .map(|column| column > 0 && rows.iter().filter_map(|row| row.get(column)).all(is_number))
        .collect()
}
