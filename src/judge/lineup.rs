//! Verdicts on what runs across seams: steps and shifts of lines, pitch and evenness of rows of bars.
//!
//! In: a lineup's reading, its tolerances, the decision rule. Out: a [`JudgedLineup`]. Units: mm.
//! Words: a step or shift below its tolerance is `low`, above it `high`; a pitch `tight` or `wide`; a row that is not even
//! enough is `wide`. What the plan gives no tolerance for has no verdict.
//! Film still to come raises both panels' outer faces, so a step changes as the flush does; a shift and a pitch, which lie in
//! the surface, do not change (the film on a line's flanks is taken as even).
//! Does not re-measure.

use super::decision::judge_value;
use super::finish::{finish_change, finished_estimate};
use super::verdict::{Measurand, Verdict};
use crate::lineup::{FeatureReading, LineupReading, LineupReason};
use crate::measure::Estimate;
use crate::plan::{DecisionRule, JudgedState, Lineup, Plan, Tolerance};

/// Verdicts on a row, datum panel and other panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JudgedRow {
    pub pitch: [Verdict; 2],
    /// `None` where the plan gives no limit.
    pub evenness: [Option<Verdict>; 2],
}

/// A lineup with its verdicts.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedLineup {
    pub reading: LineupReading,
    /// Step and shift of each feature, in the reading's order; `None` where the plan gives no tolerance.
    pub features: Vec<[Option<Verdict>; 2]>,
    pub row: Option<JudgedRow>,
    /// The steps as they are to be expected when finished, in the features' order; empty where no film is to come.
    pub finished_steps: Vec<Result<Estimate, LineupReason>>,
    /// The state that the verdicts on steps are of.
    pub judged_state: JudgedState,
}

impl JudgedLineup {
    /// The step of a feature, by its place in the reading, in the state that is judged.
    #[must_use]
    pub fn judged_step(&self, place: usize) -> Option<&Result<Estimate, LineupReason>> {
        match self.judged_state {
            JudgedState::Finished => self.finished_steps.get(place),
            JudgedState::AsScanned => self.reading.features.get(place).map(|feature| &feature.step),
        }
    }

    /// Every verdict there is.
    pub fn verdicts(&self) -> impl Iterator<Item = Verdict> {
        let row = self.row.into_iter().flat_map(|row| row.pitch.map(Some).into_iter().chain(row.evenness));
        self.features.iter().flatten().copied().chain(row).flatten()
    }

    /// True where no verdict is other than good; a lineup without tolerances is.
    #[must_use]
    pub fn is_all_good(&self) -> bool {
        self.verdicts().all(|verdict| verdict == Verdict::Good)
    }

    /// The one word: out where anything is proved out, else undecided, else unseen, else good.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let first = |wanted: &dyn Fn(Verdict) -> bool| self.verdicts().find(|verdict| wanted(*verdict));
        first(&Verdict::is_out)
            .or_else(|| first(&|verdict| verdict == Verdict::Undecided))
            .or_else(|| first(&|verdict| verdict == Verdict::Unseen))
            .unwrap_or(Verdict::Good)
    }
}

/// Judges a lineup.
#[must_use]
pub fn judge_lineup(lineup: &Lineup, reading: LineupReading, rule: &DecisionRule) -> JudgedLineup {
    let one = |measurand, measured: &Result<Estimate, LineupReason>, tolerance: &Tolerance| match measured {
        Ok(estimate) => judge_value(measurand, estimate, tolerance, rule),
        Err(_) => Verdict::Unseen,
    };
    let flat = |measured, tolerance: Option<Tolerance>| {
        tolerance.map(|tolerance| one(Measurand::Flush, measured, &tolerance))
    };
    let features = reading
        .features
        .iter()
        .map(|feature| [flat(&feature.step, lineup.step), flat(&feature.shift, lineup.shift)])
        .collect();
    let row = lineup.bars.zip(reading.row.as_ref()).map(|(bars, row)| JudgedRow {
        pitch: [0, 1].map(|side: usize| one(Measurand::Gap, &row.pitch[side], &bars.pitch)),
        evenness: [0, 1].map(|side: usize| {
            let limit_mm = bars.evenness_mm?;
            let even = Tolerance { nominal_mm: 0.0, minus_mm: limit_mm, plus_mm: limit_mm };
            Some(one(Measurand::Gap, &row.evenness[side], &even))
        }),
    });
    JudgedLineup { features, row, reading, finished_steps: Vec::new(), judged_state: JudgedState::AsScanned }
}

/// The same lineup with its finished steps, where the plan has film to come, judged in the state that the plan wants.
#[must_use]
pub fn lineup_with_finish(plan: &Plan, lineup: &Lineup, mut judged: JudgedLineup) -> JudgedLineup {
    let Some(seam) = plan.seam(&lineup.seam).filter(|_| plan.finish.is_to_come()) else { return judged };
    let change = finish_change(&plan.finish, seam).flush;
    let finished = |feature: &FeatureReading| {
        feature.step.as_ref().map(|step| finished_estimate(step, change)).map_err(|reason| *reason)
    };
    judged.finished_steps = judged.reading.features.iter().map(finished).collect();
    judged.judged_state = plan.finish.judge;
    if let (JudgedState::Finished, Some(tolerance)) = (judged.judged_state, lineup.step) {
        for (verdicts, step) in judged.features.iter_mut().zip(&judged.finished_steps) {
            let verdict = step.as_ref().map_or(Verdict::Unseen, |step| {
                judge_value(Measurand::Flush, step, &tolerance, &plan.decision)
            });
            verdicts[0] = Some(verdict);
        }
    }
    judged
}
