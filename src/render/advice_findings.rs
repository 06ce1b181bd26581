//! What an advice finds, in words: what is out now, how the panels stand, what no move cures.
//!
//! In: the plan and an [`Advice`]. Out: lines of text. Units: the plan's.
//! Does not decide anything.

use nalgebra::Vector3;

use super::advice_words::{panel_title, shift_parts, turn_parts};
use super::format::{length, unit_name};
use super::ink::excess_mm;
use super::texts::Language;
use crate::advise::Advice;
use crate::judge::{JudgedReading, JudgedSeam, Measurand};
use crate::plan::Plan;
use crate::units::LengthUnit;

/// Most stretches that are listed as out.
const MOST_FAULTS: usize = 12;

/// How each panel stands now, shape errors apart: "Hood stands off its nominal place: 1.1 mm down".
#[must_use]
pub fn standing_lines(plan: &Plan, advice: &Advice, language: Language) -> Vec<String> {
    let texts = language.advice_texts();
    advice
        .panels
        .iter()
        .filter_map(|panel| {
            let motion = &panel.standing.as_ref()?.motion;
            // Only what is proved: a part that is smaller than its own U is not said.
            let proved = |axis: usize| {
                let u = motion.covariance[(axis, axis)].max(0.0).sqrt();
                let size = if axis < 3 { motion.shift_mm[axis] } else { motion.rotation_rad[axis - 3] };
                let is_told = motion.unseen_share[axis] < 0.5;
                if is_told && size.abs() > 2.0 * u && u > 0.0 { size } else { 0.0 }
            };
            let mut parts = shift_parts(plan, &Vector3::new(proved(0), proved(1), proved(2)), texts);
            parts.extend(turn_parts(plan, &Vector3::new(proved(3), proved(4), proved(5)), texts));
            let title = panel_title(plan, panel);
            Some(if parts.is_empty() {
                format!("{title} {}", texts.stands_well)
            } else {
                format!("{title} {}: {}", texts.stands, parts.join(", "))
            })
        })
        .collect()
}

/// The stretches that are out now, the worst first: "Hood fender left, gap: tight 2.56 mm at 30 mm (30 … 90 mm)".
#[must_use]
pub fn fault_lines(plan: &Plan, advice: &Advice, language: Language) -> Vec<String> {
    let texts = language.advice_texts();
    let mut found: Vec<(f64, String)> = Vec::new();
    for judged in &advice.seams_before {
        for measurand in Measurand::BOTH {
            let verdict = |station: &JudgedReading| station.value(measurand).verdict;
            for run in judged.stations.chunk_by(|one, other| verdict(one) == verdict(other)) {
                found.extend(fault_line(plan, judged, measurand, run, language));
            }
        }
    }
    found.sort_by(|one, other| other.0.total_cmp(&one.0));
    let more = found.len().saturating_sub(MOST_FAULTS);
    let mut lines: Vec<String> = found.into_iter().take(MOST_FAULTS).map(|(_, line)| line).collect();
    if more > 0 {
        lines.push(format!("{more} {}", texts.more_faults));
    }
    lines
}

fn fault_line(
    plan: &Plan,
    judged: &JudgedSeam,
    measurand: Measurand,
    run: &[JudgedReading],
    language: Language,
) -> Option<(f64, String)> {
    let words = language.texts();
    let beyond = |station: &&JudgedReading| {
        let value = station.value(measurand);
        value.measured.map_or(0.0, |seen| excess_mm(seen.value_mm, &value.tolerance).abs())
    };
    let (first, last) = (run.first()?, run.last()?);
    let verdict = first.value(measurand).verdict;
    let worst = run.iter().max_by(|one, other| beyond(one).total_cmp(&beyond(other)))?;
    let value_mm = worst.value(measurand).measured.ok().filter(|_| verdict.is_out())?.value_mm;
    let along = |station: &JudgedReading| super::format::along(station.reading.station.along_mm, plan.units);
    let title = plan.seam(&judged.seam).map_or(judged.seam.0.as_str(), |seam| seam.title.as_str());
    let line = format!(
        "{title}, {}: {} {} {} {} {} ({} … {})",
        words.measurand(measurand),
        words.verdict(verdict),
        super::strip_lane::length_or_signed(value_mm, measurand, plan.units),
        unit_name(plan.units),
        words.at,
        along(worst),
        along(first),
        along(last)
    );
    Some((beyond(&worst), line))
}

/// Each stretch that asks for metal, in a line.
#[must_use]
pub fn leftover_lines(plan: &Plan, advice: &Advice, language: Language) -> Vec<String> {
    let texts = language.advice_texts();
    let along = |place_mm: f64| super::format::along(place_mm, plan.units);
    let mut lines = Vec::new();
    for edges in &advice.edges {
        let title = plan.seam(&edges.seam).map_or(edges.seam.0.as_str(), |seam| seam.title.as_str());
        let panel = plan.panel(&edges.panel).map_or(edges.panel.0.as_str(), |panel| panel.title.as_str());
        for run in &edges.runs {
            let (kind, words) = match run.measurand {
                Measurand::Gap => (texts.edge_line, [texts.take_off, texts.add]),
                Measurand::Flush => (texts.panel_shape, [texts.raise, texts.lower]),
            };
            lines.push(format!(
                "{title}, {} … {}, {kind}: {} {panel}: {} {} ({} {})",
                along(run.from_mm),
                along(run.to_mm),
                texts.edge_of,
                change_words(run.most_mm, words, plan.units),
                unit_name(plan.units),
                texts.at_seam,
                along(run.most_at_mm),
            ));
        }
        if edges.left_alone > 0 {
            lines.push(format!("{title}: {} {}", edges.left_alone, texts.left_alone));
        }
    }
    if lines.is_empty() {
        lines.push(texts.leftover_none.to_owned());
    }
    lines
}

/// An amount at an edge or surface: "take off 0.32 mm".
fn change_words(amount_mm: f64, words: [&'static str; 2], unit: LengthUnit) -> String {
    format!("{} {}", words[usize::from(amount_mm < 0.0)], length(amount_mm.abs(), unit))
}
