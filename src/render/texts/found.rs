//! Words of the overview of what was found in a scan.

use crate::render::texts::Language;

/// The words. Fields are named by what they say in English.
#[derive(Debug)]
pub struct FoundTexts {
    pub title: &'static str,
    pub summary: &'static str,
    /// Added where surfaces that no seam touches would hide the seams.
    pub left_out: &'static str,
    pub hint: &'static str,
    /// Heads of the key: seam, length, gap, how sure, panels.
    pub columns: [&'static str; 5],
    /// How sure it is that a candidate is a seam, surest first.
    pub sureness: [&'static str; 3],
    pub mirrors: &'static str,
    pub seen_from: &'static str,
}

impl Language {
    /// The words of what was found.
    #[must_use]
    pub const fn found_texts(self) -> &'static FoundTexts {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}

const ENGLISH: FoundTexts = FoundTexts {
    title: "Seams found in {scan}",
    summary: "{n} seams, {length} m in all, between {panels} panels; {junctions} junctions. Broken lines: not seen there, bridged.",
    left_out: "Surfaces that no seam touches hid them and are left out.",
    hint: "Name a seam with --name 3=hood-fender-left; later runs keep the names by position.",
    columns: ["seam", "length mm", "gap mm", "sure", "left | right"],
    sureness: ["sure", "likely", "doubtful"],
    mirrors: "mirrors {n}",
    seen_from: "seen from {axes}",
};

const GERMAN: FoundTexts = FoundTexts {
    title: "Fugen, die in {scan} gefunden wurden",
    summary: "{n} Fugen, zusammen {length} m, zwischen {panels} Teilen; {junctions} Stöße. Gestrichelt: dort nicht gesehen, überbrückt.",
    left_out: "Flächen ohne Fuge verdeckten sie und sind weggelassen.",
    hint: "Eine Fuge benennen: --name 3=haube-kotfluegel-links; spätere Läufe behalten die Namen nach der Lage.",
    columns: ["Fuge", "Länge mm", "Spalt mm", "sicher?", "links | rechts"],
    sureness: ["sicher", "wohl", "fraglich"],
    mirrors: "Spiegel von {n}",
    seen_from: "von {axes} gesehen",
};
