//! The top of the page: counts, the list of seams, and the worst places in plain words.

use maud::{Markup, html};

use super::ReportSettings;
use crate::judge::{JudgedSeam, Measurand, Verdict};
use crate::plan::{Seam, Tolerance};
use crate::render::car_axes::seam_ends;
use crate::render::format::{along, length, length_with_unit, unit_name};
use crate::render::ink::{Ink, mark, severity};
use crate::render::run_facts::Results;
use crate::render::strip_lane::length_or_signed;
use crate::render::texts::Texts;
use crate::summarise::Place;

/// Most places told in words.
const PLACE_COUNT: usize = 5;

/// A place with all that a sentence about it needs.
pub(super) struct WorstPlace<'a> {
    pub judged: &'a JudgedSeam,
    pub seam: &'a Seam,
    pub measurand: Measurand,
    pub place: &'a Place,
}

impl WorstPlace<'_> {
    fn tolerance(&self) -> Tolerance {
        match self.measurand {
            Measurand::Gap => self.seam.gap_tolerance_at(self.place.along_mm),
            Measurand::Flush => self.seam.flush_tolerance_at(self.place.along_mm),
        }
    }
}

/// Places proved out over the whole scan, furthest beyond their limit first.
pub(super) fn worst_places<'a>(results: &Results<'a>) -> Vec<WorstPlace<'a>> {
    let mut places: Vec<WorstPlace<'a>> = Vec::new();
    for summary in &results.summary.seams {
        let Some(seam) = results.plan.seam(&summary.seam) else { continue };
        let Some(judged) = results.judged.iter().find(|judged| judged.seam == summary.seam) else { continue };
        for measurand in Measurand::BOTH {
            let worst = summary.measurand(measurand).worst.iter().filter(|place| place.verdict.is_out());
            places.extend(worst.map(|place| WorstPlace { judged, seam, measurand, place }));
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

pub(super) fn seam_list(results: &Results<'_>, texts: &Texts) -> Markup {
    html! {
        ol class="list" {
            @for (index, summary) in results.summary.seams.iter().enumerate() {
                @let title = results.plan.seam(&summary.seam).map_or("", |seam| seam.title.as_str());
                @let counts = summary.gap.counts.plus(&summary.flush.counts);
                li {
                    span class="n" { (index + 1) }
                    a href={ "#seam-" (summary.seam) } { (title) }
                    span {
                        @if counts.out() > 0 { b { (counts.out()) " " (texts.out) } }
                        @else { (texts.verdict(summary.verdict())) }
                    }
                }
            }
        }
    }
}

pub(super) fn worst(results: &Results<'_>, places: &[WorstPlace<'_>], settings: &ReportSettings) -> Markup {
    let texts = settings.language.texts();
    html! {
        h2 { (texts.worst_places) }
        @if places.is_empty() {
            p { @if results.summary.is_all_good() { (texts.all_good) } @else { "–" } }
        }
        ol class="worst" {
            @for place in places.iter().take(PLACE_COUNT) { (sentence(results, place, settings)) }
        }
    }
}

fn sentence(results: &Results<'_>, worst: &WorstPlace<'_>, settings: &ReportSettings) -> Markup {
    let texts = settings.language.texts();
    let unit = results.plan.units;
    let place = worst.place;
    let tolerance = worst.tolerance();
    let ink = Ink::of_verdict(place.verdict, severity(place.value_mm, &tolerance));
    let [start, _] = seam_ends(&worst.seam.curve, results.plan.axes(), texts);
    let start = if start.is_empty() { texts.start.to_owned() } else { start };
    let range = [tolerance.lower_mm(), tolerance.upper_mm()]
        .map(|limit_mm| length_or_signed(limit_mm, worst.measurand, unit));
    html! {
        li data-key={ (worst.seam.id) ":" (place.station_index) } tabindex="0" {
            span class="mark" style={ "border-color:var(--" (ink.css_name()) ")" } { i { (mark(place.verdict)) } }
            span {
                b { (worst.seam.title) }
                ", " (along(place.along_mm, unit)) " " (texts.from_end) " " (start) ": "
                (texts.measurand(worst.measurand)) " " b { (texts.verdict(place.verdict)) ", "
                (length_or_signed(place.value_mm, worst.measurand, unit)) " ±" (length(place.expanded_mm, unit)) " " (unit_name(unit)) }
                ". " (texts.allowed) " " (range[0]) " … " (range[1]) "; "
                (length_with_unit(place.beyond_mm, unit)) " " (texts.beyond_limit) "."
            }
        }
    }
}
