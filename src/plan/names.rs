//! Ids that are fit to be file names, and the nearest known word to a misspelt one.
//!
//! In: words of a plan. Out: errors on bad ids, suggestions for hints.
//! Method: Damerau–Levenshtein distance (crate `strsim`).
//! Does not know which words are allowed where.

use std::ops::Range;

use super::fields::Context;
use super::plan_error::{PlanError, PlanProblem};

/// Most characters in an id, so that it still makes a file name everywhere.
const LONGEST_ID: usize = 60;
/// Stems that one widespread operating system keeps for devices, whatever the ending.
const RESERVED_STEMS: [&str; 4] = ["con", "prn", "aux", "nul"];

/// Refuses an id that is not lower case, digits and hyphens, or that no file could be called.
pub(super) fn check_id(
    context: &Context<'_>,
    key: &str,
    id: &str,
    span: &Range<usize>,
) -> Result<(), PlanError> {
    let is_plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    let ends_well = !id.starts_with('-') && !id.ends_with('-') && !id.is_empty();
    let expected = if !ends_well || !id.bytes().all(is_plain) {
        "a name of lower-case letters a to z, digits and inner hyphens, such as `hood-fender-left`".to_owned()
    } else if id.len() > LONGEST_ID {
        format!("a name of at most {LONGEST_ID} characters")
    } else if is_reserved(id) {
        "a name that any system takes as a file name".to_owned()
    } else {
        return Ok(());
    };
    let problem =
        PlanProblem::BadValue { key: key.to_owned(), expected, found: shortened(&format!("\"{id}\"")) };
    Err(context.error(span, problem))
}

fn is_reserved(id: &str) -> bool {
    let port = id.strip_prefix("com").or_else(|| id.strip_prefix("lpt"));
    RESERVED_STEMS.contains(&id)
        || port.is_some_and(|rest| rest.len() == 1 && rest.as_bytes()[0].is_ascii_digit())
}

/// "did you mean …" where something near is known, else all that is known.
pub(super) fn suggestion(found: &str, known: &[&str]) -> String {
    let found: String = found.chars().take(LONGEST_ID).collect::<String>().to_lowercase();
    let nearest = known
        .iter()
        .map(|candidate| (strsim::damerau_levenshtein(&found, candidate), *candidate))
        .min_by_key(|(distance, candidate)| (*distance, *candidate));
    match nearest {
        Some((distance, candidate)) if distance <= 1 + candidate.len() / 3 => {
            format!("did you mean `{candidate}`?")
        }
        _ => format!("known here: {}", quoted_list(known)),
    }
}

/// `a`, `b`, `c`.
pub(super) fn quoted_list(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|word| format!("`{word}`")).collect();
    quoted.join(", ")
}

/// A hostile text in a message: one line, harmless, short.
pub(super) fn shortened(text: &str) -> String {
    let harmless = text.chars().map(|character| if character.is_control() { '·' } else { character });
    let mut short: String = harmless.clone().take(LONGEST_ID).collect();
    if harmless.count() > LONGEST_ID {
        short.push('…');
    }
    short
}
