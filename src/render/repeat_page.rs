//! `repeat.html`: a repeat study on one self-contained page, with control charts over cars.
//!
//! In: the plan and a [`RepeatStudy`]. Out: HTML without anything from outside the file. Units: the plan's.
//! Does not decide anything: limits of what is good enough are the plan maker's.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::control_picture::{ChartSubject, control_picture};
use super::format::unit_name;
use super::page::font_and_inks;
use super::svg::svg;
use crate::plan::Plan;
use crate::summarise::{GaugeStudy, Quantity, QuantityStudy, RepeatStudy};

const STYLE: &str = "body{font:16px/1.45 system-ui,sans-serif;margin:0 auto;max-width:62rem;padding:1rem;\
background:var(--paper);color:var(--text)}h1{font-size:1.4rem}h2{font-size:1.1rem;margin-top:2rem}\
table{border-collapse:collapse;width:100%}th,td{padding:.3rem .5rem;border-bottom:1px solid var(--hair);\
text-align:right;font-variant-numeric:tabular-nums}th:first-child,td:first-child{text-align:left}\
svg{width:100%;height:auto;margin-top:1rem}.note{color:var(--muted)}.wrap{overflow-x:auto}\
@media print{section{break-inside:avoid}}";

/// The page.
#[must_use]
pub fn repeat_page(plan: &Plan, study: &RepeatStudy) -> String {
    let [cars, operators, repetitions] = study.layout;
    let unit = plan.units;
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (plan.title) " – repeat study" }
                style { (PreEscaped(font_and_inks())) (PreEscaped(STYLE)) }
            }
            body {
                h1 { (plan.title) ": how far readings scatter" }
                p.note { (cars) " cars · " (operators) " operators · " (repetitions) " scans of each · standard deviations in "
                    (unit_name(unit)) }
                @if let Some(accuracy_mm) = study.accuracy_mm() {
                    p { "What all gaps of a scan share: " b { (sized(Some(accuracy_mm), plan)) " " (unit_name(unit)) }
                        ". It can stand in the plan as " code { "[scan] accuracy" }
                        " if this study is like the daily work; it holds no error that every scan makes alike." }
                }
                div.wrap { (table(plan, study)) }
                p.note {
                    "variance: analysis of variance, the interaction pooled where it is not significant at 5 %; range: \
                     average and range. The two differ on the same data (Measurement Systems Analysis, 4th ed., 2010, \
                     chapter III-B). % tol: six gauge standard deviations over the width of the tolerance."
                }
                (charts(plan, study))
            }
        }
    }
    .into_string()
}

fn sized(value_mm: Option<f64>, plan: &Plan) -> String {
    let decimals = if plan.units == crate::units::LengthUnit::Inch { 5 } else { 4 };
    value_mm.map_or_else(|| "–".to_owned(), |value_mm| format!("{:.decimals$}", value_mm / plan.units.mm()))
}

fn table(plan: &Plan, study: &RepeatStudy) -> Markup {
    let title = |id: &str| {
        plan.seams
            .iter()
            .find(|seam| seam.id.0 == id)
            .map_or_else(|| id.to_owned(), |seam| seam.title.clone())
    };
    let seams = study.seams.iter().flat_map(|seam| seam.studies.iter().map(|one| (title(&seam.seam), one)));
    let all = study.overall.iter().map(|one| ("All seams".to_owned(), one));
    html! {
        table {
            tr {
                th { "Seam" } th { "" } th { "Method" } th { "Repeatability" } th { "Reproducibility" } th { "Gauge" }
                th { "% study" } th { "% tol" } th { "Categories" }
            }
            @for (name, one) in seams.chain(all) {
                (row(plan, &name, one, "variance", &one.by_variance))
                (row(plan, "", one, "range", &one.by_range))
            }
        }
    }
}

fn row(plan: &Plan, name: &str, study: &QuantityStudy, method: &str, gauge: &GaugeStudy) -> Markup {
    let optional = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |value| format!("{value:.1}"));
    let share =
        study.tolerance_width_mm.and_then(|width_mm| GaugeStudy::percent_of_tolerance(gauge.gauge, width_mm));
    let categories =
        gauge.distinct_categories().map_or_else(|| "–".to_owned(), |count| format!("{:.0}", count.floor()));
    html! {
        tr {
            td { (name) } td { (if name.is_empty() { "" } else { study.quantity.word() }) } td { (method) }
            td { (sized(Some(gauge.repeatability), plan)) } td { (sized(gauge.reproducibility, plan)) }
            td { (sized(Some(gauge.gauge), plan)) } td { (optional(gauge.percent_of_study(gauge.gauge))) }
            td { (optional(share)) } td { (categories) }
        }
    }
}

fn charts(plan: &Plan, study: &RepeatStudy) -> Markup {
    let has_charts = study.seams.iter().flat_map(|seam| &seam.studies).any(|one| one.chart.is_some());
    html! {
        h2 { "From car to car" }
        @if has_charts {
            p.note {
                "Seam means of each car, cars in order of name. Dashed: control limits at three standard deviations, from \
                 the ranges between neighbours (ISO 7870-2; constants worked out from their definition). Solid, shaded: \
                 the tolerance. Cp and Cpk with the spread between neighbours, Pp and Ppk with that of all cars (ISO 22514-2); \
                 with few cars they are rough."
            }
            @for seam in &study.seams {
                @for one in &seam.studies { (chart(plan, study, &seam.seam, one)) }
            }
        } @else {
            p { "Control charts need three cars or more." }
        }
    }
}

fn chart(plan: &Plan, study: &RepeatStudy, id: &str, one: &QuantityStudy) -> Markup {
    let Some(chart) = &one.chart else { return html! {} };
    let seam = plan.seams.iter().find(|seam| seam.id.0 == id);
    let tolerance = one.tolerance_width_mm.and(seam).map(|seam| match one.quantity {
        Quantity::Gap => seam.gap.tolerance,
        Quantity::Flush => seam.flush.tolerance,
    });
    let subject = ChartSubject {
        title: seam.map_or(id, |seam| seam.title.as_str()),
        quantity: one.quantity,
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
