//! Sections at the worst places.

use maud::{Markup, html};

use super::list::WorstPlace;
use super::{NARROW, ReportSettings, WIDE, both_widths};
use crate::render::error::RenderError;
use crate::render::picture::Picture;
use crate::render::run_facts::Results;
use crate::render::section::{SectionSettings, section_picture};
use crate::render::svg::svg;

/// Most sections shown, worst first.
const SECTION_COUNT: usize = 6;
/// Half of what a section shows on a wide and on a narrow sheet, mm.
const REACHES_MM: [f64; 2] = [22.0, 11.0];

/// Drawings of the worst places, each station once, for a wide (0) or a narrow (1) sheet.
pub(in crate::render) fn section_pictures(
    results: &Results<'_>,
    places: &[WorstPlace<'_>],
    settings: &ReportSettings,
    which: usize,
) -> Result<Vec<Picture>, RenderError> {
    let mut shown: Vec<(&str, usize)> = Vec::new();
    for place in places {
        let key = (place.judged.seam.0.as_str(), place.place.station_index);
        if !shown.contains(&key) && shown.len() < SECTION_COUNT {
            shown.push(key);
        }
    }
    let settings = SectionSettings {
        width: [WIDE, NARROW][which],
        reach_mm: REACHES_MM[which],
        language: settings.language,
        ..SectionSettings::default()
    };
    shown
        .into_iter()
        .filter_map(|(id, station)| {
            Some((results.judged.iter().find(|judged| judged.seam.0 == id)?, station))
        })
        .map(|(judged, station)| section_picture(results.plan, judged, station, &settings))
        .collect()
}

pub(super) fn sections(
    results: &Results<'_>,
    places: &[WorstPlace<'_>],
    settings: &ReportSettings,
) -> Result<Markup, RenderError> {
    let wide = section_pictures(results, places, settings, 0)?;
    let narrow = section_pictures(results, places, settings, 1)?;
    Ok(html! {
        @if !wide.is_empty() {
            h2 { (settings.language.texts().sections) }
            div class="pairs" {
                @for (wide, narrow) in wide.iter().zip(&narrow) { figure { (both_widths(&svg(wide), &svg(narrow))) } }
            }
        }
    })
}
