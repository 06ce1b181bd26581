//! Reads the tapers of an earlier run back from its `record.json`.
//!
//! In: the text. Out: [`TaperRow`]s in the record's order. Units: mm. Does not read stations.

use serde::Deserialize;

use super::read_back::ReadBackError;
use super::record_json::{TAPER_OUT, TaperRecord};
use crate::judge::Verdict;
use crate::summarise::TaperRow;

/// As much of a record as tells of tapers.
#[derive(Deserialize)]
struct Tapers {
    seams: Vec<SeamTaper>,
}

#[derive(Deserialize)]
struct SeamTaper {
    seam: String,
    taper: Option<TaperRecord>,
    #[serde(default)]
    taper_verdict: Option<String>,
}

/// The tapers that a record holds.
///
/// # Errors
/// Not a record.
pub fn read_tapers(text: &str) -> Result<Vec<TaperRow>, ReadBackError> {
    let record: Tapers =
        serde_json::from_str(text).map_err(|error| ReadBackError::NotARecord(error.to_string()))?;
    let row = |seam: SeamTaper| {
        let word = seam.taper_verdict?;
        Some(TaperRow {
            verdict: verdict_of(&word)?,
            change_mm: seam.taper.as_ref().map(|taper| taper.change.value_mm),
            seam: seam.seam,
        })
    };
    Ok(record.seams.into_iter().filter_map(row).collect())
}

fn verdict_of(word: &str) -> Option<Verdict> {
    let known =
        [Verdict::Good, Verdict::Undecided, Verdict::Unseen].into_iter().find(|one| one.word() == word);
    known.or((word == TAPER_OUT).then_some(Verdict::Wide))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tapers_come_back_with_their_verdicts() {
        let change = r#"{"value_mm":0.8,"u_mm":0.1,"degrees_of_freedom":null,"components":[]}"#;
        let taper =
            format!(r#"{{"from_mm":0,"to_mm":300,"change":{change},"limit_mm":0.5,"verdict":"out"}}"#);
        let text = format!(
            r#"{{"seams":[{{"seam":"a","taper":{taper},"taper_verdict":"out"}},{{"seam":"b","taper":null}},
               {{"seam":"c","taper":null,"taper_verdict":"unseen"}}]}}"#
        );
        let row = |seam: &str, verdict, change_mm| TaperRow { seam: seam.to_owned(), verdict, change_mm };
        let wanted = [row("a", Verdict::Wide, Some(0.8)), row("c", Verdict::Unseen, None)];
        assert_eq!(read_tapers(&text).unwrap(), wanted);
        assert!(read_tapers("seam,station").is_err());
    }
}
