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
use crate::judge::{JudgedSeam, Measurand, reported_coverage_factor};
use crate::measure::{Estimate, Smoothing, UncertaintySource};
use crate::plan::{DecisionRule, Film};
use crate::units::LengthUnit;

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

/// From here on degrees of freedom make no difference to k in two decimals.
const MANY_DEGREES: f64 = 1000.0;

/// One table a seam, each column the budget of one reading, so that its parts, u, k and U belong together.
fn budget(results: &Results<'_>, texts: &Texts) -> ExtraSection {
    let mut blocks = vec![Block::Words(texts.budget_of.to_owned())];
    for judged in results.judged {
        let readings = Measurand::BOTH.map(|measurand| middle_reading(judged, measurand));
        if readings.iter().all(Option::is_none) {
            continue;
        }
        let title =
            results.plan.seam(&judged.seam).map_or(judged.seam.0.as_str(), |seam| seam.title.as_str());
        let head = vec![
            title.to_owned(),
            format!("{}, {}", texts.gap, unit_name(results.plan.units)),
            format!("{}, {}", texts.flush, unit_name(results.plan.units)),
        ];
        blocks.push(Block::Table { head, rows: budget_rows(results, texts, readings) });
    }
    section("budget", texts.budget, blocks)
}

/// The measured reading whose u is the middle one of the seam's.
fn middle_reading(judged: &JudgedSeam, measurand: Measurand) -> Option<&Estimate> {
    let measured = judged.stations.iter().filter_map(|station| station.value(measurand).measured.ok());
    let mut readings: Vec<&Estimate> = measured.collect();
    readings.sort_by(|one, other| one.u_mm.total_cmp(&other.u_mm));
    readings.get(readings.len() / 2).copied()
}

fn budget_rows(results: &Results<'_>, texts: &Texts, readings: [Option<&Estimate>; 2]) -> Vec<Vec<String>> {
    let unit = results.plan.units;
    let decimals = if unit == LengthUnit::Inch { 5 } else { 4 };
    let precise = |u_mm: f64| format!("{:.decimals$}", u_mm / unit.mm());
    let row = |name: &str, cell: &dyn Fn(&Estimate) -> String| {
        let cells = readings.map(|reading| reading.map(cell).unwrap_or_default());
        std::iter::once(name.to_owned()).chain(cells).collect::<Vec<_>>()
    };
    let mut rows: Vec<Vec<String>> = UncertaintySource::ALL
        .into_iter()
        .map(|source| {
            row(texts.source_words(source), &|reading| {
                let u_mm = of_source_mm(reading, source);
                if u_mm > 0.0 { precise(u_mm) } else { String::new() }
            })
        })
        // What has no part in either reading, such as film where none is to come.
        .filter(|cells| cells[1..].iter().any(|cell| !cell.is_empty()))
        .collect();
    let factor =
        |reading: &Estimate| reported_coverage_factor(reading.degrees_of_freedom, &results.plan.decision);
    rows.push(row(texts.combined, &|reading| precise(reading.u_mm)));
    rows.push(row(texts.degrees_of_freedom, &|reading| match reading.degrees_of_freedom {
        few if few < MANY_DEGREES => format!("{few:.0}"),
        _ => format!("{MANY_DEGREES:.0}+"),
    }));
    rows.push(row("k", &|reading| format!("{:.2}", factor(reading))));
    rows.push(row("U = k u", &|reading| precise(factor(reading) * reading.u_mm)));
    rows
}

fn of_source_mm(reading: &Estimate, source: UncertaintySource) -> f64 {
    let own = reading.components.iter().filter(|component| component.source == source);
    own.map(|component| component.u_mm.powi(2)).sum::<f64>().sqrt()
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
    rows.extend(results.run.smoothing.as_ref().map(|smoothing| {
        vec![texts.smoothing.to_owned(), smoothing_words(smoothing, texts, results.plan.units)]
    }));
    let set = results.run.settings.iter().map(|setting| vec![setting.name.clone(), setting.value.clone()]);
    rows.extend(set);
    section("settings", texts.settings, vec![Block::Table { head: Vec::new(), rows }])
}

/// How wide the scanner's smoothing is and whence that is known.
fn smoothing_words(smoothing: &Smoothing, texts: &Texts, unit: LengthUnit) -> String {
    let width_mm = smoothing.width_mm();
    if width_mm <= 0.0 {
        return texts.smoothing_none.to_owned();
    }
    let [stated, told] = texts.smoothing_known;
    if smoothing.is_stated {
        return format!("{}, {stated}", length_with_unit(width_mm, unit));
    }
    // Twice the width's standard uncertainty, by d(s²) = 2 s ds.
    let expanded = length_with_unit(smoothing.u_mm2 / width_mm, unit);
    format!("{} ± {expanded}, {told}", length(width_mm, unit))
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
