//! Every word that pictures and pages say, in one place, in English and German; what only some pages say stands in files of
//! its own in this folder (an advice's words: `advice_texts`).
//!
//! In: a language. Out: its [`Texts`]. Words in files for programs (CSV, JSON) are not translated.
//! Does not format numbers.

mod batch;
mod comparison;
mod english;
mod found;
mod german;
mod repeat;
mod warnings;

pub use batch::BatchTexts;
pub use comparison::ComparisonTexts;
use english::ENGLISH;
pub use found::FoundTexts;
use german::GERMAN;
pub use repeat::RepeatTexts;
pub use warnings::WarningTexts;
pub(super) use warnings::{alignment_warning, reading_warning};

use crate::judge::{Measurand, Verdict};
use crate::lineup::LineupReason;
use crate::measure::{Reason, UncertaintySource};

/// A language of pictures and pages.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Language {
    #[default]
    English,
    German,
}

impl Language {
    /// The words of this language.
    #[must_use]
    pub const fn texts(self) -> &'static Texts {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }

    /// The code for `lang=""` in a page.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::German => "de",
        }
    }
}

/// The words. Fields are named by what they say in English.
#[derive(Debug)]
pub struct Texts {
    pub gap: &'static str,
    pub flush: &'static str,
    pub verdicts: [&'static str; 7],
    pub reasons: [&'static str; 8],
    pub sources: [&'static str; 8],
    pub front: &'static str,
    pub rear: &'static str,
    pub left: &'static str,
    pub right: &'static str,
    pub top: &'static str,
    pub bottom: &'static str,
    pub start: &'static str,
    pub end: &'static str,
    pub along_the_seam: &'static str,
    pub datum: &'static str,
    pub other: &'static str,
    pub section_at: &'static str,
    pub of: &'static str,
    pub out: &'static str,
    pub at: &'static str,
    pub stations: &'static str,
    pub worst: &'static str,
    pub worst_places: &'static str,
    pub all_good: &'static str,
    pub nothing_measured: &'static str,
    pub tolerance: &'static str,
    pub nominal: &'static str,
    pub from_above: &'static str,
    pub from_front: &'static str,
    pub from_left: &'static str,
    pub from_right: &'static str,
    pub before: &'static str,
    pub after: &'static str,
    pub change: &'static str,
    pub seams: &'static str,
    pub seam: &'static str,
    pub sections: &'static str,
    pub readings: &'static str,
    pub reason: &'static str,
    pub budget: &'static str,
    pub budget_of: &'static str,
    pub combined: &'static str,
    pub degrees_of_freedom: &'static str,
    pub settings: &'static str,
    pub inputs: &'static str,
    pub alignment: &'static str,
    pub caution: &'static str,
    pub legend: &'static str,
    pub show_all: &'static str,
    pub beyond_limit: &'static str,
    pub proud: &'static str,
    pub deep: &'static str,
    pub from_end: &'static str,
    pub allowed: &'static str,
    pub all: &'static str,
    pub verdict_word: &'static str,
    pub seams_title: &'static str,
    pub one_seam: &'static str,
    pub one_station: &'static str,
    pub seen_from: &'static str,
    pub note_interval: &'static str,
    pub note_plain: &'static str,
    pub note_guard: &'static str,
    pub note_shared: &'static str,
    pub from_to: &'static str,
    pub at_place: &'static str,
    pub counted_from: &'static str,
    pub worst_here: &'static str,
    pub station_word: &'static str,
    pub target: &'static str,
    pub residual: &'static str,
    pub panel: &'static str,
    pub rule: &'static str,
    pub accuracy: &'static str,
    pub smoothing: &'static str,
    pub smoothing_none: &'static str,
    /// From the plan, from the scan.
    pub smoothing_known: [&'static str; 2],
    pub alignment_facts: &'static str,
    pub bytes: &'static str,
    pub warnings: &'static str,
    pub view_title: &'static str,
    pub view_help: &'static str,
    pub view_text: &'static str,
    pub next: &'static str,
    pub section: &'static str,
    pub previous: &'static str,
    pub close: &'static str,
    pub to_strip: &'static str,
    pub to_table: &'static str,
    pub to_view: &'static str,
    pub zoom_in: &'static str,
    pub zoom_out: &'static str,
    pub out_only: &'static str,
    pub rows_shown: &'static str,
    pub strip_help: &'static str,
    pub nothing_out: &'static str,
    pub taper: &'static str,
    pub gap_changes: &'static str,
    pub taper_between: &'static str,
    pub taper_unseen: &'static str,
    pub one_is_taper: &'static str,
    pub some_are_tapers: &'static str,
    pub contents: &'static str,
    pub as_scanned: &'static str,
    pub when_finished: &'static str,
    pub drawn_as_scanned: &'static str,
    pub judged_scanned: &'static str,
    pub judged_finished: &'static str,
    pub page_scanned: &'static str,
    pub page_finished: &'static str,
    pub finish: &'static str,
    pub lineups: &'static str,
    pub lineups_note: &'static str,
    pub step: &'static str,
    pub step_finished: &'static str,
    pub shift: &'static str,
    pub pitch: &'static str,
    pub evenness: &'static str,
    pub pitch_difference: &'static str,
    pub lineup_reasons: [&'static str; 7],
    pub finish_note: &'static str,
    pub scanned_state: &'static str,
    pub scanned_states: [&'static str; 5],
    pub outer_film: &'static str,
    pub edge_film: &'static str,
}

impl Texts {
    /// The word for a verdict.
    #[must_use]
    pub const fn verdict(&self, verdict: Verdict) -> &'static str {
        self.verdicts[verdict as usize]
    }

    /// The word for gap or flush.
    #[must_use]
    pub const fn measurand(&self, measurand: Measurand) -> &'static str {
        match measurand {
            Measurand::Gap => self.gap,
            Measurand::Flush => self.flush,
        }
    }

    /// Why something about a lineup is not there, in words.
    #[must_use]
    pub const fn lineup_reason(&self, reason: LineupReason) -> &'static str {
        self.lineup_reasons[reason as usize]
    }

    /// The name of a quantity of `lineups.csv`.
    #[must_use]
    pub fn lineup_quantity(&self, quantity: &str) -> &'static str {
        match quantity {
            "step" => self.step,
            "step-finished" => self.step_finished,
            "shift" => self.shift,
            "pitch" => self.pitch,
            "evenness" => self.evenness,
            _ => self.pitch_difference,
        }
    }

    /// Where a part of an uncertainty comes from, in words.
    #[must_use]
    pub const fn source_words(&self, source: UncertaintySource) -> &'static str {
        self.sources[source as usize]
    }

    /// Why something is unseen, in words.
    #[must_use]
    pub const fn reason_words(&self, reason: Reason) -> &'static str {
        self.reasons[reason as usize]
    }
}

#[cfg(test)]
mod tests {
    use std::fmt::Debug;

    use super::*;

    /// The texts of a struct in the order of its fields, from what `Debug` writes.
    fn said(texts: &dyn Debug) -> Vec<String> {
        let written = format!("{texts:?}").replace("\\\"", "'");
        written.split('"').skip(1).step_by(2).map(str::to_owned).collect()
    }

    /// What stands in braces is filled in by the program.
    fn gaps(text: &str) -> Vec<&str> {
        let mut gaps: Vec<&str> = text.split('{').skip(1).filter_map(|rest| rest.split('}').next()).collect();
        gaps.sort_unstable();
        gaps.dedup();
        gaps
    }

    /// That no field is left out is the compiler's to say; this says that none is left untranslated, and that a sentence
    /// has the same things to fill in.
    #[test]
    fn every_text_is_translated_and_fills_in_the_same_things() {
        let [english, german] = [Language::English, Language::German];
        let pairs: [[&dyn Debug; 2]; 7] = [
            [english.texts(), german.texts()],
            [english.batch_texts(), german.batch_texts()],
            [english.comparison_texts(), german.comparison_texts()],
            [english.repeat_texts(), german.repeat_texts()],
            [english.advice_texts(), german.advice_texts()],
            [english.warning_texts(), german.warning_texts()],
            [english.found_texts(), german.found_texts()],
        ];
        // The same word in both languages.
        let alike = ["", "Batch", "% study", "variance", "Name", "in", "B", "panel", "bytes", "shift", "{}"];
        for [english, german] in pairs {
            let (english, german) = (said(english), said(german));
            assert_eq!(english.len(), german.len());
            assert!(english.len() > 5, "{english:?}");
            for (one, other) in english.iter().zip(&german) {
                assert!(one != other || alike.contains(&one.as_str()), "not translated: {one}");
                assert_eq!(one.is_empty(), other.is_empty(), "{one} / {other}");
                assert_eq!(gaps(one), gaps(other), "{one} / {other}");
            }
        }
    }
}
