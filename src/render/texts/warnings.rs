//! Warnings about a run, and what its files are, in words.
//!
//! English warnings about an alignment are the alignment's own.

use crate::align::AlignWarning;
use crate::measure::{SHORT_BAND_MM, Warning};
use crate::render::format::along;
use crate::render::run_facts::RunWarning;
use crate::render::texts::Language;
use crate::units::LengthUnit;

/// The words. Fields are named by what they say in English.
#[derive(Debug)]
pub struct WarningTexts {
    pub points_left_out: &'static str,
    pub doubtful_side: &'static str,
    pub nothing_measured: &'static str,
    pub little_measured: &'static str,
    pub scan: &'static str,
    pub plan: &'static str,
    pub curve: &'static str,
    pub reference: &'static str,
    /// In the order of [`Warning::ALL`].
    pub readings: [&'static str; 9],
    pub at_stations: &'static str,
}

impl Language {
    /// The words of warnings.
    #[must_use]
    pub const fn warning_texts(self) -> &'static WarningTexts {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}

impl WarningTexts {
    /// What a file is, in words; as it is where there is no word for it.
    #[must_use]
    pub fn role<'a>(&'a self, role: &'a str) -> &'a str {
        match role {
            "scan" => self.scan,
            "plan" => self.plan,
            "curve" => self.curve,
            "reference" => self.reference,
            other => other,
        }
    }
}

/// A warning about a reading in words.
pub(in crate::render) fn reading_warning(warning: Warning, unit: LengthUnit, language: Language) -> String {
    let words = language.warning_texts().readings[warning as usize];
    words.replace("{a}", &along(SHORT_BAND_MM, unit))
}

impl RunWarning {
    /// The warning as a sentence.
    #[must_use]
    pub fn words(&self, language: Language) -> String {
        let texts = language.warning_texts();
        match self {
            Self::Alignment(warning) => alignment_warning(warning, language),
            Self::PointsLeftOut { left_out, of } => {
                texts.points_left_out.replace("{n}", &left_out.to_string()).replace("{of}", &of.to_string())
            }
            Self::DoubtfulSide(doubt) => {
                texts.doubtful_side.replace("{seam}", &doubt.seam.0).replace("{panel}", &doubt.panel.0)
            }
            Self::NothingMeasured => texts.nothing_measured.to_owned(),
            Self::LittleMeasured { measured, of } => {
                texts.little_measured.replace("{n}", &measured.to_string()).replace("{of}", &of.to_string())
            }
        }
    }
}

/// A warning about an alignment as a sentence.
pub(in crate::render) fn alignment_warning(warning: &AlignWarning, language: Language) -> String {
    match language {
        Language::English => warning.to_string(),
        Language::German => german(warning),
    }
}

fn german(warning: &AlignWarning) -> String {
    match warning {
        AlignWarning::OutlierPair { id, residual_mm, limit_mm } => format!(
            "Paar `{id}` liegt {residual_mm:.3} mm neben den anderen (Grenze {limit_mm:.3} mm) und blieb außer Betracht; \
             nachsehen, ob es bewegt oder verwechselt wurde"
        ),
        AlignWarning::FixedPanelMoved { panel, median_mm } => format!(
            "Blech `{panel}` gilt als fest, steht aber {median_mm:+.2} mm neben der Vorlage, während die anderen passen; \
             nachsehen, ob es bewegt wurde, und dann `fixed` wegnehmen"
        ),
        AlignWarning::LittleOverlap { fraction } => format!(
            "nur {:.0} % der gescannten Punkte liegen auf den festen Blechen; mehr davon scannen macht die Ausrichtung sicherer",
            fraction * 100.0
        ),
        AlignWarning::StartPoseUseless => {
            "die Anfangslage führte zu nichts, und der Scan wurde von Grund auf gesucht; `start` berichtigen oder \
             way = \"coarse\" nehmen"
                .to_owned()
        }
        AlignWarning::WeakDirection { direction, condition } => {
            let direction = direction
                .replace("a turn about", "eine Drehung um")
                .replace("a shift along", "eine Verschiebung längs");
            format!(
                "die festen Bleche halten {direction} kaum (Kondition {condition:.0}); ein Blech dazunehmen, das es tut"
            )
        }
    }
}

static ENGLISH: WarningTexts = WarningTexts {
    points_left_out: "{n} of {of} points are infinite or not a number and were left out",
    doubtful_side: "{seam}: by its other seams, {panel} lies on the other side than datum_side says; if so, flush and advice have the \
                    wrong sign",
    nothing_measured: "no station of any seam could be measured: check that this is a scan of this car and lies where the \
                       plan's curves are",
    little_measured: "only {n} of {of} readings could be taken: check that this is a scan of this car and lies where the plan's \
                      curves are",
    scan: "scan",
    plan: "plan",
    curve: "curve",
    reference: "reference",
    readings: [
        "an edge is seen only part of the way round, and is continued",
        "an edge's radius is that of its neighbours or the plan's",
        "the surface beside an edge is used for less than {a}",
        "a part of the surface is not seen",
        "the surfaces are not parallel: flush depends on where it is read",
        "the value stands far off its neighbours",
        "which side is outward is taken from the scan",
        "a flange reaches past its edge, or may do so",
        "an edge is not seen: flush is read where the points end",
    ],
    at_stations: "{n} of {of} stations: {words}",
};

static GERMAN: WarningTexts = WarningTexts {
    points_left_out: "{n} von {of} Punkten sind unendlich oder keine Zahl und blieben weg",
    doubtful_side: "{seam}: nach seinen anderen Fugen liegt {panel} auf der anderen Seite, als datum_side sagt; dann haben \
                    Bündigkeit und Rat das falsche Vorzeichen",
    nothing_measured: "keine Stelle irgendeiner Fuge konnte gemessen werden: prüfen, ob dies ein Scan dieses Autos ist und dort \
                       liegt, wo die Kurven des Plans liegen",
    little_measured: "nur {n} von {of} Messungen sind gelungen: prüfen, ob dies ein Scan dieses Autos ist und dort liegt, wo \
                      die Kurven des Plans liegen",
    scan: "Scan",
    plan: "Plan",
    curve: "Kurve",
    reference: "Vorlage",
    readings: [
        "eine Kante ist nur ein Stück herum gesehen und ergänzt",
        "der Radius einer Kante ist der ihrer Nachbarn oder des Plans",
        "die Fläche neben einer Kante ist auf weniger als {a} genutzt",
        "ein Teil der Fläche ist nicht gesehen",
        "die Flächen sind nicht parallel: die Bündigkeit hängt davon ab, wo sie abgelesen wird",
        "der Wert weicht weit von seinen Nachbarn ab",
        "welche Seite außen ist, stammt aus dem Scan",
        "ein Flansch reicht über seine Kante hinaus, oder vielleicht",
        "eine Kante ist nicht gesehen: Bündigkeit dort, wo die Punkte enden",
    ],
    at_stations: "{n} von {of} Stellen: {words}",
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{DoubtfulSide, PanelId, SeamId};

    #[test]
    fn every_warning_has_a_sentence_in_both_languages() {
        let warnings = [
            RunWarning::PointsLeftOut { left_out: 3, of: 100 },
            RunWarning::NothingMeasured,
            RunWarning::DoubtfulSide(DoubtfulSide {
                seam: SeamId("hood-nose".to_owned()),
                panel: PanelId("hood".to_owned()),
            }),
            RunWarning::LittleMeasured { measured: 4, of: 402 },
            RunWarning::Alignment(AlignWarning::StartPoseUseless),
            RunWarning::Alignment(AlignWarning::LittleOverlap { fraction: 0.25 }),
            RunWarning::Alignment(AlignWarning::WeakDirection {
                direction: "a turn about x".to_owned(),
                condition: 50.0,
            }),
        ];
        for warning in warnings {
            let [english, german] = [Language::English, Language::German].map(|one| warning.words(one));
            assert_ne!(english, german);
            assert!(!english.contains('{') && !german.contains('{'), "{english} / {german}");
        }
        for (index, warning) in Warning::ALL.into_iter().enumerate() {
            assert_eq!(warning as usize, index);
            let said = reading_warning(warning, LengthUnit::Millimetre, Language::English);
            assert!(!said.is_empty() && !said.contains('{'), "{}", warning.token());
        }
        assert_eq!(Language::German.warning_texts().role("curve"), "Kurve");
    }
}
