//! Why a scan or a curve file could not be read; every text says what, where, and what to do.
//!
//! In and out: nothing; units: none. Texts fit after "could not".

use std::path::{Path, PathBuf};

use thiserror::Error;

/// Why a file could not be read. Fields: what we were doing, where, what was found, what was expected.
#[derive(Debug, Error)]
pub enum ReadError {
    #[error("could not open {}: {source}; check the name and that you may read it", path.display())]
    Open { path: PathBuf, source: std::io::Error },
    #[error("could not read {}: {source}; copy the file to a sound disk and try again", path.display())]
    Read { path: PathBuf, source: std::io::Error },
    #[error("could not keep the decoded content of {}: {source}; free some room for temporary files", path.display())]
    Spool { path: PathBuf, source: std::io::Error },
    #[error("could not read {}: the file is empty; export it again", path.display())]
    Empty { path: PathBuf },
    #[error(
        "could not read {}: {beginning} is the beginning of no format known here; \
         export the scan as PLY, STL, OBJ, PCD, E57, LAS, GLB or as text with x y z per line", path.display()
    )]
    UnknownType { path: PathBuf, beginning: String },
    #[error("could not read {} as {format}: {place}: {problem}; {hint}", path.display())]
    Malformed { path: PathBuf, format: &'static str, place: String, problem: String, hint: String },
    #[error(
        "could not read {}: the file promises {promised} {items} and holds {found}: it is cut off; \
         export or copy it again", path.display()
    )]
    CutOff { path: PathBuf, items: &'static str, promised: u64, found: u64 },
    #[error("could not read {}: it holds no points; export it again, with its points", path.display())]
    NoPoints { path: PathBuf },
    #[error(
        "could not read {}: it unpacks to more than {limit_bytes} bytes, which no scan of that size does; \
         unpack it yourself and look at it", path.display()
    )]
    UnpacksTooLarge { path: PathBuf, limit_bytes: u64 },
    #[error("could not find curve {name:?} in {}: it has {}; name one as {}#NAME", path.display(), known_names(known), path.display())]
    NoSuchCurve { path: PathBuf, name: String, known: Vec<String> },
    #[error("could not tell which curve of {} is meant: it has {}; name one as {}#NAME", path.display(), known_names(known), path.display())]
    CurveNotNamed { path: PathBuf, known: Vec<String> },
    #[error(
        "could not use {}: its lengths are in {file_unit} and the plan's in {plan_unit}; \
         export the curve in {plan_unit}, or change `units` of the plan", path.display()
    )]
    UnitContradiction { path: PathBuf, file_unit: String, plan_unit: &'static str },
    #[error(
        "could not tell which of the {found} edges of {} is meant; name a shape as {}#NAME ({} are there), \
         or give places near the edges as `curve_near` in the plan", path.display(), path.display(), known_names(known)
    )]
    SeveralEdges { path: PathBuf, found: usize, known: Vec<String> },
    #[error(
        "could not find a curve of {} near {place_mm:.3?} mm: {}; \
         look up the place in the file's own frame and unit", path.display(), nearest_text(*distance_mm, *furthest_mm)
    )]
    NothingNear { path: PathBuf, place_mm: [f64; 3], distance_mm: Option<f64>, furthest_mm: f64 },
    #[error(
        "could not join curves of {}: {first:?} and {second:?}, picked one after the other, are {distance_mm:.3} mm apart; \
         add a place near the curve between them, or leave out a place", path.display()
    )]
    PiecesApart { path: PathBuf, first: String, second: String, distance_mm: f64 },
}

impl ReadError {
    /// Content that is not as the format says, with a way out that fits nearly always.
    pub(super) fn malformed(
        path: &Path,
        format: &'static str,
        place: impl Into<String>,
        problem: impl Into<String>,
    ) -> Self {
        Self::Malformed {
            path: path.to_owned(),
            format,
            place: place.into(),
            problem: problem.into(),
            hint: "export it again, or in another format".to_owned(),
        }
    }

    pub(super) fn read(path: &Path, source: std::io::Error) -> Self {
        Self::Read { path: path.to_owned(), source }
    }
}

/// The first names of a list, for a message.
fn known_names(names: &[String]) -> String {
    const SHOWN: usize = 12;
    if names.is_empty() {
        return "no curve".to_owned();
    }
    let shown: Vec<String> = names.iter().take(SHOWN).map(|name| format!("{name:?}")).collect();
    let more = names.len().saturating_sub(SHOWN);
    let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{}{rest}", shown.join(", "))
}

fn nearest_text(distance_mm: Option<f64>, furthest_mm: f64) -> String {
    match distance_mm {
        Some(distance_mm) => {
            format!("the nearest is {distance_mm:.1} mm away, and {furthest_mm} mm are allowed")
        }
        None => "it has none that can be read here".to_owned(),
    }
}

/// At most 60 characters of hostile text, for a message.
pub(super) fn excerpt(bytes: &[u8]) -> String {
    const SHOWN: usize = 60;
    let text: String = String::from_utf8_lossy(bytes.get(..SHOWN).unwrap_or(bytes)).escape_debug().collect();
    format!("\"{text}\"")
}
