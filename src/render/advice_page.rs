//! `advice.html`: what to move and what to reshape, on one self-contained page.
//!
//! In: the plan, an [`Advice`], the input's name. Out: HTML without anything from outside the file.
//! Units: the plan's. What to do first, then the cautions, then what to expect, what no move cures, and the strips.
//! Does not decide anything.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::advice_findings::{fault_lines, leftover_lines, standing_lines};
use super::advice_strip::advice_strip_picture;
use super::advice_texts::AdviceTexts;
use super::advice_words::{advice_lines, counts_words, need_words, other_aim_words, unseen_words};
use super::error::RenderError;
use super::format::length_with_unit;
use super::page::style_sheet;
use super::svg::svg;
use super::texts::Language;
use crate::advise::{Advice, Aim};
use crate::judge::{JudgedSeam, Measurand, Verdict};
use crate::plan::Plan;

/// What the page has beside the report's style.
const STYLE: &str = ".do li{font-size:1.1rem;margin:.3rem 0}.caution li{margin:.15rem 0}td,th{text-align:left}\
@media print{section{break-inside:avoid}}";
/// The page.
///
/// # Errors
/// A seam of the advice is not in the plan.
pub fn advice_page(
    plan: &Plan,
    advice: &Advice,
    input: &str,
    language: Language,
) -> Result<String, RenderError> {
    let texts = language.advice_texts();
    let mut strips = Vec::new();
    for judged in &advice.seams_before {
        strips.push(svg(&advice_strip_picture(plan, advice, &judged.seam, language)?));
    }
    let page = html! {
        (DOCTYPE)
        html lang=(language.code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (plan.title) " – " (texts.title) }
                style { (PreEscaped(style_sheet())) (PreEscaped(STYLE)) }
            }
            body {
              main {
                h1 { (plan.title) ": " (texts.title) }
                p.muted { (input) }
                h2 { (texts.faults_head) }
                ul {
                    @for line in fault_lines(plan, advice, language) { li { (line) } }
                    @for line in standing_lines(plan, advice, language) { li { (line) } }
                }
                (what_to_do(plan, advice, language))
                (cautions(texts))
                (expected(plan, advice, language))
                h2 { (texts.leftover_head) }
                ul { @for line in leftover_lines(plan, advice, language) { li { (line) } } }
                @if advice.edges.iter().any(crate::advise::SeamEdges::is_needed) {
                    p.muted { (texts.leftover_note) " edges.csv, edges.dxf, edges.obj" }
                }
                @for strip in &strips { section { (PreEscaped(strip)) } }
                (cautions(texts))
              }
            }
        }
    };
    Ok(page.into_string())
}

fn what_to_do(plan: &Plan, advice: &Advice, language: Language) -> Markup {
    let texts = language.advice_texts();
    let lines = advice_lines(plan, advice, language);
    html! {
        h2 { (texts.what_to_do) }
        @if let Some(sentence) = need_words(advice.need, texts) { p { strong { (sentence) } } }
        @if lines.len() > 1 { p { (texts.orders) } }
        ol.do {
            @for (title, lines) in &lines {
                li { strong { (title) } ul { @for line in lines { li { (line) } } } }
            }
        }
        @if !advice.unseen.is_empty() {
            p { (texts.unseen_head) ": "
                @for (index, one) in advice.unseen.iter().enumerate() {
                    @if index > 0 { "; " } (unseen_words(plan, one, language))
                }
                ". " (texts.unseen) "."
            }
        }
        @if !lines.is_empty() { p.muted { (texts.flex) } }
    }
}

fn cautions(texts: &AdviceTexts) -> Markup {
    html! {
        div.caution { strong { (texts.cautions_head) } ul { @for one in texts.cautions { li { (one) } } } }
    }
}

fn expected(plan: &Plan, advice: &Advice, language: Language) -> Markup {
    let texts = language.advice_texts();
    let words = language.texts();
    html! {
        h2 { (texts.predicted) }
        p { (texts.worst_line) " " (format!("{:.2} → {:.2}", advice.before.worst, advice.after.worst)) br;
            (texts.counts_line) " " (counts_words(&advice.before)) " → " (counts_words(&advice.after)) }
        p.muted { (texts.aims[usize::from(advice.aim == Aim::Most)]) }
        table {
            tr { th { (texts.seam) } th { "" } th { (texts.before) " (" (texts.out_of) ")" }
                 th { (texts.after) " (" (texts.out_of) ")" } }
            @for (before, after) in advice.seams_before.iter().zip(&advice.seams_after) {
                @for measurand in Measurand::BOTH {
                    tr {
                        td { (plan.seam(&before.seam).map_or(before.seam.0.as_str(), |seam| seam.title.as_str())) }
                        td { (words.measurand(measurand)) }
                        td { (range_words(plan, before, measurand)) }
                        td { (range_words(plan, after, measurand)) }
                    }
                }
            }
        }
        @if let Some(line) = other_aim_words(advice, texts) { p.muted { (line) } }
        p.muted { (texts.linear) " " (length_with_unit(advice.linear_error_mm, plan.units)) "." }
    }
}

/// "2.61 … 4.92 (12)": least, greatest, and how many are out.
pub(super) fn range_words(plan: &Plan, judged: &JudgedSeam, measurand: Measurand) -> String {
    let values = || judged.stations.iter().map(|station| station.value(measurand));
    let seen: Vec<f64> =
        values().filter_map(|value| value.measured.ok()).map(|estimate| estimate.value_mm).collect();
    if seen.is_empty() {
        return String::new();
    }
    let least_mm = seen.iter().copied().fold(f64::INFINITY, f64::min);
    let greatest_mm = seen.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let out = values().filter(|value| Verdict::is_out(value.verdict)).count();
    let show = |value_mm| super::strip_lane::length_or_signed(value_mm, measurand, plan.units);
    format!("{} … {} ({out})", show(least_mm), show(greatest_mm))
}
