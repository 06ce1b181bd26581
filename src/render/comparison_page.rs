//! `comparison.html`: what changed between two scans, or differs between two sides, on one self-contained page.
//!
//! In: the plan, both scans' judged seams, a [`Comparison`], the changes of lineups. Out: HTML without anything from outside the file.
//! Units: the plan's. Moves first, in words; then a table of seams; then the strips.
//! Does not decide anything.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::change_strip::change_strip_picture;
use super::error::RenderError;
use super::format::{length, signed, unit_name};
use super::move_words::describe_move;
use super::page::font_and_inks;
use super::side_words::describe_sides;
use super::svg::svg;
use super::texts::Language;
use crate::judge::{JudgedSeam, Measurand, Verdict, expanded_u_mm};
use crate::measure::UncertaintySource;
use crate::plan::Plan;
use crate::summarise::{Comparison, ComparisonKind, LineupChange, MeasurandChange, Taper, TaperChange};

const STYLE: &str = "body{font:16px/1.45 \"Barlow Semi Condensed\",system-ui,sans-serif;margin:0 auto;max-width:62rem;padding:1rem;\
background:var(--paper);color:var(--text)}h1{font-size:1.4rem}h2{font-size:1.1rem;margin-top:2rem}\
table{border-collapse:collapse;width:100%}th,td{padding:.3rem .5rem;border-bottom:1px solid var(--hair);\
text-align:left;font-variant-numeric:tabular-nums}svg{width:100%;height:auto;font-family:\"Barlow Semi Condensed\",system-ui,sans-serif}.note{color:var(--muted)}\
.care{border-left:.3rem solid var(--text);padding-left:.7rem}\
section{margin-top:1.4rem}.scroll{overflow-x:auto}@media print{section{break-inside:avoid}}";

/// The page.
///
/// # Errors
/// A seam of the comparison is not in the plan.
pub fn comparison_page(
    plan: &Plan,
    [before, after]: [(&str, &[JudgedSeam]); 2],
    comparison: &Comparison,
    lineups: &[LineupChange],
    language: Language,
) -> Result<String, RenderError> {
    let mut strips = Vec::new();
    for change in &comparison.seams {
        let find = |scan: &'_ [JudgedSeam]| scan.iter().position(|one| one.seam == change.seam);
        if let (Some(first), Some(second)) = (find(before.1), find(after.1)) {
            let scans = [&before.1[first], &after.1[second]];
            strips.push(svg(&change_strip_picture(plan, scans, change, comparison.kind, language)?));
        }
    }
    let words = language.comparison_texts();
    let [first, second] = words.sides_of(comparison.kind);
    let title = words.title.replace("{first}", first).replace("{second}", second);
    let page = html! {
        (DOCTYPE)
        html lang=(language.code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (plan.title) " – " (title) }
                style { (PreEscaped(font_and_inks())) (PreEscaped(STYLE)) }
            }
            body {
                h1 { (plan.title) ": " (title) }
                @match comparison.kind {
                    ComparisonKind::BeforeAfter => {
                        p.note { (words.scans.replace("{first}", before.0).replace("{second}", after.0)) }
                        (moves_part(plan, comparison, language))
                    }
                    ComparisonKind::LeftRight => (sides_part(plan, comparison, before.0, language)),
                }
                (table_part(plan, comparison, language))
                (lineups_part(plan, comparison.kind, lineups, language))
                @for strip in &strips { section { (PreEscaped(strip)) } }
                (footnotes(comparison, language))
            }
        }
    };
    Ok(page.into_string())
}

fn moves_part(plan: &Plan, comparison: &Comparison, language: Language) -> Markup {
    let words = language.comparison_texts();
    let title =
        |id: &crate::plan::PanelId| plan.panel(id).map_or_else(|| id.0.clone(), |panel| panel.title.clone());
    html! {
        h2 { (words.what_moved) }
        @if comparison.moves.is_empty() { p { (words.nothing_moved) } }
        @for one in &comparison.moves {
            p { (describe_move(one, &title(&one.panel), plan.axes(), plan.units, language)) }
        }
        p.care { (words.moves_caution) }
    }
}

/// Left and right in words, seam by seam, where the difference is proved.
fn sides_part(plan: &Plan, comparison: &Comparison, scan: &str, language: Language) -> Markup {
    let words = language.comparison_texts();
    let sentences = describe_sides(plan, comparison, language);
    html! {
        p.note { (words.scan.replace("{first}", scan)) }
        h2 { (words.sides_differ) }
        @if sentences.is_empty() { p { (words.sides_even) } }
        @for sentence in &sentences { p { (sentence) } }
        p.care { (words.sides_caution) }
    }
}

fn table_part(plan: &Plan, comparison: &Comparison, language: Language) -> Markup {
    let words = language.comparison_texts();
    let has_moves = comparison.kind == ComparisonKind::BeforeAfter;
    let [seam_head, mean, better, worse, left_over] = words.columns;
    html! {
        h2 { (words.table) }
        div.scroll { table {
            tr { th { (seam_head) } th { "" } th { (capital(words.change_of(comparison.kind))) }
                 th { (mean.replace("{unit}", unit_name(plan.units))) }
                 th { (better) } th { (worse) } @if has_moves { th { (left_over) } } }
            @for seam in &comparison.seams {
                @for measurand in Measurand::BOTH {
                    @let change = seam.measurand(measurand);
                    @let left = comparison.leftovers.iter()
                        .find(|left| left.seam == seam.seam && left.measurand == measurand);
                    tr {
                        td { (plan.seam(&seam.seam).map_or(seam.seam.0.as_str(), |found| found.title.as_str())) }
                        td { (language.texts().measurand(measurand)) }
                        td { (words.verdict(change.verdict)) }
                        td { (mean_words(change, plan)) }
                        td { (change.better_count) }
                        td { (change.worse_count) }
                        @if has_moves {
                            td { @if let Some(left) = left { (length(left.leftover_rms_mm, plan.units)) } }
                        }
                    }
                }
                @for taper in comparison.tapers.iter().filter(|taper| taper.seam == seam.seam) {
                    tr {
                        td { (plan.seam(&seam.seam).map_or(seam.seam.0.as_str(), |found| found.title.as_str())) }
                        td { (language.texts().taper) }
                        td { (taper_verdicts(taper, comparison.kind, language)) }
                        td { (taper_values(taper, comparison.kind, plan)) }
                        td { "" } td { "" } @if has_moves { td { "" } }
                    }
                }
            }
        } }
        @for missing in &comparison.missing_seams {
            p.note { (words.missing.replace("{seam}", &missing.to_string())) }
        }
    }
}

/// What stands between the two sides: only time has a direction.
const fn between(kind: ComparisonKind) -> &'static str {
    match kind {
        ComparisonKind::BeforeAfter => " → ",
        ComparisonKind::LeftRight => " | ",
    }
}

/// "out → good".
fn taper_verdicts(taper: &TaperChange, kind: ComparisonKind, language: Language) -> String {
    let texts = language.texts();
    let word = |verdict: Verdict| if verdict.is_out() { texts.out } else { texts.verdict(verdict) };
    taper.verdicts().map(word).join(between(kind))
}

/// "1.00 → 0.31 (≤ 0.50)".
fn taper_values(taper: &TaperChange, kind: ComparisonKind, plan: &Plan) -> String {
    let value = |side: &Option<Taper>| {
        side.as_ref().map_or_else(|| "–".to_owned(), |taper| length(taper.change.value_mm.abs(), plan.units))
    };
    let values = [&taper.sides[0], &taper.sides[1]].map(value).join(between(kind));
    format!("{values} (≤ {})", length(taper.limit_mm, plan.units))
}

/// What runs across seams, in both.
fn lineups_part(plan: &Plan, kind: ComparisonKind, lineups: &[LineupChange], language: Language) -> Markup {
    let (words, texts) = (language.comparison_texts(), language.texts());
    let [first, second] = words.sides_of(kind);
    let change = capital(words.change_of(kind));
    let title = |id: &str| {
        plan.lineups.iter().find(|one| one.id == id).map_or_else(|| id.to_owned(), |one| one.title.clone())
    };
    let value = |value_mm: Option<f64>| value_mm.map_or_else(String::new, |mm| signed(mm, plan.units));
    html! {
        @if !lineups.is_empty() {
            h2 { (texts.lineups) }
            div.scroll { table {
                tr { th { (texts.lineups) } th { "" } th { (capital(first)) ", " (unit_name(plan.units)) }
                     th { (capital(second)) } th { (change) " ± U" } th { "" } }
                @for one in lineups {
                    tr {
                        td { (title(&one.lineup)) @if let Some(bar) = one.bar { " " (bar + 1) } }
                        td { (texts.lineup_quantity(one.quantity)) }
                        td { (value(one.first_mm)) } td { (value(one.second_mm)) }
                        td { @if let Some((change_mm, u_mm)) = one.change_mm {
                            (signed(change_mm, plan.units)) " ± " (length(2.0 * u_mm, plan.units))
                        } }
                        td { (words.verdict(one.verdict())) }
                    }
                }
            } }
            p.note { (words.lineups_note.replace("{change}", &change)) }
        }
    }
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn mean_words(change: &MeasurandChange, plan: &Plan) -> String {
    change.mean.as_ref().map_or_else(String::new, |mean| {
        format!(
            "{} ± {}",
            signed(mean.value_mm, plan.units),
            length(expanded_u_mm(mean, &plan.decision), plan.units)
        )
    })
}

fn footnotes(comparison: &Comparison, language: Language) -> Markup {
    let words = language.comparison_texts();
    let common: Vec<&str> =
        comparison.cancelled.iter().map(|source| language.texts().source_words(*source)).collect();
    let is_smoothing_own = comparison.kind == ComparisonKind::BeforeAfter
        && comparison.cancelled.contains(&UncertaintySource::Smoothing);
    let common = if common.is_empty() { words.nothing_common.to_owned() } else { common.join(", ") };
    html! {
        p.note {
            (words.common.replace("{sources}", &common)) " "
            @if comparison.cancelled.contains(&UncertaintySource::Model) { (words.flush_own) " " }
            @if is_smoothing_own { (words.smoothing_own) " " }
            (words.rule.replace("{change}", words.change_of(comparison.kind)))
        }
    }
}
