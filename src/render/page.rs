//! `report.html`: one self-contained page for the phone in the shop, the laptop and the printer.
//!
//! In: [`Results`] and how to present them. Out: HTML text with its own font, styles and script; no network.
//! Units: the plan's on paper. Everything that came from a file is escaped (by `maud`, or by `svg::escape`).
//! Does not measure, judge or sum up.

mod list;
mod readings;
mod style;
mod tail;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::car_axes::{flat_views, seam_ends};
use super::error::RenderError;
use super::ink::Ink;
use super::overview::{Backdrop, overview_picture, overview_seams};
use super::run_facts::Results;
use super::section::{SectionSettings, section_picture};
use super::strip::{StripSettings, strip_picture};
use super::svg::svg;
use super::texts::{Language, Texts};
use crate::judge::{JudgedSeam, Measurand};
use crate::plan::JudgedState;
use nalgebra::Point3;

/// How the report is presented.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ReportSettings {
    pub language: Language,
    /// Thinned scan points, Car frame, mm, as backdrop of the views; a few thousand are enough.
    pub backdrop: Vec<Point3<f64>>,
}

/// Widths of the pictures for wide and narrow screens, picture units.
const WIDE: f64 = 680.0;
const NARROW: f64 = 340.0;
/// Most sections shown, worst first.
const SECTION_COUNT: usize = 6;
/// Most backdrop points drawn in each view.
const BACKDROP_COUNT: usize = 4000;

/// The report.
///
/// # Errors
/// A judged seam is not in the plan.
pub fn report_html(results: &Results<'_>, settings: &ReportSettings) -> Result<String, RenderError> {
    let texts = settings.language.texts();
    let places = list::worst_places(results);
    let page = html! {
        (DOCTYPE)
        html lang=(settings.language.code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (results.plan.title) }
                style { (PreEscaped(style::style_sheet())) }
            }
            body {
                a class="skip" href="#seams" { (texts.seams) }
                (head(results, texts))
                main {
                    (list::counts(results, texts))
                    (overview(results, settings))
                    (list::worst(results, &places, settings))
                    p class="caution" { (texts.caution) }
                    (strips(results, settings)?)
                    (sections(results, &places, settings)?)
                    (readings::table(results, texts))
                    div id="tip" role="status" aria-live="polite" {}
                }
                (tail::tail(results, texts))
                script { (PreEscaped(include_str!("page.js"))) }
            }
        }
    };
    Ok(page.into_string())
}

fn head(results: &Results<'_>, texts: &Texts) -> Markup {
    let run = results.run;
    html! {
        header {
            h1 { (results.plan.title) }
            p class="muted" {
                @if let Some(time) = &run.measured_at { (time) " · " }
                @for input in run.inputs.iter().filter(|input| input.role == "scan") { (input.name) " · " }
                (results.judged.len()) " " (texts.seams) ", "
                (results.summary.seams.iter().map(|seam| seam.station_count).sum::<usize>()) " " (texts.stations)
            }
            p class="muted" { (texts.uncertainty_note) }
            @if results.plan.finish.is_to_come() { p { (page_state(results, texts)) } }
        }
    }
}

/// Which state of the car the page judges.
fn page_state(results: &Results<'_>, texts: &Texts) -> String {
    let words = match results.plan.finish.judge {
        JudgedState::AsScanned => texts.page_scanned,
        JudgedState::Finished => texts.page_finished,
    };
    words.to_owned()
}

/// The same drawing for wide and for narrow screens; the narrow one is hidden from reading aloud.
fn both_widths(wide: &str, narrow: &str) -> Markup {
    html! {
        div class="wide" { (PreEscaped(wide)) }
        div class="narrow" { (PreEscaped(narrow)) }
    }
}

fn overview(results: &Results<'_>, settings: &ReportSettings) -> Markup {
    let texts = settings.language.texts();
    let seams = overview_seams(results.plan, results.judged);
    let step = settings.backdrop.len().div_ceil(BACKDROP_COUNT).max(1);
    let points: Vec<Point3<f64>> = settings.backdrop.iter().step_by(step).copied().collect();
    let backdrop = [Backdrop { points, ink: Ink::Hair }];
    let views = flat_views(results.plan.axes(), texts);
    let [wide, narrow] = [WIDE, NARROW]
        .map(|width| svg(&overview_picture(&seams, &backdrop, &views, width, &results.plan.title)));
    html! {
        figure {
            (both_widths(&wide, &narrow))
            figcaption class="muted" { (texts.legend) }
        }
        (list::seam_list(results, texts))
    }
}

fn strips(results: &Results<'_>, settings: &ReportSettings) -> Result<Markup, RenderError> {
    let texts = settings.language.texts();
    let mut pictures = Vec::new();
    for judged in results.judged {
        let [wide, narrow] = [WIDE, NARROW].map(|width| strip(results, judged, settings, width));
        pictures.push((judged.seam.0.as_str(), svg(&wide?), svg(&narrow?)));
    }
    Ok(html! {
        h2 id="seams" { (texts.seams) }
        @for (id, wide, narrow) in &pictures {
            figure id={ "seam-" (id) } { (both_widths(wide, narrow)) }
        }
    })
}

fn strip(
    results: &Results<'_>,
    judged: &JudgedSeam,
    settings: &ReportSettings,
    width: f64,
) -> Result<super::picture::Picture, RenderError> {
    let texts = settings.language.texts();
    let ends = results
        .plan
        .seam(&judged.seam)
        .map(|seam| seam_ends(&seam.curve, results.plan.axes(), texts))
        .unwrap_or_default();
    let settings = StripSettings {
        width,
        language: settings.language,
        ends,
        lane_mm: common_lanes_mm(results.judged),
        ..StripSettings::default()
    };
    strip_picture(results.plan, judged, &settings)
}

/// Heights of the lanes that fit every seam about the middle of its tolerance, so that all strips share one scale.
fn common_lanes_mm(judged: &[JudgedSeam]) -> [Option<f64>; 2] {
    Measurand::BOTH.map(|measurand| {
        judged.iter().map(|seam| lane_mm(seam, measurand)).reduce(f64::max).filter(|range_mm| *range_mm > 0.0)
    })
}

/// Twice the furthest distance of a limit or a ±U end from the middle of the seam's tolerances.
fn lane_mm(seam: &JudgedSeam, measurand: Measurand) -> f64 {
    let limits = |pick: fn(f64, f64) -> f64, start: f64, upper: bool| {
        seam.stations.iter().fold(start, |best, station| {
            let tolerance = station.value(measurand).tolerance;
            pick(best, if upper { tolerance.upper_mm() } else { tolerance.lower_mm() })
        })
    };
    let (low_mm, high_mm) =
        (limits(f64::min, f64::INFINITY, false), limits(f64::max, f64::NEG_INFINITY, true));
    let middle_mm = (low_mm + high_mm) / 2.0;
    let furthest_mm = seam
        .stations
        .iter()
        .filter_map(|station| station.value(measurand).measured.ok())
        .map(|seen| (seen.value_mm - middle_mm).abs() + 2.0 * seen.u_mm)
        .fold(high_mm - middle_mm, f64::max);
    2.0 * furthest_mm
}

fn sections(
    results: &Results<'_>,
    places: &[list::WorstPlace<'_>],
    settings: &ReportSettings,
) -> Result<Markup, RenderError> {
    let mut shown: Vec<(&str, usize)> = Vec::new();
    let mut pictures = Vec::new();
    for place in places {
        let key = (place.judged.seam.0.as_str(), place.place.station_index);
        if shown.contains(&key) || shown.len() == SECTION_COUNT {
            continue;
        }
        shown.push(key);
        let [wide, narrow] = [(WIDE, 22.0), (NARROW, 11.0)].map(|(width, reach_mm)| {
            let settings = SectionSettings {
                width,
                reach_mm,
                language: settings.language,
                ..SectionSettings::default()
            };
            section_picture(results.plan, place.judged, key.1, &settings)
        });
        pictures.push((svg(&wide?), svg(&narrow?)));
    }
    Ok(html! {
        @if !pictures.is_empty() {
            h2 { (settings.language.texts().sections) }
            @for (wide, narrow) in &pictures { figure { (both_widths(wide, narrow)) } }
        }
    })
}
