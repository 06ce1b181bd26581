//! An advice in the fitter's words: "left hinge: 1.2 mm up, 0.8 mm forward", "right bump stop: half a turn out".
//!
//! In: the plan and an [`Advice`]. Out: lines of text, one for each adjuster, seam place or direction. Units: the plan's.
//! Method: settings are said as they are made: turns to the half, whole shims, tenths of a millimetre (hundredths of an
//! inch on a scale of thousandths). A free move is said by what it does at both ends of each seam.
//! Does not decide anything.

use nalgebra::Vector3;

use super::advice_directions::{direction_words, line_words, move_words, word_axes};
use super::advice_findings::{fault_lines, leftover_lines, standing_lines};
use super::advice_texts::AdviceTexts;
use super::format::{length_with_unit, unit_name};
use super::texts::Language;
use crate::advise::{Advice, Need, PanelAdvice, PanelPose, Score, Setting, SettingSource, Unseen};
use crate::geometry::CurveFrame;
use crate::plan::{Adjuster, AdjusterKind, AdjusterSetting, AdjusterWay, Plan, Seam, Side, WayStep};
use crate::units::LengthUnit;

/// Of a direction that is not told, parts below this share of the largest are not named.
const NAMED_SHARE: f64 = 0.35;
/// Smaller shifts and turns are not said: below what a hand can set.
const LEAST_SAID_MM: f64 = 0.05;
const LEAST_SAID_DEG: f64 = 0.005;

/// What to do, panel by panel: the panel's title and a line for each thing to set.
#[must_use]
pub fn advice_lines(plan: &Plan, advice: &Advice, language: Language) -> Vec<(String, Vec<String>)> {
    let texts = language.advice_texts();
    if advice.need != Need::Move {
        return Vec::new();
    }
    advice
        .panels
        .iter()
        .map(|panel| (panel_title(plan, panel), panel_lines(plan, advice, panel, texts)))
        .collect()
}

/// One sentence where nothing is to be moved.
#[must_use]
pub const fn need_words(need: Need, texts: &AdviceTexts) -> Option<&'static str> {
    match need {
        Need::NothingOut => Some(texts.nothing_out),
        Need::NotWorthIt => Some(texts.not_worth_it),
        Need::Move => None,
    }
}

pub(super) fn panel_title(plan: &Plan, panel: &PanelAdvice) -> String {
    plan.panel(&panel.panel).map_or_else(|| panel.panel.0.clone(), |found| found.title.clone())
}

fn panel_lines(plan: &Plan, advice: &Advice, panel: &PanelAdvice, texts: &AdviceTexts) -> Vec<String> {
    if !panel.is_moved {
        return vec![texts.stays.to_owned()];
    }
    let mut lines = Vec::new();
    let is_free = |setting: &&Setting| matches!(setting.source, SettingSource::Free { .. });
    if panel.settings.iter().any(|setting| is_free(&setting)) {
        lines.push(free_line(plan, panel, texts));
        lines.extend(advice.seams_before.iter().filter_map(|judged| {
            let seam = plan.seam(&judged.seam)?;
            seam_line(plan, seam, panel, texts)
        }));
    }
    for (index, adjuster) in plan.advice.adjusters.iter().enumerate() {
        let own: Vec<&Setting> = panel
            .settings
            .iter()
            .filter(|one| matches!(one.source, SettingSource::Way { adjuster, .. } if adjuster == index))
            .collect();
        if !own.is_empty() {
            let parts: Vec<String> = own.iter().map(|one| way_words(plan, adjuster, one, texts)).collect();
            lines.push(format!("{}: {}", adjuster.title, parts.join(", ")));
        }
    }
    if panel.held_freedoms < 6 {
        lines.push(texts.held.replace("{}", &panel.held_freedoms.to_string()));
    }
    lines
}

/// One setting: "1.2 mm up", "half a turn out", "add 2 shims of 0.5 mm".
fn way_words(plan: &Plan, adjuster: &Adjuster, setting: &Setting, texts: &AdviceTexts) -> String {
    let unit = plan.units;
    let way = match (&adjuster.setting, setting.source) {
        (AdjusterSetting::Ways { ways, .. }, SettingSource::Way { way, .. }) => ways.get(way),
        _ => None,
    };
    let Some(way) = way else { return String::new() };
    let words = |amount_mm: f64| words_of_way(plan, adjuster.kind, way, amount_mm, texts);
    let direction = words(setting.amount_mm);
    if setting.amount_mm == 0.0 {
        return format!("{} ({})", texts.limit_only, words(limit_sign(setting)));
    }
    let size_mm = setting.amount_mm.abs();
    let amount = match way.step {
        WayStep::Turns { pitch_mm, .. } => {
            let turns = size_mm / pitch_mm;
            let word = texts.turn_word[usize::from(turns > 1.0)];
            format!("{} {word} {direction} ({})", turns_words(turns), length_with_unit(size_mm, unit))
        }
        WayStep::Shims { thickness_mm } => {
            let count = (size_mm / thickness_mm).round();
            let phrases = if setting.amount_mm > 0.0 { texts.add_shims } else { texts.take_shims };
            let phrase = phrases[usize::from(count > 1.0)].replace("{}", &format!("{count:.0}"));
            format!(
                "{phrase} {} {} ({} {direction})",
                texts.of_each,
                length_with_unit(thickness_mm, unit),
                length_with_unit(size_mm, unit)
            )
        }
        _ => format!("{} {direction}", rough_with_u(setting, unit)),
    };
    let amount = if setting.follows && adjuster.kind == AdjusterKind::BumpStop {
        format!("{} {amount}", texts.touching)
    } else if setting.follows {
        format!("{} {amount}", texts.follows)
    } else {
        amount
    };
    if setting.at_limit.is_some() { format!("{amount} – {}", texts.at_limit) } else { amount }
}

fn limit_sign(setting: &Setting) -> f64 {
    if setting.at_limit == Some(crate::advise::TravelEnd::Minus) { -1.0 } else { 1.0 }
}

/// A tenth of a millimetre, or a hundredth of an inch: what a hand can set.
fn rough(size_mm: f64, unit: LengthUnit) -> String {
    let decimals = if unit == LengthUnit::Inch { 2 } else { 1 };
    format!("{:.decimals$} {}", size_mm / unit.mm(), unit_name(unit))
}

/// "0.5 ± 0.1 mm", where the readings leave more open than is shown; else "0.5 mm".
fn rough_with_u(setting: &Setting, unit: LengthUnit) -> String {
    let size_mm = setting.amount_mm.abs();
    let (decimals, least_mm) = if unit == LengthUnit::Inch { (2, 0.005 * 25.4) } else { (1, 0.05) };
    match setting.u_mm.map(|u_mm| 2.0 * u_mm).filter(|expanded_mm| *expanded_mm >= least_mm) {
        Some(expanded_mm) => {
            format!("{:.decimals$} ± {}", size_mm / unit.mm(), rough(expanded_mm, unit))
        }
        None => rough(size_mm, unit),
    }
}

/// Turns to the quarter where they are, with a fraction sign: ½, 1½, 2.
fn turns_words(turns: f64) -> String {
    let quarters = turns * 4.0;
    if (quarters - quarters.round()).abs() > 1e-6 {
        return format!("{turns:.2}");
    }
    let (whole, rest) = ((quarters.round() / 4.0).floor(), quarters.round() as i64 % 4);
    let fraction = ["", "¼", "½", "¾"][rest.unsigned_abs() as usize];
    if whole == 0.0 { fraction.to_owned() } else { format!("{whole:.0}{fraction}") }
}

fn words_of_way(
    plan: &Plan,
    kind: AdjusterKind,
    way: &AdjusterWay,
    amount_mm: f64,
    texts: &AdviceTexts,
) -> String {
    let against = usize::from(amount_mm < 0.0);
    match &way.words {
        Some(words) => words[against].clone(),
        None if kind == AdjusterKind::BumpStop => texts.stop_words[against].to_owned(),
        None => direction_words(plan, &(way.direction * amount_mm.signum()), texts),
    }
}

/// "free move: 0.6 mm right, 1.1 mm up, turn −0.03° about the upright line".
fn free_line(plan: &Plan, panel: &PanelAdvice, texts: &AdviceTexts) -> String {
    let pose = &panel.pose;
    let mut parts = shift_parts(plan, &pose.shift_mm, texts);
    parts.extend(turn_parts(plan, &pose.rotation_rad, texts));
    for setting in panel.settings.iter().filter(|setting| setting.at_limit.is_some()) {
        if let SettingSource::Free { axis } = setting.source {
            parts.push(format!("({}: {})", ["x", "y", "z", "x°", "y°", "z°"][axis], texts.at_limit));
        }
    }
    format!("{}: {}", texts.free_move, parts.join(", "))
}

/// "0.6 mm right", "1.1 mm up"; what is below a twentieth of a millimetre is left out.
pub(super) fn shift_parts(plan: &Plan, shift_mm: &Vector3<f64>, texts: &AdviceTexts) -> Vec<String> {
    let parts = word_axes(plan).map(|axis| shift_mm.dot(&axis));
    (0..3)
        .filter(|axis| parts[*axis].abs() >= LEAST_SAID_MM)
        .map(|axis| {
            let words = move_words(plan, axis, parts[axis] < 0.0, texts);
            format!("{} {words}", rough(parts[axis].abs(), plan.units))
        })
        .collect()
}

/// "turn about the upright line −0.03°".
pub(super) fn turn_parts(plan: &Plan, rotation_rad: &Vector3<f64>, texts: &AdviceTexts) -> Vec<String> {
    let degrees = word_axes(plan).map(|axis| rotation_rad.dot(&axis).to_degrees());
    (0..3)
        .filter(|axis| degrees[*axis].abs() >= LEAST_SAID_DEG)
        .map(|axis| {
            let number = format!("{:+.2}", degrees[axis]).replace('-', "−");
            format!("{} {} {number}°", texts.turn_about, line_words(plan, axis, texts))
        })
        .collect()
}

/// What a free move does at both ends of a seam.
fn seam_line(plan: &Plan, seam: &Seam, panel: &PanelAdvice, texts: &AdviceTexts) -> Option<String> {
    let is_other = seam.other_panel == panel.panel;
    if !is_other && seam.datum_panel != panel.panel {
        return None;
    }
    let sign = if is_other { 1.0 } else { -1.0 };
    let stations = seam.stations();
    let ends = [stations.first()?, stations.last()?].map(|station| {
        let frame = seam.station_frame(station);
        let step = panel.pose.displacement_mm(&frame.origin) * sign;
        let gap_mm = step.dot(&towards_other(seam, &frame));
        let rise_mm = sign * step.dot(&frame.outward);
        let parts: Vec<String> = [(gap_mm, texts.opens), (rise_mm, texts.raises)]
            .into_iter()
            .filter(|(amount_mm, _)| amount_mm.abs() >= 0.05)
            .map(|(amount_mm, words)| {
                format!("{} {}", words[usize::from(amount_mm < 0.0)], rough(amount_mm.abs(), plan.units))
            })
            .collect();
        let place = super::format::along(station.along_mm, plan.units);
        (!parts.is_empty()).then(|| format!("{} {place} {}", texts.at_seam, parts.join(", ")))
    });
    let parts: Vec<String> = ends.into_iter().flatten().collect();
    (!parts.is_empty()).then(|| format!("{}: {}", seam.title, parts.join("; ")))
}

fn towards_other(seam: &Seam, frame: &CurveFrame) -> nalgebra::Vector3<f64> {
    if seam.datum_side == Side::Left { frame.across() } else { -frame.across() }
}

/// A direction that the readings do not tell, by panel: "Hood: shift x, turn about z".
#[must_use]
pub fn unseen_words(plan: &Plan, unseen: &Unseen, language: Language) -> String {
    let texts = language.advice_texts();
    let axes = word_axes(plan);
    let lever_mm = |pose: &PanelPose, axis: usize| {
        // A turn counts by what it moves at 500 mm, about a panel's half length.
        if axis < 3 {
            pose.shift_mm.dot(&axes[axis]).abs()
        } else {
            500.0 * pose.rotation_rad.dot(&axes[axis - 3]).abs()
        }
    };
    let sizes = || unseen.parts.iter().flat_map(|(_, pose)| (0..6).map(move |axis| lever_mm(pose, axis)));
    let largest = sizes().fold(0.0, f64::max);
    let panels: Vec<String> = unseen
        .parts
        .iter()
        .filter_map(|(id, pose)| {
            let parts: Vec<String> = (0..6)
                .filter(|axis| lever_mm(pose, *axis) >= NAMED_SHARE * largest)
                .map(|axis| {
                    if axis < 3 {
                        format!("{} {}", texts.shift, move_words(plan, axis, false, texts))
                    } else {
                        format!("{} {}", texts.turn_about, line_words(plan, axis - 3, texts))
                    }
                })
                .collect();
            let title = plan.panel(id).map_or(id.0.as_str(), |panel| panel.title.as_str());
            (!parts.is_empty()).then(|| format!("{title}: {}", parts.join(" + ")))
        })
        .collect();
    panels.join("; ")
}

/// "3 / 5 / 210".
pub(super) fn counts_words(score: &Score) -> String {
    format!("{} / {} / {}", score.out, score.undecided, score.good)
}

/// The whole advice as text for a terminal.
#[must_use]
pub fn advice_text(plan: &Plan, advice: &Advice, language: Language) -> String {
    let texts = language.advice_texts();
    let mut text = format!("{}\n", texts.faults_head);
    for line in fault_lines(plan, advice, language).iter().chain(&standing_lines(plan, advice, language)) {
        text.push_str(&format!("   {line}\n"));
    }
    text.push_str(&format!("{}\n", texts.what_to_do));
    if let Some(sentence) = need_words(advice.need, texts) {
        text.push_str(sentence);
        text.push('\n');
    }
    let lines = advice_lines(plan, advice, language);
    if lines.len() > 1 {
        text.push_str(texts.orders);
        text.push('\n');
    }
    for (number, (title, lines)) in lines.iter().enumerate() {
        text.push_str(&format!("{}. {title}\n", number + 1));
        for line in lines {
            text.push_str(&format!("   {line}\n"));
        }
    }
    text.push_str(&format!(
        "{} {:.2} → {:.2}\n{} {} → {}\n",
        texts.worst_line,
        advice.before.worst,
        advice.after.worst,
        texts.counts_line,
        counts_words(&advice.before),
        counts_words(&advice.after)
    ));
    if let Some(line) = other_aim_words(advice, texts) {
        text.push_str(&line);
        text.push('\n');
    }
    for unseen in &advice.unseen {
        text.push_str(&format!("{}: {}\n", texts.unseen_head, unseen_words(plan, unseen, language)));
    }
    text.push_str(&format!("{}\n", texts.leftover_head));
    for line in leftover_lines(plan, advice, language) {
        text.push_str(&format!("   {line}\n"));
    }
    text.push_str(&format!("{}\n", texts.cautions_head));
    for caution in texts.cautions {
        text.push_str(&format!(" - {caution}\n"));
    }
    text
}

/// What the other aim would reach.
pub(super) fn other_aim_words(advice: &Advice, texts: &AdviceTexts) -> Option<String> {
    let score = advice.other_aim.as_ref()?;
    let name = match advice.aim {
        crate::advise::Aim::Worst => "most",
        crate::advise::Aim::Most => "worst",
    };
    let mut values = [name.to_owned(), format!("{:.2}", score.worst), counts_words(score)].into_iter();
    let mut pieces = texts.other_aim.split("{}");
    let mut line = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        line.push_str(&values.next().unwrap_or_default());
        line.push_str(piece);
    }
    Some(line)
}
