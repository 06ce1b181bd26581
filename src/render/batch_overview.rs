//! The overview of a batch as a table and as a page.
//!
//! In: a batch's overview, and the folder of each scan's results. Out: CSV text, one row a seam, quantity and scan; and a
//! self-contained HTML page: a heat table with seams down and scans across, and a trend for each seam below. Units: the
//! batch's (`_mm` or `_in`).
//! The colour of a cell is never its only sign: it carries the count of stations that are out.
//! Does not measure and does not judge.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::error::RenderError;
use super::format::{length, unit_name};
use super::page::font_and_inks;
use super::svg::svg;
use super::trend_picture::trend_picture;
use crate::summarise::{BatchCell, BatchLine, BatchOverview, Drift};
use crate::units::LengthUnit;

const STYLE: &str = "body{font:14px/1.4 system-ui,sans-serif;margin:1em;background:var(--paper);color:var(--text)}\
table{border-collapse:collapse}th,td{border:1px solid var(--hair);padding:.25em .5em;text-align:right;\
white-space:nowrap}th{text-align:left;font-weight:600}.good{background:var(--band)}.some{background:var(--above-slight)}\
.many{background:var(--above-clear);color:var(--paper)}.below.some{background:var(--below-slight)}\
.below.many{background:var(--below-clear)}.open{background:repeating-linear-gradient(45deg,var(--paper) 0 4px,\
var(--hair) 4px 6px)}.none{color:var(--muted)}.wrap{overflow-x:auto}svg{max-width:46rem;width:100%;height:auto;\
margin-top:.8rem}h2{font-size:1.1rem;margin-top:2rem}@media print{section{break-inside:avoid}}";
/// Share of stations out from which a cell is drawn deep.
const MANY_OUT: f64 = 0.25;

/// The overview as CSV: header `seam,quantity,scan,stations,good,below,above,undecided,unseen,mean_mm,least_mm,most_mm`
/// (`_in` for inches).
///
/// # Errors
/// The table could not be put together.
pub fn overview_csv(overview: &BatchOverview) -> Result<String, RenderError> {
    let unit = overview.units;
    let decimals = if unit == LengthUnit::Inch { 6 } else { 4 };
    let mut table = csv::Writer::from_writer(Vec::new());
    let start = ["seam", "quantity", "scan", "stations", "good", "below", "above", "undecided", "unseen"]
        .map(str::to_owned);
    let sized = ["mean", "least", "most"].map(|name| format!("{name}_{}", unit_name(unit)));
    table.write_record(start.into_iter().chain(sized))?;
    for line in &overview.lines {
        for (scan, cell) in overview.scans.iter().zip(&line.cells) {
            let Some(cell) = cell else { continue };
            let counts = &cell.counts;
            let numbers =
                [counts.total(), counts.good, counts.below, counts.above, counts.undecided, counts.unseen];
            let lengths = [cell.mean_mm, cell.least_mm, cell.most_mm].map(|length| {
                let in_unit = |length_mm: f64| format!("{:.decimals$}", length_mm / unit.mm());
                length.map_or_else(String::new, in_unit)
            });
            let start = [line.seam.clone(), line.quantity.word().to_owned(), scan.name.clone()];
            table.write_record(
                start.into_iter().chain(numbers.map(|count| count.to_string())).chain(lengths),
            )?;
        }
    }
    let bytes = table.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// The overview as a page; `folder_of` gives the folder of a scan's results inside `scans/`.
#[must_use]
pub fn overview_html(overview: &BatchOverview, folder_of: &dyn Fn(&str) -> Option<String>) -> String {
    let unit = unit_name(overview.units);
    html! {
        (DOCTYPE)
        html lang="en" {
            head { meta charset="utf-8"; meta name="viewport" content="width=device-width"; title { "Batch" } style { (PreEscaped(font_and_inks())) (PreEscaped(STYLE)) } }
            body {
                h1 { "Seams and scans" }
                p { "Each cell: stations out of tolerance of all stations, and the mean in " (unit) ". Hatched: undecided or \
                     unseen stations and none out; purple: most of those out are below tolerance, orange: above. Drift: \
                     change of the mean per day with its expanded uncertainty (95 %); in bold where it is more than that." }
                div class="wrap" { table {
                    tr {
                        th { "Seam" } th { "" } th { "Drift, " (unit) " a day" }
                        @for scan in &overview.scans { th { (scan_link(&scan.name, folder_of)) } }
                    }
                    @for line in &overview.lines { (line_row(line, overview.units)) }
                } }
                (failures(overview))
                (trends(overview))
            }
        }
    }
    .into_string()
}

/// A picture for each seam and quantity that two scans or more show.
fn trends(overview: &BatchOverview) -> Markup {
    let pictures: Vec<String> = overview
        .lines
        .iter()
        .filter_map(|line| trend_picture(overview, line))
        .map(|picture| svg(&picture))
        .collect();
    html! {
        @if !pictures.is_empty() {
            h2 { "Over time" }
            p { "Dot: mean of the seam, hollow where stations are out; bar: least to greatest reading. Time is the date in \
                 the file's name, or that of the file." }
            @for picture in &pictures { section { (PreEscaped(picture)) } }
        }
    }
}

fn scan_link(name: &str, folder_of: &dyn Fn(&str) -> Option<String>) -> Markup {
    html! {
        @match folder_of(name) {
            Some(folder) => a href={ "scans/" (folder) "/report.html" } { (name) },
            None => (name),
        }
    }
}

fn line_row(line: &BatchLine, unit: LengthUnit) -> Markup {
    let decimals = if unit == LengthUnit::Inch { 4 } else { 3 };
    let sized = |drift: &Drift| {
        let [slope, expanded] = [drift.mm_per_day, drift.expanded_mm_per_day].map(|mm| mm / unit.mm());
        format!("{slope:+.decimals$} ± {expanded:.decimals$}")
    };
    html! {
        tr {
            th { (line.seam) } td { (line.quantity.word()) }
            td {
                @match &line.drift {
                    Some(drift) if drift.is_real() => b { (sized(drift)) },
                    Some(drift) => (sized(drift)),
                    None => "",
                }
            }
            @for cell in &line.cells { (cell_box(cell.as_ref(), unit)) }
        }
    }
}

fn cell_box(cell: Option<&BatchCell>, unit: LengthUnit) -> Markup {
    let Some(cell) = cell else { return html! { td class="none" { "not measured" } } };
    let (out, total) = (cell.counts.out(), cell.counts.total());
    let side = if cell.counts.below > cell.counts.above { "below " } else { "" };
    let class = if out as f64 >= MANY_OUT * total as f64 && out > 0 {
        "many"
    } else if out > 0 {
        "some"
    } else if cell.counts.is_all_good() {
        "good"
    } else {
        "open"
    };
    let mean = cell.mean_mm.map_or_else(|| "unseen".to_owned(), |mean_mm| length(mean_mm, unit));
    html! { td class={ (side) (class) } { (out) "/" (total) " · " (mean) } }
}

fn failures(overview: &BatchOverview) -> Markup {
    let failed: Vec<_> =
        overview.scans.iter().filter_map(|scan| Some((&scan.name, scan.readings.as_ref().err()?))).collect();
    html! {
        @if !failed.is_empty() {
            h2 { "Not measured" }
            ul { @for (name, reason) in failed { li { b { (name) } ": " (reason) } } }
        }
    }
}
