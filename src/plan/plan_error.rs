//! What is wrong with a plan, and where: file, line, column, the line itself with a caret, and what to do.
//!
//! In: the plan's text and a byte range in it. Out: a [`PlanError`] whose text is complete.
//! Lines and columns count from 1; a column is a character, not a byte.
//! Does not decide what is wrong: the tables' readers do.

use std::fmt;
use std::ops::Range;

use thiserror::Error;

/// Most characters of a source line that a message shows.
const SHOWN_CHARACTERS: usize = 110;
/// Characters shown before the caret when a long line is cut.
const SHOWN_BEFORE: usize = 40;

/// What is wrong, without the place.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum PlanProblem {
    /// The text is not TOML.
    #[error("this is not valid TOML: {message}")]
    Syntax { message: String },
    #[error("unknown key `{key}` in {table}")]
    UnknownKey { key: String, table: String },
    #[error("`{key}` is missing in {table}")]
    MissingKey { key: String, table: String },
    /// A string where a number should be, and the like.
    #[error("`{key}` must be {expected}, and here is {found}")]
    WrongKind { key: String, expected: String, found: String },
    #[error("`{key}` must be {expected}, and here is {found}")]
    BadValue { key: String, expected: String, found: String },
    #[error("there is no panel `{panel}`; the plan's panels are {known}")]
    UnknownPanel { panel: String, known: String },
    #[error("there is no seam `{seam}`")]
    UnknownSeam { seam: String },
    #[error("two {things} are called `{id}`")]
    Repeated { things: String, id: String },
    /// Two values that exclude each other.
    #[error("{message}")]
    Contradiction { message: String },
    #[error("could not use the curve of seam `{seam}`: {message}")]
    Curve { seam: String, message: String },
    #[error("{what} is too much: {found}, and at most {allowed} are allowed")]
    TooMany { what: String, found: String, allowed: String },
}

/// A problem with its place in the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanError {
    /// As the caller named it.
    pub file_name: String,
    /// From 1.
    pub line: usize,
    /// From 1, in characters.
    pub column: usize,
    /// Boxed, so that results stay small.
    pub problem: Box<PlanProblem>,
    /// What to do about it.
    pub hint: Option<String>,
    /// The line as shown, and where the caret stands in it (characters from 0, and how many).
    shown_line: String,
    caret: (usize, usize),
}

impl std::error::Error for PlanError {}

impl PlanError {
    /// Places a problem at a byte range of the text; a range outside it is moved to its end.
    #[must_use]
    pub fn at(file_name: &str, text: &str, span: Range<usize>, problem: PlanProblem) -> Self {
        let start = floor_character(text, span.start);
        let line_start = text[..start].rfind('\n').map_or(0, |newline| newline + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |newline| start + newline);
        let source_line = text[line_start..line_end].trim_end_matches('\r');
        let before = text[line_start..start].chars().count();
        // The start may stand behind the line as shown, on the end of a line that ends in two characters.
        let end = floor_character(text, span.end.min(line_start + source_line.len()).max(start));
        let width = text[start..end].chars().count().max(1);
        let (shown_line, caret) = cut_line(source_line, before, width);
        Self {
            file_name: file_name.to_owned(),
            line: text[..line_start].matches('\n').count() + 1,
            column: before + 1,
            problem: Box::new(problem),
            hint: None,
            shown_line,
            caret,
        }
    }

    /// The same error with advice.
    #[must_use]
    pub fn with_hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

impl fmt::Display for PlanError {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.line.to_string();
        let margin = " ".repeat(number.len());
        writeln!(formatter, "{}:{}:{}: {}", self.file_name, self.line, self.column, self.problem)?;
        writeln!(formatter, "{margin} |")?;
        writeln!(formatter, "{number} | {}", self.shown_line)?;
        write!(formatter, "{margin} | {}{}", " ".repeat(self.caret.0), "^".repeat(self.caret.1))?;
        match &self.hint {
            Some(hint) => write!(formatter, "\nhint: {hint}"),
            None => Ok(()),
        }
    }
}

/// The largest character boundary that is not after `index`.
fn floor_character(text: &str, index: usize) -> usize {
    let mut floor = index.min(text.len());
    while !text.is_char_boundary(floor) {
        floor -= 1;
    }
    floor
}

/// The line without characters that would disturb a terminal, cut round the caret where it is long.
fn cut_line(line: &str, before: usize, width: usize) -> (String, (usize, usize)) {
    let harmless = |character: char| if character.is_control() { ' ' } else { character };
    let count = line.chars().count();
    if count <= SHOWN_CHARACTERS {
        let shown = line.chars().map(harmless).collect();
        return (shown, (before, width.min((count + 1).saturating_sub(before).max(1))));
    }
    let first = before.saturating_sub(SHOWN_BEFORE);
    let lead = if first > 0 { "… " } else { "" };
    let cut: String = line.chars().skip(first).take(SHOWN_CHARACTERS).map(harmless).collect();
    let caret_start = before - first + lead.chars().count();
    let caret_width = width.min(SHOWN_CHARACTERS.saturating_sub(before - first).max(1));
    (format!("{lead}{cut} …"), (caret_start, caret_width))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn syntax() -> PlanProblem {
        PlanProblem::Syntax { message: "x".to_owned() }
    }

    #[test]
    fn the_caret_stands_under_the_range() {
        let text = "title = \"a\"\nünits = \"mm\"\r\n";
        let start = text.find("mm").unwrap();
        let error = PlanError::at("p.toml", text, start..start + 2, syntax());
        assert_eq!((error.line, error.column), (2, 10));
        let shown = error.to_string();
        assert!(shown.contains("\n2 | ünits = \"mm\"\n  |          ^^"), "{shown}");
    }

    #[test]
    fn any_range_of_any_text_is_placed_without_a_panic() {
        let text = format!("a = \"é\"\n\r\nb\r\r\n\t{}\u{1b}[31m\nlast", "long ".repeat(60));
        for start in 0..text.len() + 3 {
            for length in [0, 1, 7, 400] {
                let error = PlanError::at("p", &text, start..start + length, syntax());
                let shown = error.to_string();
                assert!(!shown.contains('\u{1b}'));
                assert!(shown.lines().all(|line| line.chars().count() < 130), "{shown}");
            }
        }
        let backwards = Range { start: 9, end: 3 };
        assert!(PlanError::at("p", &text, backwards, syntax()).to_string().contains('^'));
    }
}
