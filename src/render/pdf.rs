//! `report.pdf`: the content of the page on paper, for the build file.
//!
//! In: [`Results`], how to present them, and the paper. Out: PDF 1.7 (ISO 32000-1) bytes with the built-in font embedded and
//! text that can be searched and copied. Units: the plan's on paper; points (1/72 inch) inside.
//! The same input gives the same bytes. Drawings are the pictures of the page, drawn with the light inks.
//! Is not tagged: people who read by ear are better served by the page.

mod canvas;
mod content;
mod document;
mod flow;
mod fonts;

pub use document::Paper;

use super::error::RenderError;
use super::page::ReportSettings;
use super::run_facts::Results;

/// The report on paper.
///
/// # Errors
/// A judged seam is not in the plan.
pub fn report_pdf(
    results: &Results<'_>,
    settings: &ReportSettings,
    paper: Paper,
) -> Result<Vec<u8>, RenderError> {
    let fonts = fonts::Fonts::open()?;
    let mut flow = flow::Flow::new(paper, &fonts);
    content::fill(&mut flow, results, settings)?;
    let footer = format!("{} · shutline {}", results.plan.title, results.run.program_version);
    let pages = flow.finish(&footer);
    Ok(document::document(&pages, &fonts, paper, &results.plan.title, settings.language.code()))
}
