//! `lineups.csv`: every crease, bar and groove that runs across a seam, then each row's pitch and evenness.
//!
//! In: the plan and judged lineups. Out: UTF-8 CSV, or nothing where the plan has no lineups. Units: the plan's (`_mm` or `_in`).
//! One row a value: `quantity` is `step`, `shift`, `pitch`, `evenness` or `pitch-difference`, and where film is still to come
//! `step-finished` (the verdict then stands with the state that the plan judges); `panel` says whose pitch or
//! evenness it is; `bar` counts from 0. What was not measured is an empty cell, and `reason` says why; the verdict is empty
//! where the plan gives no tolerance.

use super::error::RenderError;
use super::table_csv::{cells, number, unit_suffix};
use crate::judge::{JudgedLineup, Verdict};
use crate::lineup::LineupReason;
use crate::measure::Estimate;
use crate::plan::{JudgedState, Lineup, Plan};
use crate::units::LengthUnit;

/// The table of lineups, or `None` where the plan has none.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn lineups_csv(plan: &Plan, judged: &[JudgedLineup]) -> Result<Option<String>, RenderError> {
    if judged.is_empty() {
        return Ok(None);
    }
    let suffix = unit_suffix(plan.units);
    let mut table = csv::Writer::from_writer(Vec::new());
    let lengths = ["at", "value", "u"].map(|name| format!("{name}_{suffix}"));
    let [at, value, u] = &lengths;
    table.write_record(["lineup", "seam", "quantity", "bar", "panel", at, value, u, "verdict", "reason"])?;
    for one in judged {
        let Some(lineup) = plan.lineups.iter().find(|lineup| lineup.id == one.reading.id) else { continue };
        for row in rows(plan, lineup, one) {
            table.write_record(row.cells(lineup, plan.units))?;
        }
    }
    let bytes = table.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(Some(String::from_utf8_lossy(&bytes).into_owned()))
}

/// One value of a lineup.
pub(super) struct LineupRow<'a> {
    pub quantity: &'static str,
    pub bar: Option<usize>,
    /// Datum panel or other panel, by its id.
    pub panel: String,
    pub at_mm: Option<f64>,
    pub value: &'a Result<Estimate, LineupReason>,
    pub verdict: Option<Verdict>,
}

impl LineupRow<'_> {
    fn cells(&self, lineup: &Lineup, unit: LengthUnit) -> [String; 10] {
        let (value, u) = cells(self.value.as_ref(), unit);
        [
            lineup.id.clone(),
            lineup.seam.0.clone(),
            self.quantity.to_owned(),
            self.bar.map_or_else(String::new, |bar| bar.to_string()),
            self.panel.clone(),
            self.at_mm.map_or_else(String::new, |at_mm| number(at_mm, unit)),
            value,
            u,
            self.verdict.map_or_else(String::new, |verdict| verdict.word().to_owned()),
            self.value.as_ref().err().map_or_else(String::new, |reason| reason.token().to_owned()),
        ]
    }
}

/// All values of a lineup in order.
pub(super) fn rows<'a>(plan: &Plan, lineup: &Lineup, judged: &'a JudgedLineup) -> Vec<LineupRow<'a>> {
    let mut rows = Vec::new();
    let is_finished = judged.judged_state == JudgedState::Finished;
    for (place, (feature, verdicts)) in judged.reading.features.iter().zip(&judged.features).enumerate() {
        let bar = lineup.bars.map(|_| feature.index);
        let in_state = |finished: bool| verdicts[0].filter(|_| finished == is_finished);
        let mut quantities = vec![("step", &feature.step, in_state(false))];
        let finished = judged.finished_steps.get(place);
        quantities.extend(finished.map(|step| ("step-finished", step, in_state(true))));
        quantities.push(("shift", &feature.shift, verdicts[1]));
        rows.extend(quantities.into_iter().map(|(quantity, value, verdict)| LineupRow {
            quantity,
            bar,
            panel: String::new(),
            at_mm: Some(feature.at_mm),
            value,
            verdict,
        }));
    }
    if let (Some(row), Some(verdicts)) = (&judged.reading.row, &judged.row) {
        let seam = plan.seam(&lineup.seam);
        let panels = [0, 1].map(|side: usize| {
            seam.map_or_else(String::new, |seam| [&seam.datum_panel, &seam.other_panel][side].0.clone())
        });
        let plain = |quantity, panel: &str, value, verdict| LineupRow {
            quantity,
            bar: None,
            panel: panel.to_owned(),
            at_mm: None,
            value,
            verdict,
        };
        let both = || panels.iter().enumerate();
        rows.extend(
            both().map(|(side, panel)| plain("pitch", panel, &row.pitch[side], Some(verdicts.pitch[side]))),
        );
        rows.extend(
            both()
                .map(|(side, panel)| plain("evenness", panel, &row.evenness[side], verdicts.evenness[side])),
        );
        rows.push(plain("pitch-difference", "", &row.pitch_difference, None));
    }
    rows
}
