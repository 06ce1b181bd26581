//! `report.html`: one self-contained page for the phone in the shop, the laptop and the printer.
//!
//! In: [`Results`] and how to present them. Out: HTML text with its own font, styles and script; no network.
//! Units: the plan's on paper. Everything that came from a file is escaped (by `maud`, or by `svg::escape`).
//! Each part of the page is a file beside this one. Without JavaScript all pictures and tables are there; the script adds
//! the view in three dimensions, the sheet of a station, sorting and filter.
//! Does not measure, judge or sum up.

mod data;
mod extra;
mod head;
mod lineups;
mod list;
mod overview;
mod readings;
mod section_data;
mod sections;
mod space;
mod strips;
mod style;
mod tail;

pub use strips::strip_settings;
pub(super) use style::{font_and_inks, style_sheet};

use maud::{DOCTYPE, Markup, PreEscaped, html};

/// What the paper report takes over from the page.
pub(super) mod sheets {
    pub(in crate::render) use super::head::head_lines;
    pub(in crate::render) use super::list::{WorstWords, figures, sentence, tapers_out, worst_places};
    pub(in crate::render) use super::overview::views_picture;
    pub(in crate::render) use super::sections::section_pictures;
}

use super::blocks::ExtraSection;
use super::error::RenderError;
use super::run_facts::Results;
use super::texts::Language;
use nalgebra::Point3;

/// How the report is presented.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ReportSettings {
    pub language: Language,
    /// Thinned scan, evenly spread, Car frame, mm: backdrop of the flat views and the surface of the view in space.
    pub surface: Vec<Point3<f64>>,
    /// Sections of other stages, in this order, between the seams' sections and the table.
    pub extras: Vec<ExtraSection>,
}

/// Widths of the pictures for wide and narrow screens, picture units.
const WIDE: f64 = 680.0;
const NARROW: f64 = 340.0;

/// What the script does, one file for each task; put together in this order inside one function.
const SCRIPT: &str = concat!(
    "(() => {\n",
    include_str!("page/script/station.js"),
    include_str!("page/script/strips.js"),
    include_str!("page/script/section.js"),
    include_str!("page/script/sheet.js"),
    include_str!("page/script/table.js"),
    include_str!("page/script/turn.js"),
    include_str!("page/script/paint.js"),
    include_str!("page/script/space.js"),
    "})();\n"
);

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
                a class="skip" href="#seams" { (texts.seams_title) }
                (head::head(results, texts))
                main {
                    (list::counts(results, texts))
                    (overview::overview(results, settings))
                    (list::worst(results, &places, settings))
                    p class="caution" { (texts.caution) }
                    (space::space(texts))
                    (strips::strips(results, settings)?)
                    (lineups::lineups(results, settings)?)
                    (sections::sections(results, &places, settings)?)
                    (extra::extras(&settings.extras))
                    (readings::table(results, texts))
                }
                (tail::tail(results, settings.language))
                (space::sheet(texts))
                (data::data(results, settings))
                script { (PreEscaped(SCRIPT)) }
            }
        }
    };
    Ok(page.into_string())
}

/// The same drawing for wide and for narrow screens.
fn both_widths(wide: &str, narrow: &str) -> Markup {
    html! {
        div class="wide" { (PreEscaped(wide)) }
        div class="narrow" { (PreEscaped(narrow)) }
    }
}
