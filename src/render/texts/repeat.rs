//! Words of a repeat study and its control charts.

use crate::render::texts::Language;

/// The words. Fields are named by what they say in English.
#[derive(Debug)]
pub struct RepeatTexts {
    pub title: &'static str,
    pub heading: &'static str,
    pub layout: &'static str,
    pub shared: &'static str,
    pub shared_use: [&'static str; 2],
    pub methods_note: &'static str,
    pub columns: [&'static str; 7],
    pub methods: [&'static str; 2],
    pub all_seams: &'static str,
    pub charts: &'static str,
    pub charts_note: &'static str,
    pub charts_need: &'static str,
    pub chart_label: &'static str,
    pub chart_words: [&'static str; 5],
    pub tolerance: &'static str,
}

impl Language {
    /// The words of a repeat study.
    #[must_use]
    pub const fn repeat_texts(self) -> &'static RepeatTexts {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}

static ENGLISH: RepeatTexts = RepeatTexts {
    title: "repeat study",
    heading: "how far readings scatter",
    layout: "{cars} cars · {operators} operators · {repetitions} scans of each · standard deviations in {unit}",
    shared: "What all gaps of a scan share:",
    shared_use: [
        "It can stand in the plan as",
        "if this study is like the daily work; it holds no error that every scan makes alike.",
    ],
    methods_note: "variance: analysis of variance, the interaction pooled where it is not significant at 5 %; range: \
                   average and range. The two differ on the same data (Measurement Systems Analysis, 4th ed., 2010, \
                   chapter III-B). % tol: six gauge standard deviations over the width of the tolerance.",
    columns: ["Seam", "Method", "Repeatability", "Reproducibility", "Gauge", "% study", "% tol"],
    methods: ["variance", "range"],
    all_seams: "All seams",
    charts: "From car to car",
    charts_note: "Seam means of each car, cars in order of name. Dashed: control limits at three standard deviations, from \
                  the ranges between neighbours (ISO 7870-2; constants worked out from their definition). Solid, shaded: \
                  the tolerance. Cp and Cpk with the spread between neighbours, Pp and Ppk with that of all cars \
                  (ISO 22514-2); with few cars they are rough.",
    charts_need: "Control charts need three cars or more.",
    chart_label: "{title}, {quantity}: {n} points, {out} beyond the control limits",
    chart_words: ["means", "ranges", "standard deviations", "each car", "ranges between neighbours"],
    tolerance: "tol.",
};

static GERMAN: RepeatTexts = RepeatTexts {
    title: "Wiederholstudie",
    heading: "wie weit Messwerte streuen",
    layout: "{cars} Autos · {operators} Bediener · je {repetitions} Scans · Standardabweichungen in {unit}",
    shared: "Was alle Spalte eines Scans gemeinsam haben:",
    shared_use: [
        "Es kann im Plan stehen als",
        "wenn diese Studie der täglichen Arbeit gleicht; ein Fehler, den jeder Scan gleich macht, ist nicht darin.",
    ],
    methods_note: "Varianz: Varianzanalyse, die Wechselwirkung zusammengelegt, wo sie bei 5 % nicht bedeutsam ist; Spannweite: \
                   Mittelwert und Spannweite. Beide weichen bei denselben Daten voneinander ab (Measurement Systems Analysis, \
                   4. Aufl., 2010, Kapitel III-B). % Tol.: sechs Standardabweichungen der Messung durch die Breite der Toleranz.",
    columns: ["Fuge", "Verfahren", "Wiederholbarkeit", "Vergleichbarkeit", "Messung", "% Studie", "% Tol."],
    methods: ["Varianz", "Spannweite"],
    all_seams: "Alle Fugen",
    charts: "Von Auto zu Auto",
    charts_note: "Mittel der Fuge bei jedem Auto, Autos nach Namen. Gestrichelt: Regelgrenzen bei drei Standardabweichungen, aus \
                  den Spannweiten zwischen Nachbarn (ISO 7870-2; Konstanten aus ihrer Definition berechnet). Durchgezogen, getönt: \
                  die Toleranz. Cp und Cpk mit der Streuung zwischen Nachbarn, Pp und Ppk mit der aller Autos \
                  (ISO 22514-2); bei wenigen Autos sind sie grob.",
    charts_need: "Regelkarten brauchen mindestens drei Autos.",
    chart_label: "{title}, {quantity}: {n} Punkte, {out} außerhalb der Regelgrenzen",
    chart_words: [
        "Mittelwerte",
        "Spannweiten",
        "Standardabweichungen",
        "jedes Auto",
        "Spannweiten zwischen Nachbarn",
    ],
    tolerance: "Tol.",
};
