//! What the stages share: rows, knobs and their effect; and settings renewed by exact reading.
//!
//! In: the plan, judged seams, the panels that may move. Out: settings for any set of those panels. Units: mm; Car frame.
//! Method: settings from the linear form, exact re-reading of the moved edges, settings again with what the linear form
//! missed, twice; the best of them by exact reading.

use nalgebra::{DMatrix, DVector};

use super::exact::PanelPose;
use super::knobs::Knobs;
use super::minimax::{MinimaxError, MoveProblem, MoveSolution};
use super::predict::beyond_linear;
use super::rows::Row;
use super::solve::{Aim, only, problem_of, solve, uncertainty};
use crate::judge::JudgedSeam;
use crate::plan::Plan;

/// Times that the settings are renewed after an exact reading (method study: two are enough).
const EXACT_ROUNDS: usize = 2;
/// Share of the readings' uncertainty that the last stage may give away for less travel.
const ROOM_SHARE: f64 = 0.5;

/// What the stages share.
pub(super) struct Work<'a> {
    pub plan: &'a Plan,
    pub seams: &'a [JudgedSeam],
    pub rows: Vec<Row>,
    pub knobs: Knobs,
    pub effect: DMatrix<f64>,
    pub unseen: Vec<DVector<f64>>,
}

impl Work<'_> {
    /// Poses of the plan's panels for these settings; `None` for panels that are not asked about.
    pub fn poses(&self, settings_mm: &[f64]) -> Vec<Option<PanelPose>> {
        let mut poses = vec![None; self.plan.panels.len()];
        for (place, frame) in self.knobs.frames.iter().enumerate() {
            let pose = self.knobs.pose(place, settings_mm);
            poses[frame.panel] = Some(PanelPose {
                pivot: frame.pivot,
                shift_mm: pose.fixed_rows::<3>(0).into_owned(),
                rotation_rad: pose.fixed_rows::<3>(3) / frame.lever_mm,
            });
        }
        poses
    }

    pub fn problem(&self, beyond_mm: &[f64]) -> MoveProblem {
        problem_of(&self.rows, &self.knobs, &self.effect, &self.unseen, beyond_mm)
    }

    /// Settings with the knobs of some panel frames only, renewed by exact reading; and what the linear form misses.
    pub fn settle(
        &self,
        aim: Aim,
        is_free: &dyn Fn(usize) -> bool,
    ) -> Result<(MoveSolution, Vec<f64>), MinimaxError> {
        let mut beyond_mm = vec![0.0; self.rows.len()];
        let free_knob = |index: usize| is_free(self.knobs.knobs[index].frame);
        let mut best: Option<(MoveSolution, Vec<f64>)> = None;
        for _ in 0..=EXACT_ROUNDS {
            let problem = only(&self.problem(&beyond_mm), free_knob);
            let now = problem.score(vec![0.0; self.knobs.knobs.len()]);
            let room = uncertainty(&self.rows, &self.deviations(&now.settings_mm, &beyond_mm));
            let found = solve(&problem, aim, room.share(ROOM_SHARE))?;
            beyond_mm = beyond_linear(self, &found.settings_mm);
            let exact = self.problem(&beyond_mm).score(found.settings_mm);
            let is_better = |old: &MoveSolution| match aim {
                Aim::Worst => exact.worst < old.worst - 1e-9,
                Aim::Most => exact.excess < old.excess - 1e-9,
            };
            if best.as_ref().is_none_or(|(old, _)| is_better(old)) {
                best = Some((exact, beyond_mm.clone()));
            }
        }
        best.ok_or(MinimaxError::Infeasible)
    }

    /// Deviations in half widths at these settings.
    pub fn deviations(&self, settings_mm: &[f64], beyond_mm: &[f64]) -> Vec<f64> {
        let change = &self.effect * DVector::from_column_slice(settings_mm);
        self.rows
            .iter()
            .enumerate()
            .map(|(index, row)| {
                (row.value_mm + change[index] + beyond_mm[index] - row.middle_mm()) / row.half_mm()
            })
            .collect()
    }
}
