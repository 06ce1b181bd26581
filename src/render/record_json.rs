//! `record.json`: everything about a run, with a version number and a published JSON Schema.
//!
//! In: [`Results`]. Out: JSON text; the schema of it is `record.schema.json` beside this file.
//! Units: millimetres and radians whatever the plan's unit (which the record names); points in the Car frame.
//! The structs here mirror the stages' own, so that a stage can change without breaking those who read records.
//! Does not hold the section drawings' points.

mod build;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::error::RenderError;
use super::run_facts::Results;
use crate::align::Alignment;
use crate::judge::Verdict;

/// Rises when a field changes its meaning or goes away; new fields do not raise it.
pub const RECORD_VERSION: u32 = 1;

/// The whole record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "shutline record")]
pub struct Record {
    /// Version of this format.
    pub record_version: u32,
    pub program: Program,
    /// Unit that the plan and its other outputs use: "mm" or "inch". This record is in mm.
    pub plan_units: String,
    pub title: String,
    /// RFC 3339.
    pub measured_at: Option<String>,
    pub scan: ScanRecord,
    pub inputs: Vec<InputRecord>,
    pub settings: Vec<SettingRecord>,
    pub decision: DecisionRecord,
    /// Film of paint still to come; null where the plan has none.
    pub finish: Option<FinishRecord>,
    pub alignment: Option<AlignmentRecord>,
    pub seams: Vec<SeamRecord>,
    /// Creases, bars and grooves that run across seams.
    pub lineups: Vec<LineupRecord>,
    pub warnings: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Program {
    pub name: String,
    pub version: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ScanRecord {
    pub format: String,
    pub point_count: Option<u64>,
    pub skipped_point_count: u64,
    /// The scanner's standard uncertainty over a gap-sized distance, as the plan states it.
    pub accuracy_mm: f64,
    /// What the scanner's software smoothed; null where nothing was measured.
    #[serde(default)]
    pub smoothing: Option<SmoothingRecord>,
}

/// A Gaussian along the surface.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SmoothingRecord {
    /// Its width (standard deviation), for which gaps are corrected; 0 where none was proved.
    pub width_mm: f64,
    /// The width's square and its standard uncertainty: the uncertainty of the correction of gaps follows from it.
    pub variance_mm2: f64,
    pub variance_u_mm2: f64,
    /// Null where infinite.
    pub degrees_of_freedom: Option<f64>,
    /// True where the plan states it; otherwise it was told from the hems of all seams.
    pub is_stated: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InputRecord {
    pub role: String,
    pub name: String,
    pub sha256: String,
    pub byte_count: u64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SettingRecord {
    pub name: String,
    pub value: String,
}

/// How values became verdicts: the rule's name and its own number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DecisionRecord {
    /// "interval", "plain", "guard-band" or "shared-risk".
    pub rule: String,
    /// Coverage factor, probability of conformance, or capability; null for "plain".
    pub number: Option<f64>,
}

/// What runs across a seam: see `lineups.csv` for the words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LineupRecord {
    pub lineup: String,
    pub title: String,
    pub seam: String,
    /// "crease", "bar" or "groove".
    pub kind: String,
    pub verdict: String,
    pub values: Vec<LineupValueRecord>,
    /// The same feature on the other side of the car, where the plan names one: this lineup less that one.
    pub mirror: Option<MirrorRecord>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LineupValueRecord {
    /// "step", "shift", "pitch", "evenness" or "pitch-difference".
    pub quantity: String,
    /// From 0; null for a single feature and for a row's own values.
    pub bar: Option<usize>,
    /// Whose pitch or evenness; empty otherwise.
    pub panel: String,
    pub at_mm: Option<f64>,
    pub value: Option<ValueRecord>,
    /// One token; null where there is a value.
    pub reason: Option<String>,
    /// Null where the plan gives no tolerance.
    pub verdict: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MirrorRecord {
    pub lineup: String,
    pub step: Option<ValueRecord>,
    /// Datum panel, other panel.
    pub pitch: [Option<ValueRecord>; 2],
}

/// Film of paint still to come.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FinishRecord {
    /// "as-scanned" or "finished": the state that seam summaries, verdicts of seams and the exit status go by.
    pub judged: String,
    pub panels: Vec<PanelFinishRecord>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PanelFinishRecord {
    pub panel: String,
    /// "bare", "primed", "clear-only", "painted" or "given".
    pub scanned: String,
    pub outer_mm: f64,
    pub outer_u_mm: f64,
    pub edge_mm: f64,
    pub edge_u_mm: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlignmentRecord {
    pub way: String,
    /// Rows of the 4 by 4 matrix that takes scanner coordinates (mm) to car coordinates (mm).
    pub car_from_scanner: [[f64; 4]; 4],
    pub rms_residual_mm: f64,
    pub worst_residual_mm: f64,
    pub points_used: u64,
    pub iterations: u32,
    pub converged: bool,
    /// Ratio of the best to the worst determined direction of movement; 1 is ideal, null is undetermined.
    #[serde(default)]
    pub condition: Option<f64>,
    /// The point about which the covariance is meant, car coordinates.
    #[serde(default)]
    pub pivot_mm: [f64; 3],
    /// Covariance of a small turn about the pivot (three numbers, rad) and a shift (three, mm), in this order.
    #[serde(default)]
    pub covariance: [[f64; 6]; 6],
    pub targets: Vec<TargetRecord>,
    pub panels: Vec<PanelRecord>,
    pub warnings: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TargetRecord {
    pub id: String,
    pub residual_mm: f64,
    pub is_used: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PanelRecord {
    pub panel: String,
    pub median_mm: f64,
    pub rms_mm: f64,
    #[serde(default)]
    pub point_count: u64,
    pub is_used: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SeamRecord {
    pub seam: String,
    pub title: String,
    pub datum_panel: String,
    pub other_panel: String,
    pub verdict: String,
    pub points_used: u64,
    pub spacing_mm: Option<f64>,
    pub gap: MeasurandRecord,
    pub flush: MeasurandRecord,
    pub taper: Option<TaperRecord>,
    /// Good, out, undecided or unseen, where the plan asks for a taper.
    #[serde(default)]
    pub taper_verdict: Option<String>,
    pub stations: Vec<StationRecord>,
}

/// Gap or flush over a seam.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MeasurandRecord {
    pub good: usize,
    /// Tight or low.
    pub below: usize,
    /// Wide or high.
    pub above: usize,
    pub undecided: usize,
    pub unseen: usize,
    pub mean_mm: Option<f64>,
    pub mean_u_mm: Option<f64>,
    pub least_mm: Option<f64>,
    pub greatest_mm: Option<f64>,
    pub worst: Vec<PlaceRecord>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlaceRecord {
    pub station: usize,
    pub along_mm: f64,
    pub value_mm: f64,
    /// Beyond the nearer limit; negative inside tolerance.
    pub beyond_mm: f64,
    pub verdict: String,
}

/// The word for a taper that is proved larger than allowed.
pub(super) const TAPER_OUT: &str = "out";

/// The word for a taper's verdict: `wide` would say that the gap is.
#[must_use]
pub const fn taper_word(verdict: Verdict) -> &'static str {
    if verdict.is_out() { TAPER_OUT } else { verdict.word() }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TaperRecord {
    pub from_mm: f64,
    pub to_mm: f64,
    pub change: ValueRecord,
    pub limit_mm: f64,
    pub verdict: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StationRecord {
    pub station: usize,
    pub along_mm: f64,
    pub point_mm: [f64; 3],
    /// As scanned.
    pub gap: ReadingRecord,
    /// As scanned.
    pub flush: ReadingRecord,
    /// As expected once the film still to come is on; null where the plan has none.
    pub finished: Option<FinishedRecord>,
    /// The datum panel's edge, then the other panel's; null where not seen.
    pub edges: [Option<EdgeRecord>; 2],
    /// One token each.
    pub warnings: Vec<String>,
}

/// Gap and flush as expected once the film still to come is on, with their own verdicts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FinishedRecord {
    pub gap: ReadingRecord,
    pub flush: ReadingRecord,
}

/// A judged value, or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingRecord {
    pub value: Option<ValueRecord>,
    /// One token; null where there is a value.
    pub reason: Option<String>,
    pub nominal_mm: f64,
    pub lower_limit_mm: f64,
    pub upper_limit_mm: f64,
    pub verdict: String,
    /// Probability that the true value lies within tolerance.
    pub conformance: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ValueRecord {
    pub value_mm: f64,
    /// Combined standard uncertainty.
    pub u_mm: f64,
    /// Effective degrees of freedom; null where infinite.
    pub degrees_of_freedom: Option<f64>,
    pub components: Vec<ComponentRecord>,
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ComponentRecord {
    pub source: String,
    pub u_mm: f64,
    pub degrees_of_freedom: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EdgeRecord {
    pub point_mm: [f64; 3],
    pub hem_radius_mm: f64,
    pub hem_radius_u_mm: f64,
    pub arc_seen_rad: f64,
    pub flange_depth_mm: f64,
}

/// The record of a run.
///
/// # Errors
/// None in practice: the text is made in memory.
pub fn record_json(results: &Results<'_>) -> Result<String, RenderError> {
    Ok(serde_json::to_string_pretty(&build::record(results))? + "\n")
}

/// An alignment alone, in the shape that it has in a record, for the command `align`.
///
/// # Errors
/// None in practice.
pub fn alignment_json(alignment: &Alignment) -> Result<String, RenderError> {
    Ok(serde_json::to_string_pretty(&build::alignment(alignment))? + "\n")
}

/// The JSON Schema of [`Record`], as published in `record.schema.json`.
///
/// # Errors
/// None in practice.
pub fn record_schema() -> Result<String, RenderError> {
    Ok(serde_json::to_string_pretty(&schemars::schema_for!(Record))? + "\n")
}
