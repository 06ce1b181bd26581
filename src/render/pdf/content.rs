//! What stands on the sheets, in the order of the page.

use super::flow::{Flow, Run};
use crate::judge::{JudgedValue, Measurand, expanded_u_mm};
use crate::plan::Plan;
use crate::render::closing::closing;
use crate::render::error::RenderError;
use crate::render::format::{along, length, unit_name};
use crate::render::ink::{Ink, mark, severity};
use crate::render::lineup_picture::lineup_picture;
use crate::render::lineup_table::lineup_table;
use crate::render::page::{self, ReportSettings, sheets};
use crate::render::picture::{Anchor, Picture, Stroke, Weight};
use crate::render::run_facts::Results;
use crate::render::seam_notes::seam_notes;
use crate::render::strip::{StripSettings, strip_picture};
use crate::render::strip_lane::value_words;
use crate::render::texts::Texts;

/// Most places told in words.
const PLACE_COUNT: usize = 5;
/// Room that a heading keeps free below it for a picture.
const PICTURE_ROOM: f64 = 240.0;

pub(super) fn fill(
    flow: &mut Flow<'_>,
    results: &Results<'_>,
    settings: &ReportSettings,
) -> Result<(), RenderError> {
    let texts = settings.language.texts();
    flow.title(&results.plan.title);
    for line in sheets::head_lines(results, texts) {
        flow.words(&line, Ink::Muted);
    }
    flow.skip(8.0);
    flow.picture(&counts(results, texts));
    flow.picture(&sheets::views_picture(results, settings, 0));
    flow.words(texts.legend, Ink::Muted);
    worst(flow, results, settings);
    flow.caution(texts.caution);
    flow.heading(texts.seams_title, PICTURE_ROOM);
    let strips = page::strip_settings(results.plan, results.judged, settings.language);
    for (judged, strip) in results.judged.iter().zip(&strips) {
        flow.picture(&strip_picture(results.plan, judged, strip)?);
        for note in seam_notes(results, judged, settings.language) {
            let weight = if note.is_out { Weight::Bold } else { Weight::Regular };
            flow.runs(&[(weight, note.words)], Ink::Text, 0.0);
        }
        flow.skip(4.0);
    }
    lineups(flow, results, settings)?;
    let places = sheets::worst_places(results);
    let sections = sheets::section_pictures(results, &places, settings, 0)?;
    if !sections.is_empty() {
        flow.heading(texts.sections, PICTURE_ROOM);
        sections.iter().for_each(|section| flow.picture(section));
    }
    for extra in &settings.extras {
        flow.heading(&extra.title, 60.0);
        extra.blocks.iter().for_each(|block| flow.block(block));
    }
    flow.heading(texts.readings, 60.0);
    readings(flow, results, texts);
    for section in closing(results, settings.language) {
        flow.heading(&section.title, 40.0);
        section.blocks.iter().for_each(|block| flow.block(block));
    }
    Ok(())
}

/// What runs across seams: a picture each, and all values.
fn lineups(flow: &mut Flow<'_>, results: &Results<'_>, settings: &ReportSettings) -> Result<(), RenderError> {
    if results.lineups.is_empty() {
        return Ok(());
    }
    let texts = settings.language.texts();
    flow.heading(texts.lineups, PICTURE_ROOM);
    flow.words(texts.lineups_note, Ink::Muted);
    let strip = StripSettings { language: settings.language, ..StripSettings::default() };
    for judged in results.lineups {
        flow.picture(&lineup_picture(results.plan, judged, &strip)?);
    }
    let (head, rows) = lineup_table(results, settings.language);
    let rows: Vec<Vec<String>> = rows.into_iter().map(Vec::from).collect();
    flow.table(&head, &rows, None);
    Ok(())
}

/// Good, out, undecided and unseen as figures under a bar in their signs.
fn counts(results: &Results<'_>, texts: &'static Texts) -> Picture {
    let figures = sheets::figures(results, texts);
    let words = figures.each_ref().map(|figure| match figure.tapers.as_str() {
        "" => format!("{} {}", figure.count, figure.name),
        tapers => format!("{} {} ({tapers})", figure.count, figure.name),
    });
    let mut picture = Picture::new(680.0, 78.0, words.join(", "));
    for (index, figure) in figures.into_iter().enumerate() {
        let area = crate::render::picture::Area::new(172.0 * index as f64, 0.0, 164.0, 6.0);
        let half = |left: f64| crate::render::picture::Area::new(left, 0.0, 82.0, 6.0);
        match index {
            0 => picture.rect(area, Ink::Good),
            1 => {
                picture.rect(half(area.x), Ink::Below(crate::render::ink::Severity::Clear));
                picture.rect(half(area.x + 82.0), Ink::Above(crate::render::ink::Severity::Clear));
            }
            2 => picture.hatch(area),
            _ => picture.line(
                [area.x, 3.0],
                [area.right(), 3.0],
                Stroke::new(Ink::Unseen, 3.0).dashed(3.0, 5.0),
            ),
        }
        picture.bold([area.x, 36.0], 28.0, Anchor::Start, Ink::Text, figure.count.to_string());
        picture.text([area.x, 53.0], 13.0, Anchor::Start, Ink::Text, figure.name);
        picture.text([area.x, 68.0], 11.0, Anchor::Start, Ink::Muted, figure.tapers);
    }
    picture
}

fn worst(flow: &mut Flow<'_>, results: &Results<'_>, settings: &ReportSettings) {
    let texts = settings.language.texts();
    let (places, tapers) = (sheets::worst_places(results), sheets::tapers_out(results, texts));
    flow.heading(texts.worst_places, 40.0);
    if places.is_empty() && tapers.is_empty() {
        let is_good = results.summary.is_all_good();
        flow.words(if is_good { texts.all_good } else { texts.nothing_out }, Ink::Text);
    }
    for place in places.iter().take(PLACE_COUNT) {
        let words = sheets::sentence(results, place, settings);
        let ink = Ink::of_verdict(place.place.verdict, severity(place.place.value_mm, &place.tolerance()));
        flow.marked(ink, mark(place.place.verdict), &runs(words));
    }
    for taper in tapers {
        flow.marked(taper.ink, taper.mark, &runs(taper.words));
    }
}

fn runs(words: sheets::WorstWords) -> [Run; 4] {
    [
        (Weight::Bold, words.title),
        (Weight::Regular, format!(", {}: ", words.where_it_lies)),
        (Weight::Bold, format!("{}. ", words.finding)),
        (Weight::Regular, words.limits),
    ]
}

fn readings(flow: &mut Flow<'_>, results: &Results<'_>, texts: &Texts) {
    let plan = results.plan;
    let name = unit_name(plan.units);
    let head = [
        texts.seam.to_owned(),
        texts.at.to_owned(),
        format!("{} {name}", texts.gap),
        "±U".to_owned(),
        texts.gap.to_owned(),
        format!("{} {name}", texts.flush),
        "±U".to_owned(),
        texts.flush.to_owned(),
    ];
    let (mut rows, mut is_out) = (Vec::new(), Vec::new());
    for judged in results.judged {
        let title = plan.seam(&judged.seam).map_or("", |seam| seam.title.as_str());
        for station in &judged.stations {
            let mut row = vec![title.to_owned(), along(station.reading.station.along_mm, plan.units)];
            for measurand in Measurand::BOTH {
                row.extend(cells(&station.value(measurand), measurand, plan, texts));
            }
            rows.push(row);
            is_out.push(Measurand::BOTH.iter().any(|one| station.value(*one).verdict.is_out()));
        }
    }
    flow.table(&head, &rows, Some(&is_out));
}

fn cells(value: &JudgedValue<'_>, measurand: Measurand, plan: &Plan, texts: &Texts) -> [String; 3] {
    match value.measured {
        Ok(seen) => [
            value_words(seen.value_mm, measurand, plan.units),
            length(expanded_u_mm(seen, &plan.decision), plan.units),
            format!("{} {}", mark(value.verdict), texts.verdict(value.verdict)).trim_start().to_owned(),
        ],
        Err(reason) => [String::new(), String::new(), texts.reason_words(reason).to_owned()],
    }
}
