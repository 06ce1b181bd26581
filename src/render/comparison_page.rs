//! `comparison.html`: what changed between two scans, or differs between two sides, on one self-contained page.
//!
//! In: the plan, both scans' judged seams, a [`Comparison`]. Out: HTML without anything from outside the file.
//! Units: the plan's. Moves first, in words; then a table of seams; then the strips.
//! Does not decide anything.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::change_strip::change_strip_picture;
use super::error::RenderError;
use super::format::{length, signed, unit_name};
use super::page::font_and_inks;
use super::svg::svg;
use super::texts::Language;
use crate::judge::{JudgedSeam, Measurand, expanded_u_mm};
use crate::plan::Plan;
use crate::summarise::{Comparison, ComparisonKind, MeasurandChange, describe_move, describe_sides};

const STYLE: &str = "body{font:16px/1.45 \"Barlow Semi Condensed\",system-ui,sans-serif;margin:0 auto;max-width:62rem;padding:1rem;\
background:var(--paper);color:var(--text)}h1{font-size:1.4rem}h2{font-size:1.1rem;margin-top:2rem}\
table{border-collapse:collapse;width:100%}th,td{padding:.3rem .5rem;border-bottom:1px solid var(--hair);\
text-align:left;font-variant-numeric:tabular-nums}svg{width:100%;height:auto;font-family:\"Barlow Semi Condensed\",system-ui,sans-serif}.note{color:var(--muted)}\
.care{border-left:.3rem solid var(--text);padding-left:.7rem}\
@media print{section{break-inside:avoid}}";

/// The page.
///
/// # Errors
/// A seam of the comparison is not in the plan.
pub fn comparison_page(
    plan: &Plan,
    [before, after]: [(&str, &[JudgedSeam]); 2],
    comparison: &Comparison,
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
    let [first, second] = comparison.kind.sides();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (plan.title) " – " (first) " and " (second) }
                style { (PreEscaped(font_and_inks())) (PreEscaped(STYLE)) }
            }
            body {
                h1 { (plan.title) ": " (first) " and " (second) }
                @match comparison.kind {
                    ComparisonKind::BeforeAfter => {
                        p.note { "Before: " (before.0) " · after: " (after.0) }
                        (moves_part(plan, comparison))
                    }
                    ComparisonKind::LeftRight => (sides_part(plan, comparison, before.0)),
                }
                (table_part(plan, comparison))
                @for strip in &strips { section { (PreEscaped(strip)) } }
                (footnotes(comparison))
            }
        }
    };
    Ok(page.into_string())
}

fn moves_part(plan: &Plan, comparison: &Comparison) -> Markup {
    let title =
        |id: &crate::plan::PanelId| plan.panel(id).map_or_else(|| id.0.clone(), |panel| panel.title.clone());
    html! {
        h2 { "What moved" }
        @if comparison.moves.is_empty() { p { "No panel moved, as far as the scans can tell." } }
        @for one in &comparison.moves {
            p { (describe_move(one, &title(&one.panel), plan.axes(), plan.units)) }
        }
        p.care {
            "These are moves that were seen, not instructions. Support a panel before any fastening is opened, keep \
             hands out of the gap, and check latches, hinges and safety catches after every adjustment."
        }
    }
}

/// Left and right in words, seam by seam, where the difference is proved.
fn sides_part(plan: &Plan, comparison: &Comparison, scan: &str) -> Markup {
    let sentences = describe_sides(plan, comparison);
    html! {
        p.note { "Scan: " (scan) " · difference: right − left, at the mirrored places" }
        h2 { "How the sides differ" }
        @if sentences.is_empty() { p { "No seam differs from its partner, as far as the scan can tell." } }
        @for sentence in &sentences { p { (sentence) } }
        p.care {
            "A car that is even is not yet a car in tolerance: see the tolerance of each side below. Support a panel \
             before any fastening is opened, and keep hands out of the gap."
        }
    }
}

fn table_part(plan: &Plan, comparison: &Comparison) -> Markup {
    let has_moves = comparison.kind == ComparisonKind::BeforeAfter;
    html! {
        h2 { "Seam by seam" }
        table {
            tr { th { "Seam" } th { "" } th { (capital(comparison.kind.change())) } th { "Mean ± U, " (unit_name(plan.units)) }
                 th { "Better" } th { "Worse" } @if has_moves { th { "Left over, rms" } } }
            @for seam in &comparison.seams {
                @for measurand in Measurand::BOTH {
                    @let change = seam.measurand(measurand);
                    @let left = comparison.leftovers.iter()
                        .find(|left| left.seam == seam.seam && left.measurand == measurand);
                    tr {
                        td { (plan.seam(&seam.seam).map_or(seam.seam.0.as_str(), |found| found.title.as_str())) }
                        td { (measurand.word()) }
                        td { (change.verdict.word()) }
                        td { (mean_words(change, plan)) }
                        td { (change.better_count) }
                        td { (change.worse_count) }
                        @if has_moves {
                            td { @if let Some(left) = left { (length(left.leftover_rms_mm, plan.units)) } }
                        }
                    }
                }
            }
        }
        @for missing in &comparison.missing_seams { p.note { "Not in both: " (missing) } }
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

fn footnotes(comparison: &Comparison) -> Markup {
    let common: Vec<&str> = comparison.cancelled.iter().map(|source| source.words()).collect();
    html! {
        p.note {
            "Taken as common to both, and so left out of the change's uncertainty as far as it is of one size: "
            (if common.is_empty() { "nothing".to_owned() } else { common.join(", ") })
            ". A " (comparison.kind.change()) " is real where blocks of neighbouring stations prove it, with at most 5 % false ones among all \
             that are called real; none where it ± U is too small to matter for the tolerance. U is for k = 2."
        }
    }
}
