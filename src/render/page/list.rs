//! The top of the page: counts, the list of seams, and the worst places in plain words.

use maud::{Markup, PreEscaped, html};

use super::ReportSettings;
use crate::judge::{JudgedSeam, Measurand, Verdict};
use crate::plan::{Plan, Seam, SeamId, Tolerance};
use crate::render::car_axes::seam_ends;
use crate::render::format::{along, length, length_with_unit, unit_name};
use crate::render::ink::{Ink, mark, severity};
use crate::render::ribbons::ribbons;
use crate::render::run_facts::Results;
use crate::render::seam_notes::{taper_change, taper_limit, taper_verdict_words};
use crate::render::strip_lane::{length_or_signed, value_words};
use crate::render::svg::svg;
use crate::render::texts::Texts;
use crate::summarise::{OutRun, Place, SeamSummary};

/// Most places told in words.
const PLACE_COUNT: usize = 5;

/// A stretch that is out, with all that a sentence about it needs.
pub(in crate::render) struct WorstPlace<'a> {
    pub judged: &'a JudgedSeam,
    pub seam: &'a Seam,
    pub measurand: Measurand,
    pub run: &'a OutRun,
    /// The furthest beyond its limit in the stretch.
    pub place: &'a Place,
}

impl WorstPlace<'_> {
    pub fn tolerance(&self) -> Tolerance {
        match self.measurand {
            Measurand::Gap => self.seam.gap_tolerance_at(self.place.along_mm),
            Measurand::Flush => self.seam.flush_tolerance_at(self.place.along_mm),
        }
    }
}

/// The stretches proved out over the whole scan, each by its worst place, furthest beyond its limit first.
pub(in crate::render) fn worst_places<'a>(results: &Results<'a>) -> Vec<WorstPlace<'a>> {
    let mut places: Vec<WorstPlace<'a>> = Vec::new();
    for summary in &results.summary.seams {
        let Some(seam) = results.plan.seam(&summary.seam) else { continue };
        let Some(judged) = results.judged.iter().find(|judged| judged.seam == summary.seam) else { continue };
        for measurand in Measurand::BOTH {
            let runs = &summary.measurand(measurand).runs;
            places.extend(runs.iter().map(|run| WorstPlace {
                judged,
                seam,
                measurand,
                run,
                place: &run.worst,
            }));
        }
    }
    places.sort_by(|one, other| other.place.beyond_mm.total_cmp(&one.place.beyond_mm));
    places
}

/// A headline figure.
pub(in crate::render) struct Figure {
    pub count: usize,
    pub name: &'static str,
    /// How many of them are tapers; empty where none is.
    pub tapers: String,
}

/// Readings and tapers together: how many are good, out, undecided and unseen.
pub(in crate::render) fn figures(results: &Results<'_>, texts: &'static Texts) -> [Figure; 4] {
    let (readings, tapers) = (results.summary.counts(), results.summary.taper_counts());
    let figure = |reading_count: usize, taper_count: usize, name| Figure {
        count: reading_count + taper_count,
        name,
        tapers: match taper_count {
            0 => String::new(),
            1 => texts.one_is_taper.to_owned(),
            some => texts.some_are_tapers.replace("{n}", &some.to_string()),
        },
    };
    [
        figure(readings.good, tapers.good, texts.verdict(Verdict::Good)),
        figure(readings.out(), tapers.out(), texts.out),
        figure(readings.undecided, tapers.undecided, texts.verdict(Verdict::Undecided)),
        figure(readings.unseen, tapers.unseen, texts.verdict(Verdict::Unseen)),
    ]
}

pub(super) fn counts(results: &Results<'_>, texts: &'static Texts) -> Markup {
    let classes = ["good", "out", "undecided", "unseen"];
    html! {
        ul class="counts" {
            @for (class, figure) in classes.iter().zip(figures(results, texts)) {
                li class=(class) {
                    b { (figure.count) } (figure.name)
                    @if !figure.tapers.is_empty() { small { (figure.tapers) } }
                }
            }
        }
    }
}

/// Seams with their verdicts along gap and flush, all to one scale, so that the eye runs over the whole car.
pub(super) fn seam_list(results: &Results<'_>, texts: &Texts) -> Markup {
    let longest_mm = results.plan.seams.iter().map(|seam| seam.curve.length_mm()).fold(1.0, f64::max);
    html! {
        ol class="list" {
            @for (index, summary) in results.summary.seams.iter().enumerate() {
                @let counts = summary.gap.counts.plus(&summary.flush.counts);
                @let taper_out = summary.taper_verdict.filter(|verdict| verdict.is_out());
                @let judged = results.judged.iter().find(|judged| judged.seam == summary.seam);
                @if let (Some(seam), Some(judged)) = (results.plan.seam(&summary.seam), judged) {
                    li {
                        span class="n" { (index + 1) }
                        a href={ "#seam-" (summary.seam) } { (seam.title) }
                        span class="ribbons" { (PreEscaped(svg(&ribbons(judged, seam, longest_mm, texts)))) }
                        span class="result" {
                            @if counts.out() > 0 { b { (counts.out()) " " (texts.out) } }
                            @if let Some(verdict) = taper_out { b { (taper_verdict_words(verdict, texts)) } }
                            @else if counts.out() == 0 { (quiet_verdict(summary, texts)) }
                        }
                    }
                }
            }
        }
    }
}

/// The verdict of a seam that nothing is out of; of one that is not seen, why.
fn quiet_verdict(summary: &SeamSummary, texts: &Texts) -> String {
    let word = texts.verdict(summary.verdict());
    let reason = summary.gap.usual_reason().or_else(|| summary.flush.usual_reason());
    match reason.filter(|_| summary.verdict() == Verdict::Unseen) {
        Some(reason) => format!("{word}: {}", texts.reason_words(reason)),
        None => word.to_owned(),
    }
}

/// What the places in words are; a sentence for each stretch.
pub(super) fn worst(results: &Results<'_>, places: &[WorstPlace<'_>], settings: &ReportSettings) -> Markup {
    let texts = settings.language.texts();
    let tapers = tapers_out(results, texts);
    html! {
        h2 { (texts.worst_places) }
        @if places.is_empty() && tapers.is_empty() {
            p { @if results.summary.is_all_good() { (texts.all_good) } @else { (texts.nothing_out) } }
        }
        ol class="worst" {
            @for place in places.iter().take(PLACE_COUNT) { (item(results, place, settings)) }
            @for taper in &tapers { (taper_item(taper, texts)) }
        }
    }
}

fn taper_item(taper: &TaperOut, texts: &Texts) -> Markup {
    let words = &taper.words;
    html! {
        li {
            span class="mark" style={ "border-color:var(--" (taper.ink.css_name()) ")" } { i { (taper.mark) } }
            span {
                b { (words.title) } ", " (words.where_it_lies) ": "
                b { (words.finding) } ". " (words.limits)
                " " a class="go" href={ "#seam-" (taper.seam) } { (texts.to_strip) }
            }
        }
    }
}

fn item(results: &Results<'_>, worst: &WorstPlace<'_>, settings: &ReportSettings) -> Markup {
    let place = worst.place;
    let ink = Ink::of_verdict(place.verdict, severity(place.value_mm, &worst.tolerance()));
    let key = station_key(results, worst.judged, place.station_index);
    let words = sentence(results, worst, settings);
    html! {
        li {
            span class="mark" style={ "border-color:var(--" (ink.css_name()) ")" } { i { (mark(place.verdict)) } }
            span {
                b { (words.title) } ", " (words.where_it_lies) ": "
                b { (words.finding) } ". " (words.limits)
                @if let Some(key) = key { " " a class="go only-script" href={ "#seam-" (worst.seam.id) } data-k=(key) { (settings.language.texts().section) } }
            }
        }
    }
}

/// `seam number:station number in the page's data`.
pub(super) fn station_key(
    results: &Results<'_>,
    judged: &JudgedSeam,
    station_index: usize,
) -> Option<String> {
    let (seam, station) = station_place(results, judged, station_index)?;
    Some(format!("{seam}:{station}"))
}

/// Places of a seam and of its station in the page's data.
pub(super) fn station_place(
    results: &Results<'_>,
    judged: &JudgedSeam,
    station_index: usize,
) -> Option<(usize, usize)> {
    let seam = results.judged.iter().position(|one| one.seam == judged.seam)?;
    let station = judged.stations.iter().position(|one| one.reading.station.index == station_index)?;
    Some((seam, station))
}

/// A worst place in words, in pieces so that page and paper can set them.
pub(in crate::render) struct WorstWords {
    pub title: String,
    pub where_it_lies: String,
    pub finding: String,
    pub limits: String,
}

/// A taper that is out, in words and with its sign.
pub(in crate::render) struct TaperOut {
    pub seam: SeamId,
    pub words: WorstWords,
    pub ink: Ink,
    /// Opens where the gap does.
    pub mark: &'static str,
}

/// The tapers proved out, in plan order.
pub(in crate::render) fn tapers_out(results: &Results<'_>, texts: &Texts) -> Vec<TaperOut> {
    let (plan, unit) = (results.plan, results.plan.units);
    let out = |summary: &SeamSummary| {
        let taper = summary.taper.as_ref().filter(|taper| taper.verdict.is_out())?;
        let seam = plan.seam(&summary.seam)?;
        let [from, to] = [taper.from_mm, taper.to_mm].map(|mm| along(mm, unit));
        let ends = texts.from_to.replace("{a}", &from).replace("{b}", &to);
        let size_mm = taper.change.value_mm.abs();
        let tolerance = Tolerance { nominal_mm: 0.0, minus_mm: taper.limit_mm, plus_mm: taper.limit_mm };
        let beyond = length_with_unit(size_mm - taper.limit_mm, unit);
        Some(TaperOut {
            seam: seam.id.clone(),
            words: WorstWords {
                title: seam.title.clone(),
                where_it_lies: format!("{ends} ({})", counted_from(seam, plan, texts)),
                finding: taper_change(taper, plan, texts),
                limits: format!(
                    "{} {}; {beyond} {}.",
                    texts.allowed,
                    taper_limit(taper, plan),
                    texts.beyond_limit
                ),
            },
            ink: Ink::of_verdict(taper.verdict, severity(size_mm, &tolerance)),
            mark: if taper.change.value_mm < 0.0 { ">" } else { "<" },
        })
    };
    results.summary.seams.iter().filter_map(out).collect()
}

/// "counted from the front".
fn counted_from(seam: &Seam, plan: &Plan, texts: &Texts) -> String {
    let [start, _] = seam_ends(&seam.curve, plan.axes(), texts);
    texts.counted_from.replace("{end}", if start.is_empty() { texts.start } else { start.as_str() })
}

pub(in crate::render) fn sentence(
    results: &Results<'_>,
    worst: &WorstPlace<'_>,
    settings: &ReportSettings,
) -> WorstWords {
    let (texts, unit) = (settings.language.texts(), results.plan.units);
    let (place, run, tolerance) = (worst.place, worst.run, worst.tolerance());
    let at = along(place.along_mm, unit);
    let stretch = if run.station_count > 1 {
        let [from, to] = [run.from_mm, run.to_mm].map(|mm| along(mm, unit));
        let ends = texts.from_to.replace("{a}", &from).replace("{b}", &to);
        format!("{ends}, {} {}", texts.worst_here, texts.at_place.replace("{a}", &at))
    } else {
        texts.at_place.replace("{a}", &at)
    };
    let signed = |value_mm: f64| length_or_signed(value_mm, worst.measurand, unit);
    WorstWords {
        title: worst.seam.title.clone(),
        where_it_lies: format!("{stretch} ({})", counted_from(worst.seam, results.plan, texts)),
        finding: format!(
            "{} {}, {} ±{} {}",
            texts.measurand(worst.measurand),
            texts.verdict(place.verdict),
            value_words(place.value_mm, worst.measurand, unit),
            length(place.expanded_mm, unit),
            unit_name(unit)
        ),
        limits: format!(
            "{} {} … {}; {} {}.",
            texts.allowed,
            signed(tolerance.lower_mm()),
            signed(tolerance.upper_mm()),
            length_with_unit(place.beyond_mm, unit),
            texts.beyond_limit
        ),
    }
}
