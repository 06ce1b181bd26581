//! The table of all readings, with sorting and filter where scripts run.

use maud::{Markup, html};

use crate::judge::{JudgedReading, JudgedValue, Measurand, Verdict};
use crate::plan::{JudgedState, Seam};
use crate::render::format::{along, length, unit_name};
use crate::render::ink::{Ink, mark, severity};
use crate::render::run_facts::Results;
use crate::render::strip_lane::length_or_signed;
use crate::render::texts::Texts;
use crate::units::LengthUnit;

pub(super) fn table(results: &Results<'_>, texts: &Texts) -> Markup {
    let name = unit_name(results.plan.units);
    html! {
        h2 { (texts.readings) }
        div class="tools" { (seam_choice(results, texts)) (verdict_choice(texts)) }
        div class="scroll" tabindex="0" role="region" aria-label=(texts.readings) {
            table id="readings" {
                thead { tr {
                    th class="words" scope="col" { button type="button" { (texts.seam) } }
                    th scope="col" { button type="button" { (texts.at) } }
                    th scope="col" { button type="button" { (texts.gap) " " (name) } }
                    th scope="col" { button type="button" { "±U" } }
                    th class="words" scope="col" { button type="button" { (texts.gap) } }
                    th scope="col" { button type="button" { (texts.flush) " " (name) } }
                    th scope="col" { button type="button" { "±U" } }
                    th class="words" scope="col" { button type="button" { (texts.flush) } }
                    @if results.plan.finish.is_to_come() { @for measurand in Measurand::BOTH {
                        th scope="col" { button type="button" { (texts.measurand(measurand)) " " (other_state(results.plan.finish.judge, texts).1) } }
                    } }
                } }
                tbody {
                    @for judged in results.judged {
                        @if let Some(seam) = results.plan.seam(&judged.seam) {
                            @for station in &judged.stations { (row(seam, station, results.plan.units, texts)) }
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
                @for seam in &results.plan.seams { option value=(seam.id) { (seam.title) } }
            }
        }
    }
}

fn verdict_choice(texts: &Texts) -> Markup {
    html! {
        label { (texts.verdict_word) " "
            select id="only-verdict" {
                option value="" { (texts.all) }
                @for verdict in Verdict::ALL { option value=(verdict.word()) { (texts.verdict(verdict)) } }
            }
        }
    }
}

fn row(seam: &Seam, station: &JudgedReading, unit: LengthUnit, texts: &Texts) -> Markup {
    let at = station.reading.station;
    let [gap, flush] = Measurand::BOTH.map(|measurand| station.value(measurand));
    html! {
        tr data-key={ (seam.id) ":" (at.index) } data-seam=(seam.id)
            data-verdicts={ (gap.verdict.word()) " " (flush.verdict.word()) } {
            td { (seam.title) }
            td data-v=(at.along_mm) { (along(at.along_mm, unit)) }
            (cells(&gap, Measurand::Gap, unit, texts))
            (cells(&flush, Measurand::Flush, unit, texts))
            @if station.finished.is_some() { @for measurand in Measurand::BOTH { (other_cell(station, measurand, unit, texts)) } }
        }
    }
}

/// The state that is not judged, and its name.
const fn other_state(judged: JudgedState, texts: &Texts) -> (JudgedState, &'static str) {
    match judged {
        JudgedState::AsScanned => (JudgedState::Finished, texts.when_finished),
        JudgedState::Finished => (JudgedState::AsScanned, texts.as_scanned),
    }
}

fn other_cell(station: &JudgedReading, measurand: Measurand, unit: LengthUnit, texts: &Texts) -> Markup {
    let (state, _) = other_state(station.judged_state, texts);
    match station.value_in(state, measurand).measured {
        Ok(seen) => {
            html! { td data-v=(seen.value_mm) { (length_or_signed(seen.value_mm, measurand, unit)) } }
        }
        Err(_) => html! { td {} },
    }
}

fn cells(value: &JudgedValue<'_>, measurand: Measurand, unit: LengthUnit, texts: &Texts) -> Markup {
    let word = texts.verdict(value.verdict);
    match value.measured {
        Ok(seen) => {
            let ink = Ink::of_verdict(value.verdict, severity(seen.value_mm, &value.tolerance));
            html! {
                td data-v=(seen.value_mm) class=[value.verdict.is_out().then_some("out")] {
                    (length_or_signed(seen.value_mm, measurand, unit))
                }
                td data-v=(seen.u_mm) { (length(2.0 * seen.u_mm, unit)) }
                td class="words" {
                    @if value.verdict.is_out() {
                        span class="sw" style={ "background:var(--" (ink.css_name()) ")" } {} b { (mark(value.verdict)) " " }
                    }
                    (word)
                }
            }
        }
        Err(reason) => html! { td {} td {} td class="words muted" { (texts.reason_words(reason)) } },
    }
}
