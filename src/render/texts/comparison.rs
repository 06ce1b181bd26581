//! Words of a comparison: pages, strips, moves of panels, differences of sides.

use crate::render::texts::Language;
use crate::summarise::{ChangeVerdict, ComparisonKind};

/// The words. Fields are named by what they say in English.
#[derive(Debug)]
pub struct ComparisonTexts {
    /// The two sides: of two scans, then of one.
    pub sides: [[&'static str; 2]; 2],
    pub change: [&'static str; 2],
    pub verdicts: [&'static str; 4],
    pub strip_label: &'static str,
    pub lane_head: &'static str,
    pub mean: &'static str,
    pub counts: &'static str,
    /// Behind the word that a change is real.
    pub real_at: &'static str,
    /// What marks say: better, worse.
    pub trends: [&'static str; 2],
    pub title: &'static str,
    pub scans: &'static str,
    pub scan: &'static str,
    pub what_moved: &'static str,
    pub nothing_moved: &'static str,
    pub moves_caution: &'static str,
    pub sides_differ: &'static str,
    pub sides_even: &'static str,
    pub sides_caution: &'static str,
    pub table: &'static str,
    pub columns: [&'static str; 5],
    pub missing: &'static str,
    pub common: &'static str,
    /// Said where the model is among what is common.
    pub flush_own: &'static str,
    /// Said where smoothing is among what is common to two scans.
    pub smoothing_own: &'static str,
    pub nothing_common: &'static str,
    pub rule: &'static str,
    pub lineups_note: &'static str,
    // Moves.
    pub moved: &'static str,
    pub went: &'static str,
    pub stayed: &'static str,
    pub and: &'static str,
    pub car_moves: [[&'static str; 2]; 3],
    pub car_ends: [[&'static str; 2]; 3],
    pub axis_move: &'static str,
    pub middle: &'static str,
    pub end: &'static str,
    pub corner: &'static str,
    pub not_told: &'static str,
    pub nor: &'static str,
    pub which_way: &'static str,
    pub which_turn: &'static str,
    pub rivals: &'static str,
    pub or: &'static str,
    // Sides.
    pub on_average: &'static str,
    pub most: &'static str,
    /// Gap wider and tighter, flush higher and lower.
    pub differs: [[&'static str; 2]; 2],
}

impl Language {
    /// The words of a comparison.
    #[must_use]
    pub const fn comparison_texts(self) -> &'static ComparisonTexts {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}

impl ComparisonTexts {
    /// The words for the two sides.
    #[must_use]
    pub const fn sides_of(&self, kind: ComparisonKind) -> [&'static str; 2] {
        self.sides[kind as usize]
    }

    /// The word for second − first.
    #[must_use]
    pub const fn change_of(&self, kind: ComparisonKind) -> &'static str {
        self.change[kind as usize]
    }

    /// The word for whether a change is real.
    #[must_use]
    pub const fn verdict(&self, verdict: ChangeVerdict) -> &'static str {
        match verdict {
            ChangeVerdict::Real => self.verdicts[0],
            ChangeVerdict::NoChange => self.verdicts[1],
            ChangeVerdict::Undecided => self.verdicts[2],
            ChangeVerdict::Unseen => self.verdicts[3],
        }
    }
}

static ENGLISH: ComparisonTexts = ComparisonTexts {
    sides: [["before", "after"], ["left", "right"]],
    change: ["change", "difference"],
    verdicts: ["real", "none", "undecided", "unseen"],
    strip_label: "{seam}: {change} of gap {gap}, {change} of flush {flush}",
    lane_head: "{change} of {quantity} · {verdict}",
    mean: "mean",
    counts: "{better} better, {worse} worse",
    real_at: "at {n} of {of} stations",
    trends: ["better", "worse"],
    title: "{first} and {second}",
    scans: "Before: {first} · after: {second}",
    scan: "Scan: {first} · difference: right − left, at the mirrored places",
    what_moved: "What moved",
    nothing_moved: "No panel moved, as far as the scans can tell.",
    moves_caution: "These are moves that were seen, not instructions. Support a panel before any fastening is opened, keep \
                    hands out of the gap, and check latches, hinges and safety catches after every adjustment.",
    sides_differ: "How the sides differ",
    sides_even: "No seam differs from its partner, as far as the scan can tell.",
    sides_caution: "A car that is even is not yet a car in tolerance: see the tolerance of each side below. Support a panel \
                    before any fastening is opened, and keep hands out of the gap.",
    table: "Seam by seam",
    columns: ["Seam", "Mean ± U, {unit}", "Better", "Worse", "Left over, rms"],
    missing: "Not in both: {seam}",
    common: "Taken as common to both, and so left out of the change's uncertainty as far as it is of one size: {sources}.",
    flush_own: "Of a flush the model's part is each scan's own, and stays in.",
    smoothing_own: "Smoothing that a scan's own hems told is that scan's own, and stays in.",
    nothing_common: "nothing",
    rule: "A {change} is real where blocks of neighbouring stations prove it, with at most 5 % false ones among all \
           that are called real; none where it ± U is too small to matter for the tolerance. U is for k = 2.",
    lineups_note: "{change}, with nothing taken as common to both; real where it is more than its ± (k = 2).",
    moved: "{panel} moved.",
    went: "went {parts} {place}",
    stayed: "stayed where it was, as far as can be told, {place}",
    and: "and",
    car_moves: [["forward", "back"], ["to the left", "to the right"], ["up", "down"]],
    car_ends: [["front", "rear"], ["left", "right"], ["upper", "lower"]],
    axis_move: "towards {axis}",
    middle: "in the middle",
    end: "at the {end} end",
    corner: "at the {ends} corner",
    not_told: "Its seams do not tell {what}.",
    nor: ", nor ",
    which_way: "whether it went {one} or {other}",
    which_turn: "whether it turned about the {one}–{other} line",
    rivals: "An opposite move of {panels} would explain it about as well.",
    or: "or",
    on_average: "the right is {size} on average",
    most: ", most at {place} along the left one, where it is {size} than the left",
    differs: [["wider", "tighter"], ["higher", "lower"]],
};

static GERMAN: ComparisonTexts = ComparisonTexts {
    sides: [["vorher", "nachher"], ["links", "rechts"]],
    change: ["Änderung", "Unterschied"],
    verdicts: ["echt", "belanglos", "unentschieden", "ungesehen"],
    strip_label: "{seam}: {change} des Spalts: {gap}, {change} der Bündigkeit: {flush}",
    lane_head: "{change}, {quantity} · {verdict}",
    mean: "Mittel",
    counts: "{better} besser, {worse} schlechter",
    real_at: "bei {n} von {of} Stellen",
    trends: ["besser", "schlechter"],
    title: "{first} und {second}",
    scans: "Vorher: {first} · nachher: {second}",
    scan: "Scan: {first} · Unterschied: rechts − links, an den gespiegelten Stellen",
    what_moved: "Was sich bewegt hat",
    nothing_moved: "Kein Blech hat sich bewegt, soweit die Scans es zeigen.",
    moves_caution: "Das sind Bewegungen, die gesehen wurden, keine Anweisungen. Ein Blech abstützen, bevor eine Befestigung \
                    gelöst wird, Hände aus der Fuge halten und Schlösser, Scharniere und Fanghaken nach jeder Einstellung prüfen.",
    sides_differ: "Wie sich die Seiten unterscheiden",
    sides_even: "Keine Fuge unterscheidet sich von ihrem Gegenstück, soweit der Scan es zeigt.",
    sides_caution: "Ein gleichmäßiges Auto ist noch keines in Toleranz: siehe die Toleranz jeder Seite unten. Ein Blech \
                    abstützen, bevor eine Befestigung gelöst wird, und Hände aus der Fuge halten.",
    table: "Fuge für Fuge",
    columns: ["Fuge", "Mittel ± U, {unit}", "Besser", "Schlechter", "Rest, quadr. Mittel"],
    missing: "Nicht in beiden: {seam}",
    common: "Als beiden gemeinsam angesehen und darum, soweit überall gleich groß, nicht in der Unsicherheit der Änderung: {sources}.",
    flush_own: "Bei der Bündigkeit gehört der Anteil des Modells zu jedem Scan selbst und bleibt darin.",
    smoothing_own: "Eine Glättung, die ein Scan an den eigenen Kanten zeigte, gehört zu diesem Scan und bleibt darin.",
    nothing_common: "nichts",
    rule: "Echt ({change}) heißt: Blöcke benachbarter Stellen beweisen es, mit höchstens 5 % falschen unter allen, die echt \
           genannt werden; belanglos heißt: mit ± U zu klein, um für die Toleranz etwas zu bedeuten. U gilt für k = 2.",
    lineups_note: "{change}, ohne dass etwas als gemeinsam gilt; echt, wo sie größer ist als ihr ± (k = 2).",
    moved: "{panel} hat sich bewegt.",
    went: "ging {place} {parts}",
    stayed: "blieb {place}, soweit zu sehen, wo es war",
    and: "und",
    car_moves: [["nach vorn", "nach hinten"], ["nach links", "nach rechts"], ["nach oben", "nach unten"]],
    car_ends: [["vorn", "hinten"], ["links", "rechts"], ["oben", "unten"]],
    axis_move: "in Richtung {axis}",
    middle: "in der Mitte",
    end: "am Ende {end}",
    corner: "an der Ecke {ends}",
    not_told: "Seine Fugen zeigen nicht, {what}.",
    nor: ", und nicht, ",
    which_way: "ob es {one} oder {other} ging",
    which_turn: "ob es sich um die Linie {one}–{other} gedreht hat",
    rivals: "Eine entgegengesetzte Bewegung von {panels} würde es etwa so gut erklären.",
    or: "oder",
    on_average: "rechts im Mittel {size} als links",
    most: ", am meisten bei {place} entlang der linken, dort {size} als links",
    differs: [["weiter", "enger"], ["höher", "tiefer"]],
};
