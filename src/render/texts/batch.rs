//! Words of a batch's overview and of its trends.

use crate::render::texts::Language;

/// The words. Fields are named by what they say in English.
#[derive(Debug)]
pub struct BatchTexts {
    pub title: &'static str,
    pub heading: &'static str,
    pub cells: &'static str,
    pub drift_note: &'static str,
    pub seam: &'static str,
    pub drift: &'static str,
    pub not_measured: &'static str,
    pub failures: &'static str,
    pub unseen: &'static str,
    pub over_time: &'static str,
    pub trend_note: &'static str,
    pub trend_label: &'static str,
    pub needs_four: &'static str,
    pub drifts: &'static str,
    pub no_drift: &'static str,
    pub a_day: &'static str,
    pub lineups_note: &'static str,
    pub lineup: &'static str,
    pub bar: &'static str,
}

impl Language {
    /// The words of a batch.
    #[must_use]
    pub const fn batch_texts(self) -> &'static BatchTexts {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}

static ENGLISH: BatchTexts = BatchTexts {
    title: "Batch",
    heading: "Seams and scans",
    cells: "Each cell: stations out of tolerance of all stations, and the mean in {unit}. Grey: all good. Hatched: \
            undecided or unseen stations and none out. Purple with ▼: most of those out are below tolerance; orange \
            with ▲: above; deep where a quarter or more are out. Taper: the largest change of the gap over the plan's length.",
    drift_note: "Drift: change of the mean per day with its expanded uncertainty (95 %); in bold where it is more than that.",
    seam: "Seam",
    drift: "Drift, {unit} a day",
    not_measured: "not measured",
    failures: "Not measured",
    unseen: "unseen",
    over_time: "Over time",
    trend_note: "Dot: mean of the seam, hollow where stations are out; bar: least to greatest reading. Time is the date \
                 in the file's name, or that of the file.",
    trend_label: "{title} over {n} scans",
    needs_four: "four scans at different times tell a drift",
    drifts: "drifts",
    no_drift: "no drift proved:",
    a_day: "a day",
    lineups_note: "Each cell: the value in {unit}; the verdict where the plan gives a tolerance.",
    lineup: "Lineup",
    bar: "bar",
};

static GERMAN: BatchTexts = BatchTexts {
    title: "Serie",
    heading: "Fugen und Scans",
    cells: "Jedes Feld: Stellen außerhalb der Toleranz von allen Stellen, und das Mittel in {unit}. Grau: alles gut. \
            Schraffiert: unentschiedene oder ungesehene Stellen und keine außerhalb. Lila mit ▼: die meisten davon liegen \
            unter der Toleranz; orange mit ▲: darüber; kräftig, wo ein Viertel oder mehr außerhalb ist. \
            Spaltverlauf: die größte Änderung des Spalts auf der Länge des Plans.",
    drift_note: "Drift: Änderung des Mittels am Tag mit ihrer erweiterten Unsicherheit (95 %); fett, wo sie größer ist als diese.",
    seam: "Fuge",
    drift: "Drift, {unit} am Tag",
    not_measured: "nicht gemessen",
    failures: "Nicht gemessen",
    unseen: "ungesehen",
    over_time: "Im Lauf der Zeit",
    trend_note: "Punkt: Mittel der Fuge, hohl, wo Stellen außerhalb sind; Balken: kleinster bis größter Messwert. Als Zeit \
                 gilt das Datum im Namen der Datei, sonst das der Datei.",
    trend_label: "{title} über {n} Scans",
    needs_four: "vier Scans zu verschiedenen Zeiten zeigen eine Drift",
    drifts: "driftet",
    no_drift: "keine Drift bewiesen:",
    a_day: "am Tag",
    lineups_note: "Jedes Feld: der Wert in {unit}; das Urteil, wo der Plan eine Toleranz nennt.",
    lineup: "Linie",
    bar: "Stab",
};
