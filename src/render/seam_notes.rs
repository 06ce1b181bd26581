//! What is said of a seam as a whole, below its strip: its taper, and what its readings warn of.
//!
//! In: [`Results`] and one of their seams. Out: sentences, in the plan's unit. Does not judge or sum up.

use super::format::{along, length, unit_name};
use super::run_facts::Results;
use super::texts::{Language, Texts, reading_warning};
use crate::judge::{JudgedSeam, Verdict, expanded_u_mm};
use crate::measure::{Reason, Warning};
use crate::plan::Plan;
use crate::summarise::Taper;

/// A sentence about a seam.
pub(super) struct SeamNote {
    pub words: String,
    /// True where it tells of something proved out of tolerance.
    pub is_out: bool,
}

/// All that is to be said of a seam.
pub(super) fn seam_notes(results: &Results<'_>, judged: &JudgedSeam, language: Language) -> Vec<SeamNote> {
    let taper = taper_note(results, judged, language.texts());
    let unseen = unseen_notes(results, judged, language);
    taper.into_iter().chain(unseen).chain(warning_note(results, judged, language)).collect()
}

/// In one line for gap and flush, or one for each where they differ: each reason why they are not seen, with the number of stations.
fn unseen_notes(results: &Results<'_>, judged: &JudgedSeam, language: Language) -> Vec<SeamNote> {
    let texts = language.texts();
    let Some(summary) = results.summary.seams.iter().find(|summary| summary.seam == judged.seam) else {
        return Vec::new();
    };
    let said = |(reason, count): &(Reason, usize)| {
        let at = language.warning_texts().at_stations.replace("{n}", &count.to_string());
        at.replace("{of}", &judged.stations.len().to_string()).replace("{words}", texts.reason_words(*reason))
    };
    let why = |reasons: &[(Reason, usize)]| reasons.iter().map(said).collect::<Vec<String>>().join("; ");
    let [gap, flush] = [why(&summary.gap.reasons), why(&summary.flush.reasons)];
    let lines = if gap == flush {
        vec![(format!("{}, {}", texts.gap, texts.flush), gap)]
    } else {
        vec![(texts.gap.to_owned(), gap), (texts.flush.to_owned(), flush)]
    };
    let unseen = texts.verdict(Verdict::Unseen);
    lines
        .into_iter()
        .filter(|(_, why)| !why.is_empty())
        .map(|(of, why)| SeamNote { words: format!("{of} {unseen} · {why}"), is_out: false })
        .collect()
}

/// In one line, each warning with the number of stations that carry it.
fn warning_note(results: &Results<'_>, judged: &JudgedSeam, language: Language) -> Option<SeamNote> {
    let warned = |warning: Warning| {
        judged.stations.iter().filter(|station| station.reading.warnings.contains(&warning)).count()
    };
    let said = Warning::ALL.into_iter().filter_map(|warning| {
        let words = reading_warning(warning, results.plan.units, language);
        let count = warned(warning);
        let said = language.warning_texts().at_stations.replace("{n}", &count.to_string());
        let said = said.replace("{of}", &judged.stations.len().to_string()).replace("{words}", &words);
        (count > 0).then_some(said)
    });
    let said: Vec<String> = said.collect();
    (!said.is_empty()).then(|| SeamNote { words: said.join("; "), is_out: false })
}

fn taper_note(results: &Results<'_>, judged: &JudgedSeam, texts: &Texts) -> Option<SeamNote> {
    let summary = results.summary.seams.iter().find(|summary| summary.seam == judged.seam)?;
    let verdict = summary.taper_verdict?;
    let words = match &summary.taper {
        Some(taper) => format!(
            "{}: {}",
            taper_verdict_words(verdict, texts),
            texts
                .taper_between
                .replace("{change}", &taper_change(taper, results.plan, texts))
                .replace("{a}", &along(taper.from_mm, results.plan.units))
                .replace("{b}", &along(taper.to_mm, results.plan.units))
                .replace("{limit}", &taper_limit(taper, results.plan)),
        ),
        None => {
            let spec = results.plan.seam(&judged.seam)?.taper?;
            let unseen = texts.taper_unseen.replace("{a}", &along(spec.length_mm, results.plan.units));
            format!("{}: {unseen}", taper_verdict_words(verdict, texts))
        }
    };
    Some(SeamNote { words, is_out: verdict.is_out() })
}

/// "taper out": `wide` would say that the gap is.
pub(super) fn taper_verdict_words(verdict: Verdict, texts: &Texts) -> String {
    let word = if verdict.is_out() { texts.out } else { texts.verdict(verdict) };
    format!("{} {word}", texts.taper)
}

/// "the gap changes by 1.00 ±0.22 mm".
pub(super) fn taper_change(taper: &Taper, plan: &Plan, texts: &Texts) -> String {
    let value = length(taper.change.value_mm, plan.units);
    let half = length(expanded_u_mm(&taper.change, &plan.decision), plan.units);
    texts.gap_changes.replace("{a}", &format!("{value} ±{half} {}", unit_name(plan.units)))
}

/// "0.50 mm".
pub(super) fn taper_limit(taper: &Taper, plan: &Plan) -> String {
    format!("{} {}", length(taper.limit_mm, plan.units), unit_name(plan.units))
}
