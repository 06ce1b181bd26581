//! `repeat.html`: a repeat study on one self-contained page, with control charts over cars.
//!
//! In: the plan and a [`RepeatStudy`]. Out: HTML without anything from outside the file. Units: the plan's.
//! Does not decide anything: limits of what is good enough are the plan maker's.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::batch_overview::quantity_word;
use super::control_picture::{ChartSubject, control_picture};
use super::format::unit_name;
use super::page::font_and_inks;
use super::svg::svg;
use super::texts::{Language, RepeatTexts};
use crate::plan::Plan;
use crate::summarise::{GaugeStudy, Quantity, QuantityStudy, RepeatStudy};

const STYLE: &str = "body{font:16px/1.45 \"Barlow Semi Condensed\",system-ui,sans-serif;margin:0 auto;max-width:62rem;padding:1rem;\
background:var(--paper);color:var(--text)}h1{font-size:1.4rem}h2{font-size:1.1rem;margin-top:2rem}\
table{border-collapse:collapse;width:100%}th,td{padding:.3rem .5rem;border-bottom:1px solid var(--hair);\
text-align:right;font-variant-numeric:tabular-nums}th:first-child,td:first-child{text-align:left}\
svg{width:100%;height:auto;margin-top:1rem;font-family:\"Barlow Semi Condensed\",system-ui,sans-serif}.note{color:var(--muted)}.wrap{overflow-x:auto}\
@media print{section{break-inside:avoid}}";

/// The page.
#[must_use]
pub fn repeat_page(plan: &Plan, study: &RepeatStudy, language: Language) -> String {
    let words = language.repeat_texts();
    html! {
        (DOCTYPE)
        html lang=(language.code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (plan.title) " – " (words.title) }
                style { (PreEscaped(font_and_inks())) (PreEscaped(STYLE)) }
            }
            body {
                h1 { (plan.title) ": " (words.heading) }
                p.note { (layout_words(plan, study, words)) }
                @if let Some(accuracy_mm) = study.accuracy_mm() {
                    p { (words.shared) " " b { (sized(Some(accuracy_mm), plan)) " " (unit_name(plan.units)) } ". "
                        (words.shared_use[0]) " " code { "[scan] accuracy" } ", " (words.shared_use[1]) }
                }
                div.wrap { (table(plan, study, language)) }
                p.note { (words.methods_note) }
                (charts(plan, study, language))
            }
        }
    }
    .into_string()
}

fn layout_words(plan: &Plan, study: &RepeatStudy, words: &RepeatTexts) -> String {
    let [cars, operators, repetitions] = study.layout.map(|count| count.to_string());
    words
        .layout
        .replace("{cars}", &cars)
        .replace("{operators}", &operators)
        .replace("{repetitions}", &repetitions)
        .replace("{unit}", unit_name(plan.units))
}

fn sized(value_mm: Option<f64>, plan: &Plan) -> String {
    let decimals = if plan.units == crate::units::LengthUnit::Inch { 5 } else { 4 };
    value_mm.map_or_else(|| "–".to_owned(), |value_mm| format!("{:.decimals$}", value_mm / plan.units.mm()))
}

fn table(plan: &Plan, study: &RepeatStudy, language: Language) -> Markup {
    let words = language.repeat_texts();
    let title = |id: &str| {
        plan.seams
            .iter()
            .find(|seam| seam.id.0 == id)
            .map_or_else(|| id.to_owned(), |seam| seam.title.clone())
    };
    let seams = study.seams.iter().flat_map(|seam| seam.studies.iter().map(|one| (title(&seam.seam), one)));
    let all = study.overall.iter().map(|one| (words.all_seams.to_owned(), one));
    html! {
        table {
            tr {
                th { (words.columns[0]) } th { "" } @for column in &words.columns[1..] { th { (column) } }
                th { "ndc" }
            }
            @for (name, one) in seams.chain(all) {
                @let quantity = quantity_word(one.quantity, language.texts());
                (row(plan, [&name, quantity, words.methods[0]], one, &one.by_variance))
                (row(plan, ["", "", words.methods[1]], one, &one.by_range))
            }
        }
    }
}

fn row(plan: &Plan, head: [&str; 3], study: &QuantityStudy, gauge: &GaugeStudy) -> Markup {
    let optional = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |value| format!("{value:.1}"));
    let share =
        study.tolerance_width_mm.and_then(|width_mm| GaugeStudy::percent_of_tolerance(gauge.gauge, width_mm));
    let categories =
        gauge.distinct_categories().map_or_else(|| "–".to_owned(), |count| format!("{:.0}", count.floor()));
    html! {
        tr {
            @for one in head { td { (one) } }
            td { (sized(Some(gauge.repeatability), plan)) } td { (sized(gauge.reproducibility, plan)) }
            td { (sized(Some(gauge.gauge), plan)) } td { (optional(gauge.percent_of_study(gauge.gauge))) }
            td { (optional(share)) } td { (categories) }
        }
    }
}

fn charts(plan: &Plan, study: &RepeatStudy, language: Language) -> Markup {
    let words = language.repeat_texts();
    let has_charts = study.seams.iter().flat_map(|seam| &seam.studies).any(|one| one.chart.is_some());
    html! {
        h2 { (words.charts) }
        @if has_charts {
            p.note { (words.charts_note) }
            @for seam in &study.seams {
                @for one in &seam.studies { (chart(plan, study, (&seam.seam, one), language)) }
            }
        } @else {
            p { (words.charts_need) }
        }
    }
}

fn chart(plan: &Plan, study: &RepeatStudy, (id, one): (&str, &QuantityStudy), language: Language) -> Markup {
    let Some(chart) = &one.chart else { return html! {} };
    let seam = plan.seams.iter().find(|seam| seam.id.0 == id);
    let tolerance = one.tolerance_width_mm.and(seam).map(|seam| match one.quantity {
        Quantity::Gap => seam.gap.tolerance,
        Quantity::Flush => seam.flush.tolerance,
    });
    let subject = ChartSubject {
        title: seam.map_or(id, |seam| seam.title.as_str()),
        quantity: quantity_word(one.quantity, language.texts()),
        words: language.repeat_texts(),
        names: &study.cars,
        tolerance_mm: tolerance.map(|limits| [limits.lower_mm(), limits.upper_mm()]),
        unit: plan.units,
    };
    html! {
        section {
            (PreEscaped(svg(&control_picture(chart, &subject))))
            @if let Some(found) = &one.capability {
                p { "Cp " (format!("{:.2}", found.cp)) " · Cpk " (format!("{:.2}", found.cpk)) " · Pp "
                    (format!("{:.2}", found.pp)) " · Ppk " (format!("{:.2}", found.ppk)) }
            }
        }
    }
}
