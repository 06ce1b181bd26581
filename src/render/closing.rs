//! The end of the report, for page and paper: where the uncertainty comes from, alignment, settings, files, warnings.
//!
//! In: [`Results`]. Out: sections of blocks. Units: the plan's. Does not set them.

use super::blocks::{Block, ExtraSection};
use super::format::{length, length_with_unit, unit_name};
use super::residual_map::residual_map;
use super::run_facts::Results;
use super::strip::panel_title;
use super::texts::{Language, Texts, alignment_warning};
use crate::align::Alignment;
use crate::judge::{Measurand, reported_coverage_factor};
use crate::measure::UncertaintySource;
use crate::plan::{DecisionRule, Film};

/// Width of a picture that fills the page, picture units.
const PAGE_WIDTH: f64 = 680.0;

pub(super) fn closing(results: &Results<'_>, language: Language) -> Vec<ExtraSection> {
    let texts = language.texts();
    let mut sections = vec![budget(results, texts)];
    sections.extend(results.plan.finish.is_to_come().then(|| finish(results, texts)));
    sections.extend(results.alignment.map(|found| alignment(results, found, language)));
    sections.push(settings(results, texts));
    sections.push(files(results, language));
    if !results.run.warnings.is_empty() {
        let said = results.run.warnings.iter().map(|warning| Block::Words(warning.words(language)));
        let blocks = said.collect();
        sections.push(section("warnings", texts.warnings, blocks));
    }
    sections
}

fn section(id: &str, title: &str, blocks: Vec<Block>) -> ExtraSection {
    ExtraSection { id: id.to_owned(), title: title.to_owned(), blocks }
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

fn budget(results: &Results<'_>, texts: &Texts) -> ExtraSection {
    let unit = results.plan.units;
    let precise = |u_mm: f64| if u_mm > 0.0 { format!("{:.4}", u_mm / unit.mm()) } else { String::new() };
    let head = [
        texts.source.to_owned(),
        format!("u {}, {}", texts.gap, unit_name(unit)),
        format!("u {}, {}", texts.flush, unit_name(unit)),
    ];
    // Film of paint is a source only where some is to come.
    let is_possible =
        |source: &UncertaintySource| *source != UncertaintySource::Finish || results.plan.finish.is_to_come();
    let rows = UncertaintySource::ALL.into_iter().filter(is_possible).map(|source| {
        let [gap, flush] =
            Measurand::BOTH.map(|measurand| precise(source_rms_mm(results, measurand, source)));
        vec![texts.source_words(source).to_owned(), gap, flush]
    });
    section("budget", texts.budget, vec![Block::Table { head: head.to_vec(), rows: rows.collect() }])
}

fn finish(results: &Results<'_>, texts: &Texts) -> ExtraSection {
    let (terms, unit) = (&results.plan.finish, results.plan.units);
    let film = |film: &Film| {
        let expanded_mm = reported_coverage_factor(f64::INFINITY, &results.plan.decision) * film.u_mm;
        format!("{:.3} ±{:.3}", film.build_mm / unit.mm(), expanded_mm / unit.mm())
    };
    let head = vec![
        texts.panel.to_owned(),
        texts.scanned_state.to_owned(),
        format!("{}, {}", texts.outer_film, unit_name(unit)),
        format!("{}, {}", texts.edge_film, unit_name(unit)),
    ];
    let rows = terms
        .panels
        .iter()
        .map(|(panel, finish)| {
            let state = texts.scanned_states[finish.scanned as usize].to_owned();
            vec![panel_title(results.plan, panel).to_owned(), state, film(&finish.outer), film(&finish.edge)]
        })
        .collect();
    let blocks = vec![Block::Words(texts.finish_note.to_owned()), Block::Table { head, rows }];
    section("finish", texts.finish, blocks)
}

fn alignment(results: &Results<'_>, found: &Alignment, language: Language) -> ExtraSection {
    let texts = language.texts();
    let unit = results.plan.units;
    let words = texts
        .alignment_facts
        .replace("{way}", found.way)
        .replace("{rms}", &length_with_unit(found.rms_residual_mm, unit))
        .replace("{max}", &length_with_unit(found.worst_residual_mm, unit))
        .replace("{n}", &found.points_used.to_string());
    let mut blocks = vec![Block::Words(words)];
    if !found.targets.is_empty() {
        let head = vec![texts.target.to_owned(), format!("{}, {}", texts.residual, unit_name(unit))];
        let rows = found
            .targets
            .iter()
            .map(|target| vec![target.id.clone(), length(target.residual_mm, unit)])
            .collect();
        blocks.push(Block::Table { head, rows });
    }
    blocks.extend(found.warnings.iter().map(|warning| Block::Words(alignment_warning(warning, language))));
    blocks.extend(residual_map(results.plan, found, texts, PAGE_WIDTH).map(Block::Picture));
    section("alignment", texts.alignment, blocks)
}

fn settings(results: &Results<'_>, texts: &Texts) -> ExtraSection {
    let rule = match results.plan.decision {
        DecisionRule::Interval { coverage_factor } => format!("interval, k = {coverage_factor}"),
        DecisionRule::Plain => "plain".to_owned(),
        DecisionRule::GuardBand { conformance } => format!("guard-band, {conformance}"),
        DecisionRule::SharedRisk { capability } => format!("shared-risk, {capability}"),
    };
    let accuracy = length_with_unit(results.plan.scan.accuracy_mm, results.plan.units);
    let mut rows = vec![vec![texts.rule.to_owned(), rule], vec![texts.accuracy.to_owned(), accuracy]];
    let set = results.run.settings.iter().map(|setting| vec![setting.name.clone(), setting.value.clone()]);
    rows.extend(set);
    section("settings", texts.settings, vec![Block::Table { head: Vec::new(), rows }])
}

fn files(results: &Results<'_>, language: Language) -> ExtraSection {
    let (texts, words) = (language.texts(), language.warning_texts());
    let rows = results
        .run
        .inputs
        .iter()
        .map(|input| {
            let size = format!("{} {}", input.byte_count, texts.bytes);
            vec![
                words.role(&input.role).to_owned(),
                input.name.clone(),
                size,
                format!("SHA-256 {}", input.sha256),
            ]
        })
        .collect();
    section("files", texts.inputs, vec![Block::Table { head: Vec::new(), rows }])
}
