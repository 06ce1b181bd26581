//! The overview of a batch as a table and as a page.
//!
//! In: a batch's overview, and the folder of each scan's results. Out: CSV text, one row a seam, quantity and scan; and a
//! self-contained HTML page with seams down and scans across. Units: mm.
//! The colour of a cell is never its only sign: it carries the count of stations that are out.
//! Does not measure and does not judge.

use maud::{DOCTYPE, Markup, html};

use super::error::RenderError;
use crate::summarise::{BatchCell, BatchLine, BatchOverview};

const STYLE: &str = "body{font:14px/1.4 sans-serif;margin:1em;color:#222}table{border-collapse:collapse}\
th,td{border:1px solid #ccc;padding:.25em .5em;text-align:right;white-space:nowrap}th{text-align:left;font-weight:600}\
.some{background:#f0b878}.many{background:#d9772e;color:#fff}.open{background:repeating-linear-gradient(45deg,#fff 0 \
4px,#ddd 4px 6px)}.none{color:#888}.wrap{overflow-x:auto}";
/// Share of stations out from which a cell is drawn deep.
const MANY_OUT: f64 = 0.25;

/// The overview as CSV: header `seam,quantity,scan,stations,good,below,above,undecided,unseen,mean_mm,least_mm,most_mm`.
///
/// # Errors
/// The table could not be put together.
pub fn overview_csv(overview: &BatchOverview) -> Result<String, RenderError> {
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record([
        "seam",
        "quantity",
        "scan",
        "stations",
        "good",
        "below",
        "above",
        "undecided",
        "unseen",
        "mean_mm",
        "least_mm",
        "most_mm",
    ])?;
    for line in &overview.lines {
        for (scan, cell) in overview.scans.iter().zip(&line.cells) {
            let Some(cell) = cell else { continue };
            let counts = &cell.counts;
            let numbers =
                [counts.total(), counts.good, counts.below, counts.above, counts.undecided, counts.unseen];
            let lengths = [cell.mean_mm, cell.least_mm, cell.most_mm]
                .map(|length| length.map_or_else(String::new, |length_mm| format!("{length_mm:.4}")));
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
    html! {
        (DOCTYPE)
        html lang="en" {
            head { meta charset="utf-8"; meta name="viewport" content="width=device-width"; title { "Batch" } style { (STYLE) } }
            body {
                h1 { "Seams and scans" }
                p { "Each cell: stations out of tolerance of all stations, and the mean in mm. Hatched: undecided or unseen \
                     stations and none out. Drift: change of the mean per day with its expanded uncertainty (95 %); in \
                     bold where it is more than that." }
                div class="wrap" { table {
                    tr {
                        th { "Seam" } th { "" } th { "Drift, mm a day" }
                        @for scan in &overview.scans { th { (scan_link(&scan.name, folder_of)) } }
                    }
                    @for line in &overview.lines { (line_row(line)) }
                } }
                (failures(overview))
            }
        }
    }
    .into_string()
}

fn scan_link(name: &str, folder_of: &dyn Fn(&str) -> Option<String>) -> Markup {
    html! {
        @match folder_of(name) {
            Some(folder) => a href={ "scans/" (folder) "/report.html" } { (name) },
            None => (name),
        }
    }
}

fn line_row(line: &BatchLine) -> Markup {
    html! {
        tr {
            th { (line.seam) } td { (line.quantity.word()) }
            td {
                @match &line.drift {
                    Some(drift) if drift.is_real() => b { (format!("{:+.3} ± {:.3}", drift.mm_per_day, drift.expanded_mm_per_day)) },
                    Some(drift) => (format!("{:+.3} ± {:.3}", drift.mm_per_day, drift.expanded_mm_per_day)),
                    None => "",
                }
            }
            @for cell in &line.cells { (cell_box(cell.as_ref())) }
        }
    }
}

fn cell_box(cell: Option<&BatchCell>) -> Markup {
    let Some(cell) = cell else { return html! { td class="none" { "not measured" } } };
    let (out, total) = (cell.counts.out(), cell.counts.total());
    let class = if out as f64 >= MANY_OUT * total as f64 && out > 0 {
        "many"
    } else if out > 0 {
        "some"
    } else if cell.counts.is_all_good() {
        "good"
    } else {
        "open"
    };
    let mean = cell.mean_mm.map_or_else(|| "unseen".to_owned(), |mean_mm| format!("{mean_mm:.2}"));
    html! { td class=(class) { (out) "/" (total) " · " (mean) } }
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
