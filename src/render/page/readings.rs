//! The table of all readings, with sorting and filter where scripts run.

use maud::{Markup, html};

use super::list::station_key;
use crate::judge::{JudgedReading, JudgedSeam, JudgedValue, Measurand, Verdict, expanded_u_mm};
use crate::plan::{JudgedState, Plan, Seam};
use crate::render::format::{along, length, unit_name};
use crate::render::ink::{Ink, mark, severity};
use crate::render::run_facts::Results;
use crate::render::strip_lane::value_words;
use crate::render::texts::Texts;
use crate::units::LengthUnit;

pub(super) fn table(results: &Results<'_>, texts: &Texts) -> Markup {
    let name = unit_name(results.plan.units);
    html! {
        h2 { (texts.readings) }
        div class="tools" { (seam_choice(results, texts)) (verdict_choice(texts)) span id="row-count" role="status" {} }
        div class="scroll" tabindex="0" role="region" aria-label=(texts.readings) {
            table id="readings" {
                thead { tr {
                    th class="words" scope="col" { button type="button" { (texts.seam) } }
                    th scope="col" { button type="button" { (texts.at) } }
                    th scope="col" { button type="button" { (texts.gap) " " (name) } }
                    th scope="col" { button type="button" { "±U " (name) } }
                    th class="words" scope="col" { button type="button" { (texts.gap) } }
                    th scope="col" { button type="button" { (texts.flush) " " (name) } }
                    th scope="col" { button type="button" { "±U " (name) } }
                    th class="words" scope="col" { button type="button" { (texts.flush) } }
                    @if results.plan.finish.is_to_come() { @for measurand in Measurand::BOTH {
                        th scope="col" { button type="button" { (texts.measurand(measurand)) " " (other_state(results.plan.finish.judge, texts).1) } }
                    } }
                } }
                tbody {
                    @for judged in results.judged {
                        @if let Some(seam) = results.plan.seam(&judged.seam) {
                            @for station in &judged.stations { (row(results, seam, judged, station, texts)) }
                        }
                    }
                }
            }
        }
    }
}

fn seam_choice(results: &Results<'_>, texts: &Texts) -> Markup {
    html! {
        label { (texts.seam) " "
            select id="only-seam" {
                option value="" { (texts.all) }
                @for (index, judged) in results.judged.iter().enumerate() {
                    option value=(index) { (results.plan.seam(&judged.seam).map_or("", |seam| seam.title.as_str())) }
                }
            }
        }
    }
}

fn verdict_choice(texts: &Texts) -> Markup {
    html! {
        label { (texts.verdict_word) " "
            select id="only-verdict" {
                option value="" { (texts.all) }
                option value="tight wide low high" { (texts.out_only) }
                @for verdict in Verdict::ALL { option value=(verdict.word()) { (texts.verdict(verdict)) } }
            }
        }
    }
}

fn row(
    results: &Results<'_>,
    seam: &Seam,
    judged: &JudgedSeam,
    station: &JudgedReading,
    texts: &Texts,
) -> Markup {
    let at = station.reading.station;
    let [gap, flush] = Measurand::BOTH.map(|measurand| station.value(measurand));
    html! {
        tr data-k=[station_key(results, judged, at.index)] data-v={ (gap.verdict.word()) " " (flush.verdict.word()) } {
            td { (seam.title) }
            td { (along(at.along_mm, results.plan.units)) }
            (cells(&gap, Measurand::Gap, results.plan, texts))
            (cells(&flush, Measurand::Flush, results.plan, texts))
            @if station.finished.is_some() { @for measurand in Measurand::BOTH { (other_cell(station, measurand, results.plan.units, texts)) } }
        }
    }
}

/// The state that is not judged, and its name.
pub(in crate::render) const fn other_state(
    judged: JudgedState,
    texts: &Texts,
) -> (JudgedState, &'static str) {
    match judged {
        JudgedState::AsScanned => (JudgedState::Finished, texts.when_finished),
        JudgedState::Finished => (JudgedState::AsScanned, texts.as_scanned),
    }
}

fn other_cell(station: &JudgedReading, measurand: Measurand, unit: LengthUnit, texts: &Texts) -> Markup {
    let (state, _) = other_state(station.judged_state, texts);
    match station.value_in(state, measurand).measured {
        Ok(seen) => {
            html! { td { (value_words(seen.value_mm, measurand, unit)) } }
        }
        Err(_) => html! { td {} },
    }
}

fn cells(value: &JudgedValue<'_>, measurand: Measurand, plan: &Plan, texts: &Texts) -> Markup {
    let unit = plan.units;
    match value.measured {
        Ok(seen) => {
            let is_out = value.verdict.is_out();
            let ink = Ink::of_verdict(value.verdict, severity(seen.value_mm, &value.tolerance));
            html! {
                td class=[is_out.then_some("out")] { (value_words(seen.value_mm, measurand, unit)) }
                td { (length(expanded_u_mm(seen, &plan.decision), unit)) }
                td {
                    @if is_out { i class="sw" style={ "background:var(--" (ink.css_name()) ")" } {} (mark(value.verdict)) " " }
                    (texts.verdict(value.verdict))
                }
            }
        }
        Err(reason) => html! { td {} td {} td class="muted" { (texts.reason_words(reason)) } },
    }
}
