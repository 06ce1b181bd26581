//! What runs across seams: a picture and a row of values for each lineup, and left against right.

use maud::{Markup, html};

use super::{NARROW, WIDE, both_widths};
use crate::lineup::mirror_difference;
use crate::render::error::RenderError;
use crate::render::format::{length, signed, unit_name};
use crate::render::lineup_picture::{lineup_picture, lineup_value_words};
use crate::render::lineups_csv::rows;
use crate::render::page::ReportSettings;
use crate::render::run_facts::Results;
use crate::render::strip::StripSettings;
use crate::render::svg::svg;
use crate::render::texts::Texts;

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
            (table(results, texts))
        }
    })
}

fn table(results: &Results<'_>, texts: &Texts) -> Markup {
    let unit = results.plan.units;
    html! {
        div class="scroll" { table {
            thead { tr {
                th class="words" { (texts.lineups) } th class="words" { } th class="words" { (texts.panel) }
                th class="words" { (unit_name(unit)) }
            } }
            tbody {
                @for judged in results.lineups {
                    @if let Some(lineup) = results.plan.lineups.iter().find(|lineup| lineup.id == judged.reading.id) {
                        @for row in rows(results.plan, lineup, judged) { tr {
                            td class="words" { (lineup.title) @if let Some(bar) = row.bar { " " (bar + 1) } }
                            td class="words" { (texts.lineup_quantity(row.quantity)) }
                            td class="words" { (row.panel) }
                            td class="words" { (lineup_value_words(row.value, row.verdict, results.plan, texts)) }
                        } }
                        @if let Some(mirror) = results.lineups.iter().find(|other| Some(&other.reading.id) == lineup.mirror.as_ref()) {
                            @let against = mirror_difference(&judged.reading, &mirror.reading);
                            @for (name, value) in [(texts.step, &against.step), (texts.pitch, &against.pitch[0]), (texts.pitch, &against.pitch[1])] {
                                @if let Some(value) = value { tr {
                                    td class="words" { (lineup.title) " − " (mirror.reading.id) }
                                    td class="words" { (name) } td {}
                                    td class="words" { (signed(value.value_mm, unit)) " ±" (length(2.0 * value.u_mm, unit)) }
                                } }
                            }
                        }
                    }
                }
            }
        } }
    }
}
