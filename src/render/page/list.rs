//! The top of the page: counts, the list of seams, and the worst places in plain words.

use maud::{Markup, PreEscaped, html};

use super::ReportSettings;
use crate::judge::{JudgedSeam, Measurand, Verdict};
use crate::plan::{Seam, Tolerance};
use crate::render::car_axes::seam_ends;
use crate::render::format::{along, length, length_with_unit, unit_name};
use crate::render::ink::{Ink, mark, severity};
use crate::render::ribbons::ribbons;
use crate::render::run_facts::Results;
use crate::render::strip_lane::{length_or_signed, value_words};
use crate::render::svg::svg;
use crate::render::texts::Texts;
use crate::summarise::{OutRun, Place};

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

pub(super) fn counts(results: &Results<'_>, texts: &Texts) -> Markup {
    let counts = results.summary.counts();
    let cells = [
        ("good", counts.good, texts.verdict(Verdict::Good)),
        ("out", counts.out(), texts.out),
        ("undecided", counts.undecided, texts.verdict(Verdict::Undecided)),
        ("unseen", counts.unseen, texts.verdict(Verdict::Unseen)),
    ];
    html! {
        ul class="counts" {
            @for (class, count, name) in cells { li class=(class) { b { (count) } (name) } }
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
                @let judged = results.judged.iter().find(|judged| judged.seam == summary.seam);
                @if let (Some(seam), Some(judged)) = (results.plan.seam(&summary.seam), judged) {
                    li {
                        span class="n" { (index + 1) }
                        a href={ "#seam-" (summary.seam) } { (seam.title) }
                        span class="ribbons" { (PreEscaped(svg(&ribbons(judged, seam, longest_mm, texts)))) }
                        span class="result" {
                            @if counts.out() > 0 { b { (counts.out()) " " (texts.out) } }
                            @else { (texts.verdict(summary.verdict())) }
                        }
                    }
                }
            }
        }
    }
}

/// What the places in words are; a sentence for each stretch.
pub(super) fn worst(results: &Results<'_>, places: &[WorstPlace<'_>], settings: &ReportSettings) -> Markup {
    let texts = settings.language.texts();
    html! {
        h2 { (texts.worst_places) }
        @if places.is_empty() {
            p { @if results.summary.is_all_good() { (texts.all_good) } @else { (texts.nothing_out) } }
        }
        ol class="worst" {
            @for place in places.iter().take(PLACE_COUNT) { (item(results, place, settings)) }
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

pub(in crate::render) fn sentence(
    results: &Results<'_>,
    worst: &WorstPlace<'_>,
    settings: &ReportSettings,
) -> WorstWords {
    let (texts, unit) = (settings.language.texts(), results.plan.units);
    let (place, run, tolerance) = (worst.place, worst.run, worst.tolerance());
    let [start, _] = seam_ends(&worst.seam.curve, results.plan.axes(), texts);
    let start = if start.is_empty() { texts.start } else { start.as_str() };
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
        where_it_lies: format!("{stretch} ({})", texts.counted_from.replace("{end}", start)),
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
