//! The settings that leave the smallest worst deviation, the smallest sum of what is outside, or the least travel.
//!
//! In: a [`MoveProblem`]: lines `z = value + slope · x` whose size counts from 1 on, knobs with limits and steps, bands.
//! Out: a [`MoveSolution`] for a [`Stage`]. Units: z has none (1 is a tolerance limit); x in mm.
//! Method: linear programme, mixed-integer where knobs have steps (crate `microlp`: simplex, branch and bound):
//! worst: min T with weight·|z| ≤ T; excess: min Σ weight·max(0, |z| − 1); centre: min Σ weight·|z| over the blocks, which puts
//! stretches of a seam near nominal; travel: min Σ |x|; each with what the stages before it reached as caps. Only the lines that matter are written into the programme; the others are looked at afterwards
//! and put in where they are broken, until none is (the cutting-plane method of Kelley, J. SIAM 8(4), 1960, 703–712), so
//! that the result is that of the whole programme.
//! Does not know seams or panels.

use std::collections::BTreeSet;

use microlp::{ComparisonOp, LinearExpr, OptimizationDirection, Problem, Variable};
use thiserror::Error;

/// A line counts as kept when it is broken by less than this; far below any reading's uncertainty.
const KEPT: f64 = 1e-7;
/// Relative and absolute room that a cap is given against rounding.
const CAP_ROOM: f64 = 1e-6;
/// Smaller coefficients are rounding, on which no simplex may pivot.
const NOTHING: f64 = 1e-9;
/// Most broken lines put in at once when the worst is minimised: few of them bind.
const AT_ONCE: usize = 12;
/// Rounds after which the solution is taken as it is; each puts in at least one line, and some ten do.
const MOST_ROUNDS: usize = 400;

/// `z = value + slope · x`.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    pub value: f64,
    pub slope: Vec<f64>,
    pub weight: f64,
}

/// Limits of a knob, mm, and its step where it has one; the limits are whole steps and include 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnobRange {
    pub lower_mm: f64,
    pub upper_mm: f64,
    pub step_mm: Option<f64>,
}

/// `lower ≤ slope · x ≤ upper`.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    pub slope: Vec<f64>,
    pub lower: f64,
    pub upper: f64,
}

/// Everything that a stage works on.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MoveProblem {
    pub lines: Vec<Line>,
    /// Means of stretches of lines; their whole size counts in the centre.
    pub blocks: Vec<Line>,
    pub knobs: Vec<KnobRange>,
    pub bands: Vec<Band>,
}

/// What to minimise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Stage {
    #[default]
    Worst,
    Excess,
    Centre,
    Travel,
}

/// What must not get worse; `None` holds nothing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Caps {
    pub worst: Option<f64>,
    pub excess: Option<f64>,
    pub centre: Option<f64>,
}

/// Settings and what they reach.
#[derive(Debug, Clone, PartialEq)]
pub struct MoveSolution {
    /// mm, one for each knob.
    pub settings_mm: Vec<f64>,
    /// Largest weight·|z|.
    pub worst: f64,
    /// Sum of weight·max(0, |z| − 1) over the lines.
    pub excess: f64,
    /// Sum of weight·|z| over the blocks.
    pub centre: f64,
    /// Sum of |x|, mm.
    pub travel_mm: f64,
}

/// Why no settings were found.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
pub enum MinimaxError {
    #[error("no settings keep all limits; check the travel of the adjusters in the plan")]
    Infeasible,
    #[error("the search for settings did not end ({0}); give fewer panels, or wider steps")]
    Stuck(String),
}

impl MoveProblem {
    /// What given settings reach.
    #[must_use]
    pub fn score(&self, settings_mm: Vec<f64>) -> MoveSolution {
        let (mut worst, mut excess) = (0.0_f64, 0.0);
        for line in &self.lines {
            let size = line.at(&settings_mm).abs();
            worst = worst.max(line.weight * size);
            excess += line.weight * (size - 1.0).max(0.0);
        }
        let travel_mm = settings_mm.iter().map(|setting_mm| setting_mm.abs()).sum();
        let centre: f64 = self.blocks.iter().map(|block| block.weight * block.at(&settings_mm).abs()).sum();
        MoveSolution { settings_mm, worst, excess, centre, travel_mm }
    }

    /// Minimises one thing without making capped ones worse.
    ///
    /// # Errors
    /// The caps and limits leave nothing, or the solver gives up.
    pub fn minimise(&self, stage: Stage, caps: Caps) -> Result<MoveSolution, MinimaxError> {
        let room = |cap: f64| cap + CAP_ROOM * cap.abs().max(1.0);
        let caps = Caps {
            worst: caps.worst.map(room),
            excess: caps.excess.map(room),
            centre: caps.centre.map(room),
        };
        let mut work = Working { stage, caps, ..Working::default() };
        let mut settings_mm = Vec::new();
        for _ in 0..MOST_ROUNDS {
            // A basis that the solver cannot invert is one of many for the same optimum: another order finds another.
            let (found_mm, bound) = match work.solve(self) {
                Err(MinimaxError::Stuck(_)) => {
                    work.is_reversed = !work.is_reversed;
                    work.solve(self)?
                }
                other => other?,
            };
            settings_mm = found_mm;
            if !work.put_in_broken(self, &settings_mm, bound) {
                break;
            }
        }
        Ok(self.score(settings_mm))
    }
}

impl Line {
    fn at(&self, settings_mm: &[f64]) -> f64 {
        self.value + self.slope.iter().zip(settings_mm).map(|(slope, setting)| slope * setting).sum::<f64>()
    }
}

/// The lines that are in the programme.
#[derive(Debug, Default)]
struct Working {
    stage: Stage,
    caps: Caps,
    /// Lines are written in the other order.
    is_reversed: bool,
    /// Line and whether its positive side is bounded.
    bounded: BTreeSet<(usize, bool)>,
    /// Lines whose excess is counted.
    counted: BTreeSet<usize>,
}

impl Working {
    /// Solves with what is in; gives the settings and the bound on weight·|z| that holds for lines put in.
    fn solve(&self, problem: &MoveProblem) -> Result<(Vec<f64>, Option<f64>), MinimaxError> {
        let mut programme = Problem::new(OptimizationDirection::Minimize);
        let knobs: Vec<Option<(Variable, f64)>> =
            problem.knobs.iter().map(|knob| add_knob(&mut programme, knob)).collect();
        let scaled = |slope: &[f64], sign: f64| {
            let mut sum = LinearExpr::empty();
            for (knob, slope) in knobs.iter().zip(slope) {
                let entry = |scale: &f64| Some(sign * slope * scale).filter(|entry| entry.abs() > NOTHING);
                if let Some((knob, entry)) =
                    knob.as_ref().and_then(|(knob, scale)| Some((knob, entry(scale)?)))
                {
                    sum.add(*knob, entry);
                }
            }
            sum
        };
        for band in &problem.bands {
            let is_free =
                |(slope, knob): (&f64, &Option<(Variable, f64)>)| slope.abs() > NOTHING && knob.is_some();
            if !band.slope.iter().zip(&knobs).any(is_free) {
                continue;
            }
            if band.lower == band.upper {
                programme.add_constraint(scaled(&band.slope, 1.0), ComparisonOp::Eq, band.lower);
            } else {
                programme.add_constraint(scaled(&band.slope, 1.0), ComparisonOp::Le, band.upper);
                programme.add_constraint(scaled(&band.slope, 1.0), ComparisonOp::Ge, band.lower);
            }
        }
        let worst = (self.stage == Stage::Worst).then(|| programme.add_var(1.0, (0.0, f64::INFINITY)));
        let mut bounded: Vec<&(usize, bool)> = self.bounded.iter().collect();
        if self.is_reversed {
            bounded.reverse();
        }
        for (index, is_positive) in bounded {
            let line = &problem.lines[*index];
            let sign = if *is_positive { 1.0 } else { -1.0 };
            let mut sum = scaled(&line.slope, line.weight * sign);
            let mut right = -line.weight * sign * line.value;
            match worst {
                Some(worst) => sum.add(worst, -1.0),
                None => right += self.caps.worst.unwrap_or(f64::INFINITY),
            }
            programme.add_constraint(sum, ComparisonOp::Le, right);
        }
        self.add_excesses(problem, &mut programme, &scaled);
        self.add_blocks(problem, &mut programme, &scaled);
        if self.stage == Stage::Travel {
            for (knob, scale) in knobs.iter().flatten() {
                let travel = programme.add_var(1.0, (0.0, f64::INFINITY));
                programme.add_constraint([(*knob, *scale), (travel, -1.0)], ComparisonOp::Le, 0.0);
                programme.add_constraint([(*knob, -scale), (travel, -1.0)], ComparisonOp::Le, 0.0);
            }
        }
        let solution = programme.solve().map_err(|error| match error {
            microlp::Error::Infeasible => MinimaxError::Infeasible,
            other => MinimaxError::Stuck(other.to_string()),
        })?;
        let settings_mm = knobs
            .iter()
            .zip(&problem.knobs)
            .map(|(knob, range)| {
                let Some((knob, scale)) = knob else { return 0.0 };
                let value = *solution.var_value(*knob);
                let setting_mm = scale * if range.step_mm.is_some() { value.round() } else { value };
                setting_mm.clamp(range.lower_mm, range.upper_mm)
            })
            .collect();
        Ok((settings_mm, worst.map(|worst| *solution.var_value(worst)).or(self.caps.worst)))
    }

    /// One unknown for each counted line: how far it lies outside.
    fn add_excesses(
        &self,
        problem: &MoveProblem,
        programme: &mut Problem,
        scaled: &impl Fn(&[f64], f64) -> LinearExpr,
    ) {
        let cost = if self.stage == Stage::Excess { 1.0 } else { 0.0 };
        let mut total = LinearExpr::empty();
        for index in &self.counted {
            let line = &problem.lines[*index];
            let excess = programme.add_var(cost * line.weight, (0.0, f64::INFINITY));
            total.add(excess, line.weight);
            for sign in [1.0, -1.0] {
                let mut sum = scaled(&line.slope, sign);
                sum.add(excess, -1.0);
                programme.add_constraint(sum, ComparisonOp::Le, 1.0 - sign * line.value);
            }
        }
        if let (Some(cap), false) = (self.caps.excess, self.counted.is_empty()) {
            programme.add_constraint(total, ComparisonOp::Le, cap);
        }
    }

    /// One unknown for each block: how far its mean lies from the middle.
    fn add_blocks(
        &self,
        problem: &MoveProblem,
        programme: &mut Problem,
        scaled: &impl Fn(&[f64], f64) -> LinearExpr,
    ) {
        if (self.stage != Stage::Centre && self.caps.centre.is_none()) || problem.blocks.is_empty() {
            return;
        }
        let cost = if self.stage == Stage::Centre { 1.0 } else { 0.0 };
        let mut total = LinearExpr::empty();
        for block in &problem.blocks {
            let size = programme.add_var(cost * block.weight, (0.0, f64::INFINITY));
            total.add(size, block.weight);
            for sign in [1.0, -1.0] {
                let mut sum = scaled(&block.slope, sign);
                sum.add(size, -1.0);
                programme.add_constraint(sum, ComparisonOp::Le, -sign * block.value);
            }
        }
        if let Some(cap) = self.caps.centre {
            programme.add_constraint(total, ComparisonOp::Le, cap);
        }
    }

    /// Puts in lines that the settings break; false where there are none.
    fn put_in_broken(&mut self, problem: &MoveProblem, settings_mm: &[f64], bound: Option<f64>) -> bool {
        let before = self.bounded.len() + self.counted.len();
        if let Some(bound) = bound {
            let mut broken: Vec<(f64, usize, bool)> = problem
                .lines
                .iter()
                .enumerate()
                .map(|(index, line)| (line.weight, index, line.at(settings_mm)))
                .map(|(weight, index, z)| (weight * z.abs() - bound, index, z > 0.0))
                .filter(|(by, ..)| *by > KEPT)
                .collect();
            broken.sort_by(|one, other| other.0.total_cmp(&one.0));
            self.bounded
                .extend(broken.iter().take(AT_ONCE).map(|(_, index, is_positive)| (*index, *is_positive)));
        }
        if self.stage == Stage::Excess || self.caps.excess.is_some() {
            let outside = problem.lines.iter().enumerate();
            self.counted.extend(
                outside.filter(|(_, line)| line.at(settings_mm).abs() > 1.0 + KEPT).map(|(index, _)| index),
            );
        }
        self.bounded.len() + self.counted.len() > before
    }
}

/// The unknown of a knob, and what it is multiplied by to give mm; `None` where it cannot move: an unknown without room
/// makes the simplex degenerate.
fn add_knob(programme: &mut Problem, knob: &KnobRange) -> Option<(Variable, f64)> {
    if knob.upper_mm <= knob.lower_mm {
        return None;
    }
    Some(match knob.step_mm {
        None => (programme.add_var(0.0, (knob.lower_mm, knob.upper_mm)), 1.0),
        Some(step_mm) => {
            let count = |limit_mm: f64| (limit_mm / step_mm).round() as i32;
            (programme.add_integer_var(0.0, (count(knob.lower_mm), count(knob.upper_mm))), step_mm)
        }
    })
}
