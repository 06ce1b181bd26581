//! The end of the page: where the uncertainty comes from, alignment, settings, files.

use maud::{Markup, html};

use crate::align::Alignment;
use crate::judge::Measurand;
use crate::measure::UncertaintySource;
use crate::plan::{DecisionRule, Film};
use crate::render::format::{length, unit_name};
use crate::render::run_facts::Results;
use crate::render::strip::panel_title;
use crate::render::texts::Texts;

pub(super) fn tail(results: &Results<'_>, texts: &Texts) -> Markup {
    html! {
        footer {
            (budget(results, texts))
            (finish(results, texts))
            @if let Some(found) = results.alignment { (alignment(results, found, texts)) }
            (settings(results, texts))
            (files(results, texts))
            @if !results.run.warnings.is_empty() {
                ul { @for warning in &results.run.warnings { li { (warning) } } }
            }
            p class="muted" { "shutline " (results.run.program_version) }
        }
    }
}

/// Root mean square of each source over all measured stations, mm.
fn source_rms_mm(results: &Results<'_>, measurand: Measurand, source: UncertaintySource) -> f64 {
    let (mut sum_mm2, mut count) = (0.0, 0usize);
    for station in results.judged.iter().flat_map(|judged| &judged.stations) {
        let Ok(seen) = station.value(measurand).measured else { continue };
        count += 1;
        sum_mm2 += seen
            .components
            .iter()
            .filter(|component| component.source == source)
            .map(|component| component.u_mm.powi(2))
            .sum::<f64>();
    }
    if count == 0 { 0.0 } else { (sum_mm2 / count as f64).sqrt() }
}

fn budget(results: &Results<'_>, texts: &Texts) -> Markup {
    let unit = results.plan.units;
    let precise = |u_mm: f64| if u_mm > 0.0 { format!("{:.4}", u_mm / unit.mm()) } else { String::new() };
    html! {
        h2 { (texts.budget) }
        div class="scroll" { table {
            thead { tr { th { (texts.source) } th { "u " (texts.gap) } th { "u " (texts.flush) } } }
            tbody { @for source in UncertaintySource::ALL.into_iter().filter(|source| is_possible(results, *source)) {
                tr {
                    td { (source.words()) }
                    @for measurand in Measurand::BOTH { td { (precise(source_rms_mm(results, measurand, source))) } }
                }
            } }
        } }
    }
}

/// Film of paint is a source only where some is to come.
fn is_possible(results: &Results<'_>, source: UncertaintySource) -> bool {
    source != UncertaintySource::Finish || results.plan.finish.is_to_come()
}

fn finish(results: &Results<'_>, texts: &Texts) -> Markup {
    let terms = &results.plan.finish;
    let unit = results.plan.units;
    let film = |film: &Film| format!("{:.3} ±{:.3}", film.build_mm / unit.mm(), 2.0 * film.u_mm / unit.mm());
    html! {
        @if terms.is_to_come() {
            h2 { (texts.finish) }
            p { (texts.finish_note) }
            div class="scroll" { table {
                thead { tr {
                    th { (texts.panel) } th class="words" { (texts.scanned_state) }
                    th { (texts.outer_film) " " (unit_name(unit)) } th { (texts.edge_film) " " (unit_name(unit)) }
                } }
                tbody { @for (panel, finish) in &terms.panels { tr {
                    td { (panel_title(results.plan, panel)) }
                    td class="words" { (texts.scanned_states[finish.scanned as usize]) }
                    td { (film(&finish.outer)) }
                    td { (film(&finish.edge)) }
                } } }
            } }
        }
    }
}

fn alignment(results: &Results<'_>, found: &Alignment, texts: &Texts) -> Markup {
    let unit = results.plan.units;
    html! {
        h2 { (texts.alignment) }
        p { (found.way) ": rms " (length(found.rms_residual_mm, unit)) ", max " (length(found.worst_residual_mm, unit))
            ", " (found.points_used) " · " (found.iterations) }
        @if !found.targets.is_empty() {
            div class="scroll" { table { tbody { @for target in &found.targets {
                tr { td { (target.id) } td { (length(target.residual_mm, unit)) } }
            } } } }
        }
        @for warning in &found.warnings { p { (warning) } }
    }
}

fn settings(results: &Results<'_>, texts: &Texts) -> Markup {
    let rule = match results.plan.decision {
        DecisionRule::Interval { coverage_factor } => format!("interval, k = {coverage_factor}"),
        DecisionRule::Plain => "plain".to_owned(),
        DecisionRule::GuardBand { conformance } => format!("guard-band, {conformance}"),
        DecisionRule::SharedRisk { capability } => format!("shared-risk, {capability}"),
    };
    html! {
        h2 { (texts.settings) }
        div class="scroll" { table { tbody {
            tr { td { "decision" } td class="words" { (rule) } }
            tr { td { "accuracy" } td class="words" { (length(results.plan.scan.accuracy_mm, results.plan.units)) } }
            @for setting in &results.run.settings { tr { td { (setting.name) } td class="words" { (setting.value) } } }
        } } }
    }
}

fn files(results: &Results<'_>, texts: &Texts) -> Markup {
    html! {
        h2 { (texts.inputs) }
        div class="scroll" { table { tbody { @for input in &results.run.inputs {
            tr { td { (input.role) } td class="words" { (input.name) } td { (input.byte_count) } td class="hash" { (input.sha256) } }
        } } } }
    }
}
