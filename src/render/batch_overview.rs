//! The overview of a batch as a table and as a page.
//!
//! In: a batch's overview, and the folder of each scan's results. Out: CSV text, one row a seam, quantity and scan; and a
//! self-contained HTML page: a heat table with seams down and scans across, lineups below, and a trend for each seam.
//! Units: the batch's (`_mm` or `_in`).
//! The colour of a cell is never its only sign: it carries the count of stations that are out, and which way.
//! Does not measure and does not judge.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::error::RenderError;
use super::format::{length, signed, unit_name};
use super::page::font_and_inks;
use super::svg::svg;
use super::texts::{BatchTexts, Language, Texts};
use super::trend_picture::trend_picture;
use crate::judge::Verdict;
use crate::summarise::{
    BatchCell, BatchLine, BatchOverview, Drift, LineupLine, LineupRow, Quantity, TaperRow,
};
use crate::units::LengthUnit;

const STYLE: &str = "body{font:15px/1.4 \"Barlow Semi Condensed\",system-ui,sans-serif;margin:0 auto;max-width:80rem;\
padding:1rem;background:var(--paper);color:var(--text)}h1{font-size:1.4rem;margin:0 0 .4rem}h2{font-size:1.15rem;\
margin-top:2rem}p{max-width:46rem;color:var(--muted)}a{color:inherit}\
table{border-collapse:separate;border-spacing:2px}th,td{padding:.3em .55em;text-align:right;white-space:nowrap;\
font-variant-numeric:tabular-nums}th{text-align:left;font-weight:600;vertical-align:bottom}td.words{text-align:left}\
thead th,thead td{border-bottom:1px solid var(--hair)}.good{background:var(--band);color:var(--muted)}\
.some,.many{font-weight:600;border-left:.35rem solid var(--above-slight)}.many{background:var(--above-clear);\
border-color:var(--above-clear);color:var(--paper)}.below.some{border-color:var(--below-slight)}\
.below.many{background:var(--below-clear);border-color:var(--below-clear)}\
.open{background:repeating-linear-gradient(45deg,var(--paper) 0 4px,var(--hair) 4px 6px)}.none{color:var(--muted)}\
.wrap{overflow-x:auto}svg{max-width:46rem;width:100%;height:auto;margin-top:.8rem;\
font-family:\"Barlow Semi Condensed\",system-ui,sans-serif}\
@media print{section{break-inside:avoid}td,th{-webkit-print-color-adjust:exact;print-color-adjust:exact}}";
/// Share of stations out from which a cell is drawn deep.
const MANY_OUT: f64 = 0.25;

/// The overview as CSV: header `seam,quantity,scan,stations,good,below,above,undecided,unseen,mean_mm,least_mm,most_mm`
/// (`_in` for inches). A row of the quantity `taper` counts one window, its change of the gap as mean, least and most, and `above` where that
/// is proved to be too much, whichever way it goes.
///
/// # Errors
/// The table could not be put together.
pub fn overview_csv(overview: &BatchOverview) -> Result<String, RenderError> {
    let unit = overview.units;
    let mut table = csv::Writer::from_writer(Vec::new());
    let start = ["seam", "quantity", "scan", "stations", "good", "below", "above", "undecided", "unseen"]
        .map(str::to_owned);
    let sized = ["mean", "least", "most"].map(|name| format!("{name}_{}", unit_name(unit)));
    table.write_record(start.into_iter().chain(sized))?;
    for line in &overview.lines {
        for (scan, cell) in overview.scans.iter().zip(&line.cells) {
            let Some(cell) = cell else { continue };
            table.write_record(csv_row((&line.seam, line.quantity.word(), &scan.name), cell, unit))?;
        }
        if line.quantity != Quantity::Flush {
            continue;
        }
        for (scan, row) in overview.scans.iter().zip(overview.tapers_of(&line.seam).unwrap_or_default()) {
            let Some(row) = row else { continue };
            table.write_record(csv_row((&line.seam, "taper", &scan.name), &row.cell(), unit))?;
        }
    }
    let bytes = table.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Seam, quantity and scan, then the counts and the lengths.
fn csv_row((seam, quantity, scan): (&str, &str, &str), cell: &BatchCell, unit: LengthUnit) -> Vec<String> {
    let decimals = if unit == LengthUnit::Inch { 6 } else { 4 };
    let counts = &cell.counts;
    let numbers = [counts.total(), counts.good, counts.below, counts.above, counts.undecided, counts.unseen];
    let lengths = [cell.mean_mm, cell.least_mm, cell.most_mm].map(|length| {
        length.map_or_else(String::new, |length_mm| format!("{:.decimals$}", length_mm / unit.mm()))
    });
    let start = [seam, quantity, scan].map(str::to_owned);
    start.into_iter().chain(numbers.map(|count| count.to_string())).chain(lengths).collect()
}

/// The overview as a page; `folder_of` gives the folder of a scan's results inside `scans/`.
#[must_use]
pub fn overview_html(
    overview: &BatchOverview,
    folder_of: &dyn Fn(&str) -> Option<String>,
    language: Language,
) -> String {
    let (words, texts) = (language.batch_texts(), language.texts());
    let unit = unit_name(overview.units);
    html! {
        (DOCTYPE)
        html lang=(language.code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (words.title) }
                style { (PreEscaped(font_and_inks())) (PreEscaped(STYLE)) }
            }
            body {
                h1 { (words.heading) }
                p { (words.cells.replace("{unit}", unit)) " " (words.drift_note) }
                div class="wrap" { table {
                    thead { tr {
                        th { (words.seam) } th { } th { (words.drift.replace("{unit}", unit)) }
                        (scan_heads(overview, folder_of))
                    } }
                    tbody { @for line in &overview.lines {
                        (line_row(line, overview.units, language))
                        @if line.quantity == Quantity::Flush && let Some(rows) = overview.tapers_of(&line.seam) {
                            (taper_row(&line.seam, &rows, overview.units, language))
                        }
                    } }
                } }
                (failures(overview, words))
                (lineups(overview, folder_of, language))
                (trends(overview, language, texts))
            }
        }
    }
    .into_string()
}

fn scan_heads(overview: &BatchOverview, folder_of: &dyn Fn(&str) -> Option<String>) -> Markup {
    html! {
        @for scan in &overview.scans {
            th scope="col" {
                @match folder_of(&scan.name) {
                    Some(folder) => a href={ "scans/" (folder) "/report.html" } { (scan.name) },
                    None => (scan.name),
                }
            }
        }
    }
}

/// A picture for each seam and quantity that two scans or more show.
fn trends(overview: &BatchOverview, language: Language, texts: &Texts) -> Markup {
    let words = language.batch_texts();
    let pictures: Vec<String> = overview
        .lines
        .iter()
        .filter_map(|line| trend_picture(overview, line, texts, words))
        .map(|picture| svg(&picture))
        .collect();
    html! {
        @if !pictures.is_empty() {
            h2 { (words.over_time) }
            p { (words.trend_note) }
            @for picture in &pictures { section { (PreEscaped(picture)) } }
        }
    }
}

pub(super) const fn quantity_word(quantity: Quantity, texts: &Texts) -> &'static str {
    match quantity {
        Quantity::Gap => texts.gap,
        Quantity::Flush => texts.flush,
    }
}

fn line_row(line: &BatchLine, unit: LengthUnit, language: Language) -> Markup {
    let decimals = if unit == LengthUnit::Inch { 4 } else { 3 };
    let sized = |drift: &Drift| {
        let [slope, expanded] = [drift.mm_per_day, drift.expanded_mm_per_day].map(|mm| mm / unit.mm());
        format!("{slope:+.decimals$} ± {expanded:.decimals$}").replace('-', "−")
    };
    html! {
        tr {
            th scope="row" { (line.seam) } td class="words" { (quantity_word(line.quantity, language.texts())) }
            td {
                @match &line.drift {
                    Some(drift) if drift.is_real() => b { (sized(drift)) },
                    Some(drift) => span class="none" { (sized(drift)) },
                    None => "",
                }
            }
            @for cell in &line.cells { (cell_box(cell.as_ref(), unit, language.batch_texts())) }
        }
    }
}

fn cell_box(cell: Option<&BatchCell>, unit: LengthUnit, words: &BatchTexts) -> Markup {
    let Some(cell) = cell else { return html! { td class="none" { (words.not_measured) } } };
    let (out, total) = (cell.counts.out(), cell.counts.total());
    let is_below = cell.counts.below > cell.counts.above;
    let class = if out as f64 >= MANY_OUT * total as f64 && out > 0 {
        "many"
    } else if out > 0 {
        "some"
    } else if cell.counts.is_all_good() {
        "good"
    } else {
        "open"
    };
    let sign = match (out, is_below) {
        (0, _) => "",
        (_, true) => "▼ ",
        (_, false) => "▲ ",
    };
    let side = if is_below { "below " } else { "" };
    let mean = cell.mean_mm.map_or_else(|| words.unseen.to_owned(), |mean_mm| length(mean_mm, unit));
    html! { td class={ (side) (class) } { (sign) (out) "/" (total) " · " (mean) } }
}

/// What a seam's taper is in each scan: the change of the gap, and whether it is proved to be too much.
fn taper_row(seam: &str, rows: &[Option<&TaperRow>], unit: LengthUnit, language: Language) -> Markup {
    let (words, texts) = (language.batch_texts(), language.texts());
    let cell = |row: &TaperRow| {
        let class = match row.verdict {
            Verdict::Good => "good",
            verdict if verdict.is_out() => "some",
            _ => "open",
        };
        let word = if row.verdict.is_out() { texts.out } else { texts.verdict(row.verdict) };
        let change = row.change_mm.map(|change_mm| format!(" · {}", length(change_mm, unit)));
        html! { td class=(class) { (word) (change.unwrap_or_default()) } }
    };
    html! {
        tr {
            th scope="row" { (seam) } td class="words" { (texts.taper) } td {}
            @for row in rows {
                @match row {
                    Some(row) => (cell(row)),
                    None => td class="none" { (words.not_measured) },
                }
            }
        }
    }
}

fn failures(overview: &BatchOverview, words: &BatchTexts) -> Markup {
    let failed: Vec<_> =
        overview.scans.iter().filter_map(|scan| Some((&scan.name, scan.readings.as_ref().err()?))).collect();
    html! {
        @if !failed.is_empty() {
            h2 { (words.failures) }
            ul { @for (name, reason) in failed { li { b { (name) } ": " (reason) } } }
        }
    }
}

/// What runs across seams, scan by scan.
fn lineups(
    overview: &BatchOverview,
    folder_of: &dyn Fn(&str) -> Option<String>,
    language: Language,
) -> Markup {
    let (words, texts) = (language.batch_texts(), language.texts());
    html! {
        @if !overview.lineups.is_empty() {
            h2 { (texts.lineups) }
            p { (texts.lineups_note) " " (words.lineups_note.replace("{unit}", unit_name(overview.units))) }
            div class="wrap" { table {
                thead { tr { th { (words.lineup) } th { } (scan_heads(overview, folder_of)) } }
                tbody { @for line in &overview.lineups { (lineup_row(line, overview.units, language)) } }
            } }
        }
    }
}

fn lineup_row(line: &LineupLine, unit: LengthUnit, language: Language) -> Markup {
    let (words, texts) = (language.batch_texts(), language.texts());
    let bar = line.of.bar.parse::<usize>().ok().map(|bar| format!(" {} {}", words.bar, bar + 1));
    html! {
        tr {
            th scope="row" { (line.of.lineup) (bar.unwrap_or_default()) }
            td class="words" {
                (texts.lineup_quantity(&line.of.quantity)) @if !line.of.panel.is_empty() { ", " (line.of.panel) }
            }
            @for cell in &line.cells { (lineup_box(cell.as_ref(), unit, language)) }
        }
    }
}

fn lineup_box(cell: Option<&LineupRow>, unit: LengthUnit, language: Language) -> Markup {
    let (words, texts) = (language.batch_texts(), language.texts());
    let Some(row) = cell else { return html! { td class="none" { (words.not_measured) } } };
    let Some(value_mm) = row.value_mm else { return html! { td class="open" { (words.unseen) } } };
    let is_signed = ["step", "step-finished", "shift", "pitch-difference"].contains(&row.quantity.as_str());
    let value = if is_signed { signed(value_mm, unit) } else { length(value_mm, unit) };
    let class = match row.verdict {
        Some(Verdict::Tight | Verdict::Low) => "below many",
        Some(Verdict::Wide | Verdict::High) => "many",
        Some(Verdict::Undecided) => "open",
        Some(Verdict::Good) => "good",
        Some(Verdict::Unseen) | None => "none",
    };
    let word = row.verdict.filter(|verdict| *verdict != Verdict::Good);
    html! { td class=(class) { (value) @if let Some(verdict) = word { " " (texts.verdict(verdict)) } } }
}
