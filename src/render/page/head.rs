//! The head of the page: what was measured, when, and what ± and the verdicts mean.

use maud::{Markup, html};

use crate::plan::{DEFAULT_COVERAGE_FACTOR, DecisionRule, JudgedState};
use crate::render::run_facts::Results;
use crate::render::texts::Texts;

pub(super) fn head(results: &Results<'_>, texts: &Texts) -> Markup {
    html! {
        header {
            h1 { (results.plan.title) }
            @for line in head_lines(results, texts) { p class="muted" { (line) } }
        }
    }
}

/// When and what, in a line; what ± means, in another; where film is to come, which state is judged.
pub(in crate::render) fn head_lines(results: &Results<'_>, texts: &Texts) -> Vec<String> {
    let run = results.run;
    let stations = results.summary.seams.iter().map(|seam| seam.station_count).sum::<usize>();
    let mut parts: Vec<String> = run.measured_at.iter().map(|time| readable_time(time)).collect();
    parts.extend(run.inputs.iter().filter(|input| input.role == "scan").map(|input| input.name.clone()));
    parts.push(format!(
        "{}, {}",
        counted(results.judged.len(), texts.one_seam, texts.seams),
        counted(stations, texts.one_station, texts.stations)
    ));
    let mut lines = vec![parts.join(" · "), uncertainty_note(&results.plan.decision, texts)];
    if results.plan.finish.is_to_come() {
        lines.push(page_state(results, texts).to_owned());
    }
    lines
}

/// Which state of the car the page judges.
const fn page_state(results: &Results<'_>, texts: &Texts) -> &'static str {
    match results.plan.finish.judge {
        JudgedState::AsScanned => texts.page_scanned,
        JudgedState::Finished => texts.page_finished,
    }
}

fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// `2026-01-02 03:04 UTC` from RFC 3339 in UTC; as it is otherwise.
fn readable_time(time: &str) -> String {
    match (time.get(..10), time.get(11..16), time.ends_with('Z')) {
        (Some(day), Some(minute), true) => format!("{day} {minute} UTC"),
        _ => time.to_owned(),
    }
}

/// What ± means here, with the coverage factor, and when a verdict is given.
fn uncertainty_note(rule: &DecisionRule, texts: &Texts) -> String {
    let note = |pattern: &str, factor: f64| pattern.replace("{k}", &factor.to_string());
    match rule {
        DecisionRule::Interval { coverage_factor } => note(texts.note_interval, *coverage_factor),
        DecisionRule::Plain => note(texts.note_plain, DEFAULT_COVERAGE_FACTOR),
        DecisionRule::GuardBand { conformance } => note(texts.note_guard, DEFAULT_COVERAGE_FACTOR)
            .replace("{p}", &format!("{}", (conformance * 1000.0).round() / 10.0)),
        DecisionRule::SharedRisk { capability } => {
            note(texts.note_shared, DEFAULT_COVERAGE_FACTOR).replace("{c}", &capability.to_string())
        }
    }
}
