//! Every word that pictures and pages say, in one place, in English and German.
//!
//! In: a language. Out: its [`Texts`]. Words in files for programs (CSV, JSON) are not translated.
//! Does not format numbers.

use crate::judge::{Measurand, Verdict};
use crate::measure::Reason;

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
    pub reasons: [&'static str; 7],
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
    pub settings: &'static str,
    pub inputs: &'static str,
    pub alignment: &'static str,
    pub uncertainty_note: &'static str,
    pub caution: &'static str,
    pub legend: &'static str,
    pub show_all: &'static str,
    pub source: &'static str,
    pub beyond_limit: &'static str,
    pub proud: &'static str,
    pub deep: &'static str,
    pub from_end: &'static str,
    pub allowed: &'static str,
    pub all: &'static str,
    pub verdict_word: &'static str,
    pub as_scanned: &'static str,
    pub when_finished: &'static str,
    pub drawn_as_scanned: &'static str,
    pub judged_scanned: &'static str,
    pub judged_finished: &'static str,
    pub page_scanned: &'static str,
    pub page_finished: &'static str,
    pub finish: &'static str,
    pub finish_note: &'static str,
    pub panel: &'static str,
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

    /// Why something is unseen, in words.
    #[must_use]
    pub const fn reason_words(&self, reason: Reason) -> &'static str {
        self.reasons[reason as usize]
    }
}

static ENGLISH: Texts = Texts {
    gap: "gap",
    flush: "flush",
    verdicts: ["good", "tight", "wide", "low", "high", "undecided", "unseen"],
    reasons: [
        "no points here",
        "one panel is missing",
        "the edge is not seen",
        "too few points",
        "a junction of panels",
        "one continuous surface",
        "too little surface beside the edge",
    ],
    front: "front",
    rear: "rear",
    left: "left",
    right: "right",
    top: "top",
    bottom: "bottom",
    start: "start",
    end: "end",
    along_the_seam: "along the seam",
    datum: "datum",
    other: "other",
    section_at: "section at",
    of: "of",
    out: "out",
    at: "at",
    stations: "stations",
    worst: "worst",
    worst_places: "The worst places",
    all_good: "Every station is good.",
    nothing_measured: "Nothing could be measured.",
    tolerance: "tolerance",
    nominal: "nominal",
    from_above: "from above",
    from_front: "from the front",
    from_left: "from the left",
    from_right: "from the right",
    before: "before",
    after: "after",
    change: "change",
    seams: "Seams",
    seam: "seam",
    sections: "Sections at the worst places",
    readings: "All readings",
    reason: "reason",
    budget: "Where the uncertainty comes from",
    settings: "Settings in force",
    inputs: "Files",
    alignment: "Alignment",
    uncertainty_note: "± is the expanded uncertainty U; a verdict is given only where it is proved with U taken into account.",
    caution: "Measurements guide the work; they do not replace judgement. Support and secure panels before loosening \
              anything, keep hands clear of shut lines, and check latches, hinges and safety catches by hand after \
              every change.",
    legend: "good is quiet; T tight, W wide, L low, H high; hatched: undecided; dotted: unseen",
    show_all: "show",
    source: "source",
    beyond_limit: "beyond the limit",
    proud: "proud",
    deep: "low",
    from_end: "from",
    allowed: "Allowed:",
    all: "all",
    verdict_word: "verdict",
    as_scanned: "as scanned",
    when_finished: "when finished",
    drawn_as_scanned: "when finished; drawn as scanned",
    judged_scanned: "judged as scanned; film to come will add",
    judged_finished: "judged as finished, film to come included",
    page_scanned: "Verdicts are on the car as scanned; what the film still to come changes is given beside them.",
    page_finished: "Verdicts are on the car as expected when finished: the film still to come is taken into account, and its \
                    doubt with it.",
    finish: "Finish still to come",
    finish_note: "Film narrows a gap by what both edges get, and changes a flush by the difference of the two outer faces. \
                  Edges are taken to get the same film all along; sharp ones get less, and fat edges, filler and \
                  sanding are not foreseen.",
    panel: "panel",
    scanned_state: "scanned",
    scanned_states: ["bare", "primed", "before clearcoat", "finished", "as the plan says"],
    outer_film: "outer face",
    edge_film: "edge",
};

static GERMAN: Texts = Texts {
    gap: "Spalt",
    flush: "Bündigkeit",
    verdicts: ["gut", "eng", "weit", "tief", "hoch", "unentschieden", "ungesehen"],
    reasons: [
        "hier keine Punkte",
        "ein Blech fehlt",
        "Kante nicht gesehen",
        "zu wenige Punkte",
        "Stoß mehrerer Bleche",
        "durchgehende Fläche",
        "zu wenig Fläche neben der Kante",
    ],
    front: "vorn",
    rear: "hinten",
    left: "links",
    right: "rechts",
    top: "oben",
    bottom: "unten",
    start: "Anfang",
    end: "Ende",
    along_the_seam: "entlang der Fuge",
    datum: "Bezug",
    other: "Gegenseite",
    section_at: "Schnitt bei",
    of: "von",
    out: "außerhalb",
    at: "bei",
    stations: "Stellen",
    worst: "schlechteste",
    worst_places: "Die schlechtesten Stellen",
    all_good: "Jede Stelle ist gut.",
    nothing_measured: "Nichts konnte gemessen werden.",
    tolerance: "Toleranz",
    nominal: "Sollwert",
    from_above: "von oben",
    from_front: "von vorn",
    from_left: "von links",
    from_right: "von rechts",
    before: "vorher",
    after: "nachher",
    change: "Änderung",
    seams: "Fugen",
    seam: "Fuge",
    sections: "Schnitte an den schlechtesten Stellen",
    readings: "Alle Messwerte",
    reason: "Grund",
    budget: "Woher die Unsicherheit kommt",
    settings: "Einstellungen",
    inputs: "Dateien",
    alignment: "Ausrichtung",
    uncertainty_note: "± ist die erweiterte Messunsicherheit U; geurteilt wird nur, wo es mit U bewiesen ist.",
    caution: "Messwerte leiten die Arbeit, sie ersetzen kein Urteil. Bleche vor dem Lösen abstützen und sichern, Hände \
              aus den Fugen halten, Schlösser, Scharniere und Fanghaken nach jeder Änderung von Hand prüfen.",
    legend: "Gutes ist still; T eng, W weit, L tief, H hoch; schraffiert: unentschieden; gepunktet: ungesehen",
    show_all: "zeigen",
    source: "Quelle",
    beyond_limit: "außerhalb der Grenze",
    proud: "vorstehend",
    deep: "tief",
    from_end: "von",
    allowed: "Erlaubt:",
    all: "alle",
    verdict_word: "Urteil",
    as_scanned: "wie gescannt",
    when_finished: "fertig lackiert",
    drawn_as_scanned: "fertig lackiert; gezeichnet wie gescannt",
    judged_scanned: "beurteilt wie gescannt; der Lack bringt noch",
    judged_finished: "beurteilt fertig lackiert, mit noch fehlendem Lack",
    page_scanned: "Geurteilt wird über das Auto wie gescannt; was der noch fehlende Lack ändert, steht daneben.",
    page_finished: "Geurteilt wird über das Auto, wie es fertig lackiert zu erwarten ist: der noch fehlende Lack und seine \
                    Unsicherheit sind eingerechnet.",
    finish: "Noch fehlender Lack",
    finish_note: "Lack macht einen Spalt um die Schicht beider Kanten enger und ändert die Bündigkeit um den Unterschied der \
                  beiden Außenflächen. Die Kanten sind überall gleich beschichtet gedacht; scharfe Kanten bekommen \
                  weniger, und Wulste, Spachtel und Schleifen sind nicht vorgesehen.",
    panel: "Blech",
    scanned_state: "gescannt",
    scanned_states: ["blank", "grundiert", "vor dem Klarlack", "fertig", "laut Plan"],
    outer_film: "Außenfläche",
    edge_film: "Kante",
};
