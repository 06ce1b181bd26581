//! `advice.json`: an advice for other programs, with a version number and a published JSON Schema.
//!
//! In: the plan and an [`Advice`]. Out: JSON text; its schema is `advice.schema.json` beside this file.
//! Units: mm and rad, said in the keys, whatever the plan's unit; Car frame. What is not known is `null`, never zero.
//! Does not repeat the readings: `advice.csv` and `record.json` hold them.

use schemars::JsonSchema;
use serde::Serialize;

use super::advice_findings::leftover_lines;
use super::advice_words::{advice_lines, unseen_words};
use super::error::RenderError;
use super::texts::Language;
use crate::advise::{
    Advice, Aim, EdgeRun, Need, PanelAdvice, PanelPose, Score, SeamEdges, Setting, SettingSource, TravelEnd,
};
use crate::plan::{AdjusterSetting, Plan};

/// Rises when a field changes its meaning or goes away; new fields do not raise it.
pub const ADVICE_VERSION: u32 = 1;

/// The whole advice.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "shutline advice")]
struct AdviceRecord {
    advice_version: u32,
    program_version: String,
    plan: String,
    /// File name of the scan, record or readings.
    input: String,
    /// "nothing-out", "not-worth-it" or "move".
    need: String,
    /// "worst" (the worst place first, then the sum) or "most" (the sum first).
    aim: String,
    before: ScoreRecord,
    after: ScoreRecord,
    /// Expanded uncertainty (k = 2) of the gain in the worst deviation.
    gain_expanded: f64,
    other_aim: Option<ScoreRecord>,
    /// In the order of work; panels that stay come last.
    panels: Vec<PanelRecord>,
    /// Directions that the readings do not tell, in words; they were not moved.
    unseen: Vec<String>,
    linear_error_mm: f64,
    leftover: Vec<EdgesRecord>,
    leftover_in_words: Vec<String>,
    cautions: Vec<String>,
}

/// Deviations are in units of the tolerance's half width: above 1 is out.
#[derive(Debug, Serialize, JsonSchema)]
struct ScoreRecord {
    worst: f64,
    worst_seam: Option<String>,
    worst_station: Option<usize>,
    worst_measurand: Option<String>,
    /// Sum of the weighted parts that lie outside.
    sum: f64,
    good: usize,
    undecided: usize,
    out: usize,
}

#[derive(Debug, Serialize, JsonSchema)]
struct PanelRecord {
    panel: String,
    is_moved: bool,
    in_words: Vec<String>,
    /// The panel's move: turned by the rotation vector about the pivot, then shifted.
    pivot_mm: [f64; 3],
    shift_mm: [f64; 3],
    rotation_rad: [f64; 3],
    held_freedoms: usize,
    settings: Vec<SettingRecord>,
    /// Where the panel stands off its nominal place now, shape errors apart.
    stands_off: Option<StandingRecord>,
}

#[derive(Debug, Serialize, JsonSchema)]
struct StandingRecord {
    pivot_mm: [f64; 3],
    shift_mm: [f64; 3],
    rotation_rad: [f64; 3],
    /// Rows and columns: shift x, y, z in mm, rotation x, y, z in rad.
    covariance: Vec<Vec<f64>>,
    /// Share of each of the six that the seams do not tell.
    unseen_share: [f64; 6],
}

#[derive(Debug, Serialize, JsonSchema)]
struct SettingRecord {
    /// The adjuster's id; null for a free move.
    adjuster: Option<String>,
    /// Unit vector of the way; of the axis for a free move.
    direction: [f64; 3],
    /// True for a free turn, whose amount is in mm at the panel's lever.
    is_turn: bool,
    amount_mm: f64,
    u_mm: Option<f64>,
    /// Whole steps (shims, parts of a turn), where the way has them.
    steps: Option<i64>,
    follows: bool,
    /// "minus" or "plus" where the travel ends here.
    at_limit: Option<String>,
}

/// What must change in metal along a seam; `edges.csv` has every station.
#[derive(Debug, Serialize, JsonSchema)]
struct EdgesRecord {
    seam: String,
    panel: String,
    neighbour: String,
    runs: Vec<RunRecord>,
    left_alone: usize,
}

#[derive(Debug, Serialize, JsonSchema)]
struct RunRecord {
    /// "gap": the edge line; "flush": the panel's shape.
    measurand: String,
    from_mm: f64,
    to_mm: f64,
    /// Gap: to take off (positive) or to add; flush: to raise (positive) or to lower.
    most_mm: f64,
    most_at_mm: f64,
}

/// The advice as JSON. Words are English.
///
/// # Errors
/// None in practice: the text is made in memory.
pub fn advice_json(plan: &Plan, advice: &Advice, input: &str) -> Result<String, RenderError> {
    let lines = advice_lines(plan, advice, Language::English);
    let record = AdviceRecord {
        advice_version: ADVICE_VERSION,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        plan: plan.title.clone(),
        input: input.to_owned(),
        need: match advice.need {
            Need::NothingOut => "nothing-out",
            Need::NotWorthIt => "not-worth-it",
            Need::Move => "move",
        }
        .to_owned(),
        aim: if advice.aim == Aim::Worst { "worst" } else { "most" }.to_owned(),
        before: score(&advice.before),
        after: score(&advice.after),
        gain_expanded: advice.gain_expanded,
        other_aim: advice.other_aim.as_ref().map(score),
        panels: advice
            .panels
            .iter()
            .enumerate()
            .map(|(index, panel)| {
                let in_words = lines.get(index).map(|(_, lines)| lines.clone()).unwrap_or_default();
                panel_record(plan, panel, in_words)
            })
            .collect(),
        unseen: advice.unseen.iter().map(|one| unseen_words(plan, one, Language::English)).collect(),
        linear_error_mm: advice.linear_error_mm,
        leftover: advice.edges.iter().map(edges_record).collect(),
        leftover_in_words: leftover_lines(plan, advice, Language::English),
        cautions: Language::English.advice_texts().cautions.map(str::to_owned).to_vec(),
    };
    Ok(serde_json::to_string_pretty(&record)? + "\n")
}

/// The JSON Schema of `advice.json`, as published in `advice.schema.json`.
///
/// # Errors
/// None in practice.
pub fn advice_schema() -> Result<String, RenderError> {
    Ok(serde_json::to_string_pretty(&schemars::schema_for!(AdviceRecord))? + "\n")
}

fn score(score: &Score) -> ScoreRecord {
    let place = score.worst_place.as_ref();
    ScoreRecord {
        worst: score.worst,
        worst_seam: place.map(|(seam, ..)| seam.0.clone()),
        worst_station: place.map(|(_, station, _)| *station),
        worst_measurand: place.map(|(.., measurand)| measurand.word().to_owned()),
        sum: score.sum,
        good: score.good,
        undecided: score.undecided,
        out: score.out,
    }
}

fn panel_record(plan: &Plan, panel: &PanelAdvice, in_words: Vec<String>) -> PanelRecord {
    let PanelPose { pivot, shift_mm, rotation_rad } = panel.pose;
    PanelRecord {
        panel: panel.panel.0.clone(),
        is_moved: panel.is_moved,
        in_words,
        pivot_mm: pivot.coords.into(),
        shift_mm: shift_mm.into(),
        rotation_rad: rotation_rad.into(),
        held_freedoms: panel.held_freedoms,
        settings: panel.settings.iter().map(|one| setting_record(plan, one)).collect(),
        stands_off: panel.standing.as_ref().map(|standing| StandingRecord {
            pivot_mm: standing.motion.pivot.coords.into(),
            shift_mm: standing.motion.shift_mm.into(),
            rotation_rad: standing.motion.rotation_rad.into(),
            covariance: standing
                .motion
                .covariance
                .row_iter()
                .map(|row| row.iter().copied().collect())
                .collect(),
            unseen_share: standing.motion.unseen_share,
        }),
    }
}

fn setting_record(plan: &Plan, setting: &Setting) -> SettingRecord {
    let (adjuster, direction, is_turn) = match setting.source {
        SettingSource::Free { axis } => {
            let mut direction = [0.0; 3];
            direction[axis % 3] = 1.0;
            (None, direction, axis >= 3)
        }
        SettingSource::Way { adjuster, way } => {
            let found = plan.advice.adjusters.get(adjuster);
            let direction = found.and_then(|found| match &found.setting {
                AdjusterSetting::Ways { ways, .. } => ways.get(way).map(|way| way.direction.into()),
                AdjusterSetting::Free { .. } => None,
            });
            (found.map(|found| found.id.clone()), direction.unwrap_or_default(), false)
        }
    };
    SettingRecord {
        adjuster,
        direction,
        is_turn,
        amount_mm: setting.amount_mm,
        u_mm: setting.u_mm,
        steps: setting.steps,
        follows: setting.follows,
        at_limit: setting
            .at_limit
            .map(|end| if end == TravelEnd::Minus { "minus" } else { "plus" }.to_owned()),
    }
}

fn edges_record(edges: &SeamEdges) -> EdgesRecord {
    EdgesRecord {
        seam: edges.seam.0.clone(),
        panel: edges.panel.0.clone(),
        neighbour: edges.neighbour.0.clone(),
        runs: edges.runs.iter().map(run_record).collect(),
        left_alone: edges.left_alone,
    }
}

fn run_record(run: &EdgeRun) -> RunRecord {
    RunRecord {
        measurand: run.measurand.word().to_owned(),
        from_mm: run.from_mm,
        to_mm: run.to_mm,
        most_mm: run.most_mm,
        most_at_mm: run.most_at_mm,
    }
}
