//! `report.pdf` and `advice.pdf`: the content of the pages on paper, for the build file.
//!
//! In: [`Results`], how to present them, and the paper. Out: PDF 1.7 (ISO 32000-1) bytes with the built-in font embedded and
//! text that can be searched and copied. Units: the plan's on paper; points (1/72 inch) inside.
//! The same input gives the same bytes. Drawings are the pictures of the page, drawn with the light inks.
//! Is tagged: title, headings, words, tables and pictures with their descriptions are told apart and in reading order
//! (ISO 32000-1, 14.8); conformance with PDF/UA (ISO 14289-1) is not claimed, and was not checked.

mod advice_content;
mod canvas;
mod content;
mod document;
mod flow;
mod fonts;
mod tags;

pub use document::Paper;

use super::error::RenderError;
use super::page::ReportSettings;
use super::run_facts::Results;
use super::texts::Language;
use crate::advise::Advice;
use crate::plan::Plan;

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
    let sheets = flow.finish(&footer);
    Ok(document::document(&sheets, &fonts, paper, &results.plan.title, settings.language.code()))
}

/// An advice on paper; `input` names what it was made from.
///
/// # Errors
/// A seam of the advice is not in the plan.
pub fn advice_pdf(
    plan: &Plan,
    advice: &Advice,
    input: &str,
    language: Language,
    paper: Paper,
) -> Result<Vec<u8>, RenderError> {
    let fonts = fonts::Fonts::open()?;
    let mut flow = flow::Flow::new(paper, &fonts);
    advice_content::fill(&mut flow, plan, advice, input, language)?;
    let title = format!("{}: {}", plan.title, language.advice_texts().title);
    let sheets = flow.finish(&format!("{title} · shutline {}", env!("CARGO_PKG_VERSION")));
    Ok(document::document(&sheets, &fonts, paper, &title, language.code()))
}
