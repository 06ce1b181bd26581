//! `comparison.json`: a whole comparison for other programs.
//!
//! In: the plan, a [`Comparison`] and the names of both scans. Out: JSON text with a version number.
//! Units: mm and rad, said in the keys, whatever the plan's unit. What is not known is `null`, never zero. The schema of
//! it is printed by `shutline schema comparison`.
//! Does not decide anything.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::error::RenderError;
use super::move_words::describe_move;
use super::record_json::taper_word;
use super::texts::Language;
use crate::judge::Measurand;
use crate::measure::Estimate;
use crate::plan::Plan;
use crate::summarise::{
    Comparison, LineupChange, MeasurandChange, PanelMove, SeamChange, Taper, TaperChange,
};

/// Rises when a field changes its meaning or goes away; new fields do not raise it.
pub const COMPARISON_VERSION: u32 = 1;

/// The whole comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "shutline comparison")]
pub struct ComparisonRecord {
    /// Version of this format.
    pub comparison_version: u32,
    pub program_version: String,
    /// The plan's title.
    pub plan: String,
    /// "before-after": two scans of one car; "left-right": the two sides of one scan.
    pub kind: String,
    /// What is compared: the first is subtracted from the second.
    pub first: SideRecord,
    pub second: SideRecord,
    /// True where no change of any seam is real.
    pub is_unchanged: bool,
    /// Uncertainty sources that both share, and that the change's uncertainty leaves out as far as they are of one size;
    /// of a flush the model's part is never left out.
    pub taken_as_common: Vec<String>,
    pub seams_missing: Vec<String>,
    pub seams: Vec<SeamChangeRecord>,
    /// Moves of panels that explain the changes, the weightiest first; none between left and right.
    pub moves: Vec<MoveRecord>,
    pub left_over: Vec<LeftoverRecord>,
    /// Largest tapers of the seams that ask for one.
    #[serde(default)]
    pub tapers: Vec<TaperChangeRecord>,
    /// What runs across seams; between left and right it bears the left lineup's name.
    #[serde(default)]
    pub lineups: Vec<LineupChangeRecord>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SideRecord {
    /// "before", "after", "left" or "right".
    pub side: String,
    /// The scan's file name.
    pub scan: String,
}

/// One seam; between left and right it bears the left seam's name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SeamChangeRecord {
    pub seam: String,
    pub title: String,
    pub gap: ChangeRecord,
    pub flush: ChangeRecord,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChangeRecord {
    /// "real", "none", "undecided" or "unseen".
    pub verdict: String,
    pub mean_change: Option<ChangeValue>,
    /// Stations at which the second is really nearer to tolerance, or further inside it.
    pub better: usize,
    pub worse: usize,
    pub stations: Vec<StationChangeRecord>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StationChangeRecord {
    pub station: usize,
    pub along_mm: f64,
    pub first: Option<ChangeValue>,
    pub second: Option<ChangeValue>,
    pub change: Option<ChangeValue>,
    /// "real", "none", "undecided" or "unseen".
    pub verdict: String,
    /// "better", "worse" or "same".
    pub trend: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChangeValue {
    pub value_mm: f64,
    /// Standard uncertainty.
    pub u_mm: f64,
    /// `null` stands for infinitely many.
    pub degrees_of_freedom: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MoveRecord {
    pub panel: String,
    pub in_words: String,
    pub pivot_mm: [f64; 3],
    /// Shift of the pivot.
    pub shift_mm: [f64; 3],
    /// Rotation vector about the pivot.
    pub rotation_rad: [f64; 3],
    /// Rows and columns: shift x, y, z in mm, rotation x, y, z in rad.
    pub covariance: Vec<Vec<f64>>,
    /// Share of each of the six that the seams do not tell.
    pub unseen_share: [f64; 6],
    /// Panels whose opposite move would explain the changes about as well.
    pub could_also_be: Vec<String>,
}

/// What the moves do not explain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeftoverRecord {
    pub seam: String,
    /// "gap" or "flush".
    pub measurand: String,
    pub change_rms_mm: f64,
    pub leftover_rms_mm: f64,
}

/// The largest taper of a seam on both sides, each where it is largest; null where it is not seen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TaperChangeRecord {
    pub seam: String,
    pub limit_mm: f64,
    pub first: Option<ChangeValue>,
    pub second: Option<ChangeValue>,
    /// "good", "out", "undecided" or "unseen".
    pub first_verdict: String,
    pub second_verdict: String,
}

/// One value of a lineup in both.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LineupChangeRecord {
    pub lineup: String,
    /// "step", "shift", "pitch" or "evenness".
    pub quantity: String,
    /// From 0; null for a single feature and for a row's own values.
    pub bar: Option<usize>,
    /// "datum" or "other": the panel whose pitch or evenness it is; null for what lies between both.
    pub panel: Option<String>,
    pub first_mm: Option<f64>,
    pub second_mm: Option<f64>,
    /// Second less first.
    pub change_mm: Option<f64>,
    /// Standard uncertainty of the change.
    pub change_u_mm: Option<f64>,
    /// "real", "undecided" or "unseen".
    pub verdict: String,
}

/// The comparison as JSON; `scans` are the names of the files compared, twice the same for left and right.
///
/// # Errors
/// None in practice: every number is finite or `null`.
pub fn comparison_json(
    plan: &Plan,
    comparison: &Comparison,
    lineups: &[LineupChange],
    scans: [&str; 2],
) -> Result<String, RenderError> {
    let [first, second] = comparison.kind.sides();
    let side = |side: &str, scan: &str| SideRecord { side: side.to_owned(), scan: scan.to_owned() };
    let record = ComparisonRecord {
        comparison_version: COMPARISON_VERSION,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        plan: plan.title.clone(),
        kind: comparison.kind.word().to_owned(),
        first: side(first, scans[0]),
        second: side(second, scans[1]),
        is_unchanged: comparison.is_unchanged(),
        taken_as_common: comparison.cancelled.iter().map(|source| source.words().to_owned()).collect(),
        seams_missing: comparison.missing_seams.iter().map(|seam| seam.0.clone()).collect(),
        seams: comparison.seams.iter().map(|seam| seam_record(plan, seam)).collect(),
        moves: comparison.moves.iter().map(|one| move_record(plan, one)).collect(),
        left_over: comparison
            .leftovers
            .iter()
            .map(|one| LeftoverRecord {
                seam: one.seam.0.clone(),
                measurand: one.measurand.word().to_owned(),
                change_rms_mm: one.change_rms_mm,
                leftover_rms_mm: one.leftover_rms_mm,
            })
            .collect(),
        tapers: comparison.tapers.iter().map(taper_record).collect(),
        lineups: lineups.iter().map(lineup_record).collect(),
    };
    Ok(serde_json::to_string_pretty(&record)? + "\n")
}

fn taper_record(taper: &TaperChange) -> TaperChangeRecord {
    let value = |side: &Option<Taper>| change_value(side.as_ref().map(|taper| &taper.change));
    let [first_verdict, second_verdict] = taper.verdicts().map(|verdict| taper_word(verdict).to_owned());
    TaperChangeRecord {
        seam: taper.seam.0.clone(),
        limit_mm: taper.limit_mm,
        first: value(&taper.sides[0]),
        second: value(&taper.sides[1]),
        first_verdict,
        second_verdict,
    }
}

fn lineup_record(change: &LineupChange) -> LineupChangeRecord {
    LineupChangeRecord {
        lineup: change.lineup.clone(),
        quantity: change.quantity.to_owned(),
        bar: change.bar,
        panel: change.side.map(|side| if side == 0 { "datum" } else { "other" }.to_owned()),
        first_mm: change.first_mm,
        second_mm: change.second_mm,
        change_mm: change.change_mm.map(|(change_mm, _)| change_mm),
        change_u_mm: change.change_mm.map(|(_, u_mm)| u_mm),
        verdict: change.verdict().word().to_owned(),
    }
}

/// The JSON Schema of [`ComparisonRecord`], as `shutline schema comparison` prints it.
///
/// # Errors
/// None in practice.
pub fn comparison_schema() -> Result<String, RenderError> {
    Ok(serde_json::to_string_pretty(&schemars::schema_for!(ComparisonRecord))? + "\n")
}

fn seam_record(plan: &Plan, seam: &SeamChange) -> SeamChangeRecord {
    SeamChangeRecord {
        seam: seam.seam.0.clone(),
        title: plan.seam(&seam.seam).map_or_else(|| seam.seam.0.clone(), |found| found.title.clone()),
        gap: change_record(seam.measurand(Measurand::Gap)),
        flush: change_record(seam.measurand(Measurand::Flush)),
    }
}

fn change_record(change: &MeasurandChange) -> ChangeRecord {
    ChangeRecord {
        verdict: change.verdict.word().to_owned(),
        mean_change: change_value(change.mean.as_ref()),
        better: change.better_count,
        worse: change.worse_count,
        stations: change
            .stations
            .iter()
            .map(|station| StationChangeRecord {
                station: station.station_index,
                along_mm: station.along_mm,
                first: change_value(station.before.as_ref()),
                second: change_value(station.after.as_ref()),
                change: change_value(station.change.as_ref()),
                verdict: station.verdict.word().to_owned(),
                trend: station.trend.word().to_owned(),
            })
            .collect(),
    }
}

fn change_value(estimate: Option<&Estimate>) -> Option<ChangeValue> {
    let estimate = estimate?;
    Some(ChangeValue {
        value_mm: estimate.value_mm,
        u_mm: estimate.u_mm,
        degrees_of_freedom: Some(estimate.degrees_of_freedom).filter(|number| number.is_finite()),
    })
}

fn move_record(plan: &Plan, one: &PanelMove) -> MoveRecord {
    let title = plan.panel(&one.panel).map_or(one.panel.0.as_str(), |panel| panel.title.as_str());
    MoveRecord {
        panel: one.panel.0.clone(),
        in_words: describe_move(one, title, plan.axes(), plan.units, Language::English),
        pivot_mm: one.motion.pivot.coords.into(),
        shift_mm: one.motion.shift_mm.into(),
        rotation_rad: one.motion.rotation_rad.into(),
        covariance: one.motion.covariance.row_iter().map(|row| row.iter().copied().collect()).collect(),
        unseen_share: one.motion.unseen_share,
        could_also_be: one.could_also_be.iter().map(|panel| panel.0.clone()).collect(),
    }
}
