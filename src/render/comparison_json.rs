//! `comparison.json`: a whole comparison for other programs.
//!
//! In: the plan, a [`Comparison`] and the names of both scans. Out: JSON text with a version number.
//! Units: mm and rad, said in the keys, whatever the plan's unit. What is not known is `null`, never zero.
//! Does not decide anything.

use serde::Serialize;

use super::error::RenderError;
use crate::judge::Measurand;
use crate::measure::Estimate;
use crate::plan::Plan;
use crate::summarise::{Comparison, MeasurandChange, PanelMove, SeamChange, describe_move};

/// Goes up when a key changes its meaning or goes away.
pub const COMPARISON_VERSION: u32 = 1;

#[derive(Serialize)]
struct Document<'a> {
    comparison_version: u32,
    program_version: &'static str,
    plan: &'a str,
    before: &'a str,
    after: &'a str,
    is_unchanged: bool,
    /// Uncertainty sources that both scans share.
    taken_as_common: Vec<&'static str>,
    seams_missing: Vec<&'a str>,
    seams: Vec<SeamOut<'a>>,
    moves: Vec<MoveOut<'a>>,
    left_over: Vec<LeftoverOut<'a>>,
}

#[derive(Serialize)]
struct SeamOut<'a> {
    seam: &'a str,
    gap: ChangeOut,
    flush: ChangeOut,
}

#[derive(Serialize)]
struct ChangeOut {
    verdict: &'static str,
    mean_change: Option<ValueOut>,
    better: usize,
    worse: usize,
    stations: Vec<StationOut>,
}

#[derive(Serialize)]
struct StationOut {
    station: usize,
    along_mm: f64,
    before: Option<ValueOut>,
    after: Option<ValueOut>,
    change: Option<ValueOut>,
    verdict: &'static str,
    trend: &'static str,
}

#[derive(Serialize)]
struct ValueOut {
    value_mm: f64,
    u_mm: f64,
    /// `null` stands for infinitely many.
    degrees_of_freedom: Option<f64>,
}

#[derive(Serialize)]
struct MoveOut<'a> {
    panel: &'a str,
    in_words: String,
    pivot_mm: [f64; 3],
    shift_mm: [f64; 3],
    rotation_rad: [f64; 3],
    /// Rows and columns: shift x, y, z in mm, rotation x, y, z in rad.
    covariance: Vec<Vec<f64>>,
    /// Share of each of the six that the seams do not tell.
    unseen_share: [f64; 6],
    could_also_be: Vec<&'a str>,
}

#[derive(Serialize)]
struct LeftoverOut<'a> {
    seam: &'a str,
    measurand: &'static str,
    change_rms_mm: f64,
    leftover_rms_mm: f64,
}

/// The comparison as JSON.
///
/// # Errors
/// None in practice: every number is finite or `null`.
pub fn comparison_json(
    plan: &Plan,
    comparison: &Comparison,
    scans: [&str; 2],
) -> Result<String, RenderError> {
    let document = Document {
        comparison_version: COMPARISON_VERSION,
        program_version: env!("CARGO_PKG_VERSION"),
        plan: &plan.title,
        before: scans[0],
        after: scans[1],
        is_unchanged: comparison.is_unchanged(),
        taken_as_common: comparison.cancelled.iter().map(|source| source.words()).collect(),
        seams_missing: comparison.missing_seams.iter().map(|seam| seam.0.as_str()).collect(),
        seams: comparison.seams.iter().map(seam_out).collect(),
        moves: comparison.moves.iter().map(|one| move_out(plan, one)).collect(),
        left_over: comparison
            .leftovers
            .iter()
            .map(|one| LeftoverOut {
                seam: &one.seam.0,
                measurand: one.measurand.word(),
                change_rms_mm: one.change_rms_mm,
                leftover_rms_mm: one.leftover_rms_mm,
            })
            .collect(),
    };
    Ok(serde_json::to_string_pretty(&document)? + "\n")
}

fn seam_out(seam: &SeamChange) -> SeamOut<'_> {
    SeamOut {
        seam: &seam.seam.0,
        gap: change_out(seam.measurand(Measurand::Gap)),
        flush: change_out(seam.measurand(Measurand::Flush)),
    }
}

fn change_out(change: &MeasurandChange) -> ChangeOut {
    ChangeOut {
        verdict: change.verdict.word(),
        mean_change: value_out(change.mean.as_ref()),
        better: change.better_count,
        worse: change.worse_count,
        stations: change
            .stations
            .iter()
            .map(|station| StationOut {
                station: station.station_index,
                along_mm: station.along_mm,
                before: value_out(station.before.as_ref()),
                after: value_out(station.after.as_ref()),
                change: value_out(station.change.as_ref()),
                verdict: station.verdict.word(),
                trend: station.trend.word(),
            })
            .collect(),
    }
}

fn value_out(estimate: Option<&Estimate>) -> Option<ValueOut> {
    let estimate = estimate?;
    Some(ValueOut {
        value_mm: estimate.value_mm,
        u_mm: estimate.u_mm,
        degrees_of_freedom: Some(estimate.degrees_of_freedom).filter(|number| number.is_finite()),
    })
}

fn move_out<'a>(plan: &Plan, one: &'a PanelMove) -> MoveOut<'a> {
    let title = plan.panel(&one.panel).map_or(one.panel.0.as_str(), |panel| panel.title.as_str());
    MoveOut {
        panel: &one.panel.0,
        in_words: describe_move(one, title, plan.axes(), plan.units),
        pivot_mm: one.motion.pivot.coords.into(),
        shift_mm: one.motion.shift_mm.into(),
        rotation_rad: one.motion.rotation_rad.into(),
        covariance: one.motion.covariance.row_iter().map(|row| row.iter().copied().collect()).collect(),
        unseen_share: one.motion.unseen_share,
        could_also_be: one.could_also_be.iter().map(|panel| panel.0.as_str()).collect(),
    }
}
