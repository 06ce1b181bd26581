//! The strips of all seams, to one scale.

use maud::{Markup, html};

use super::{NARROW, ReportSettings, WIDE, both_widths};
use crate::judge::{JudgedSeam, Measurand, expanded_u_mm};
use crate::plan::Plan;
use crate::render::car_axes::seam_ends;
use crate::render::error::RenderError;
use crate::render::run_facts::Results;
use crate::render::seam_notes::seam_notes;
use crate::render::strip::{StripSettings, strip_picture};
use crate::render::svg::svg;
use crate::render::texts::Language;

/// A lane is at most this many times as high as the widest tolerance: what lies further off is written, not drawn, so
/// that one wild value does not flatten every strip.
const MOST_TOLERANCES: f64 = 5.0;

/// How the strips of a scan are drawn so that they share their scales, along and across.
#[must_use]
pub fn strip_settings(plan: &Plan, judged: &[JudgedSeam], language: Language) -> Vec<StripSettings> {
    let reach_mm = Measurand::BOTH.map(|measurand| common_reach_mm(plan, judged, measurand));
    let seams = || judged.iter().map(|judged| plan.seam(&judged.seam));
    let longest_mm = seams().flatten().map(|seam| seam.curve.length_mm()).fold(0.0, f64::max);
    seams()
        .map(|seam| StripSettings {
            language,
            ends: seam.map(|seam| seam_ends(&seam.curve, plan.axes(), language.texts())).unwrap_or_default(),
            reach_mm,
            full_length_mm: (longest_mm > 0.0).then_some(longest_mm),
            ..StripSettings::default()
        })
        .collect()
}

pub(super) fn strips(results: &Results<'_>, settings: &ReportSettings) -> Result<Markup, RenderError> {
    let texts = settings.language.texts();
    let all = strip_settings(results.plan, results.judged, settings.language);
    let mut pictures = Vec::new();
    for (judged, strip) in results.judged.iter().zip(all) {
        let [wide, narrow] = [WIDE, NARROW]
            .map(|width| strip_picture(results.plan, judged, &StripSettings { width, ..strip.clone() }));
        let notes = seam_notes(results, judged, settings.language);
        pictures.push((judged.seam.0.as_str(), svg(&wide?), svg(&narrow?), notes));
    }
    Ok(html! {
        h2 id="seams" { (texts.seams_title) }
        p class="muted only-script" { (texts.strip_help) }
        @for (id, wide, narrow, notes) in &pictures {
            figure class="strip" id={ "seam-" (id) } { (both_widths(wide, narrow)) }
            @for note in notes { p class="note" { @if note.is_out { b { (note.words) } } @else { (note.words) } } }
        }
    })
}

/// How far below and above the middle of its own tolerance every seam's lane must reach, mm.
fn common_reach_mm(plan: &Plan, judged: &[JudgedSeam], measurand: Measurand) -> Option<[f64; 2]> {
    let widest_mm = judged
        .iter()
        .flat_map(|seam| &seam.stations)
        .map(|station| station.value(measurand).tolerance)
        .map(|tolerance| tolerance.upper_mm() - tolerance.lower_mm())
        .fold(0.0, f64::max);
    let most_mm = if widest_mm > 0.0 { MOST_TOLERANCES * widest_mm / 2.0 } else { f64::INFINITY };
    let reaches = judged.iter().filter_map(|seam| reach_mm(plan, seam, measurand));
    let [below_mm, above_mm] =
        reaches.reduce(|one, other| [one[0].max(other[0]), one[1].max(other[1])])?.map(|mm| mm.min(most_mm));
    (below_mm + above_mm > 0.0).then_some([below_mm, above_mm])
}

/// The furthest limit or end of ±U below and above the middle of the seam's tolerances.
fn reach_mm(plan: &Plan, seam: &JudgedSeam, measurand: Measurand) -> Option<[f64; 2]> {
    let tolerances = || seam.stations.iter().map(|station| station.value(measurand).tolerance);
    let low_mm = tolerances().map(|tolerance| tolerance.lower_mm()).reduce(f64::min)?;
    let high_mm = tolerances().map(|tolerance| tolerance.upper_mm()).reduce(f64::max)?;
    let middle_mm = f64::midpoint(low_mm, high_mm);
    let seen = seam.stations.iter().filter_map(|station| station.value(measurand).measured.ok());
    Some(seen.fold([middle_mm - low_mm, high_mm - middle_mm], |[below_mm, above_mm], seen| {
        let half_mm = expanded_u_mm(seen, &plan.decision);
        [below_mm.max(middle_mm - seen.value_mm + half_mm), above_mm.max(seen.value_mm + half_mm - middle_mm)]
    }))
}
