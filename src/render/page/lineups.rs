//! What runs across seams: a picture and a row of values for each lineup, and left against right.

use maud::{Markup, html};

use super::{NARROW, WIDE, both_widths};
use crate::render::error::RenderError;
use crate::render::lineup_picture::lineup_picture;
use crate::render::lineup_table::lineup_table;
use crate::render::page::ReportSettings;
use crate::render::run_facts::Results;
use crate::render::strip::StripSettings;
use crate::render::svg::svg;
use crate::render::texts::Language;

pub(super) fn lineups(results: &Results<'_>, settings: &ReportSettings) -> Result<Markup, RenderError> {
    let texts = settings.language.texts();
    let mut pictures = Vec::new();
    for judged in results.lineups {
        let [wide, narrow] = [WIDE, NARROW].map(|width| {
            let settings = StripSettings { width, language: settings.language, ..StripSettings::default() };
            lineup_picture(results.plan, judged, &settings)
        });
        pictures.push((svg(&wide?), svg(&narrow?)));
    }
    Ok(html! {
        @if !pictures.is_empty() {
            h2 { (texts.lineups) }
            p class="muted" { (texts.lineups_note) }
            @for (wide, narrow) in &pictures {
                figure { (both_widths(wide, narrow)) }
            }
            (table(results, settings.language))
        }
    })
}

fn table(results: &Results<'_>, language: Language) -> Markup {
    let (head, rows) = lineup_table(results, language);
    html! {
        div class="scroll" { table {
            thead { tr { @for cell in &head { th class="words" { (cell) } } } }
            tbody { @for row in &rows { tr { @for cell in row { td class="words" { (cell) } } } } }
        } }
    }
}
