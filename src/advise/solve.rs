//! The settings for a set of panels: worst first, then the sum of what is out, then near nominal, then the least travel.
//!
//! In: rows, knobs, what the exact reading of the moved edges adds to the linear one. Out: a [`MoveSolution`].
//! Units: mm; deviations in units of the tolerance's half width.
//! Method: four stages (`minimax`). The last gives up to the room that the readings' uncertainty leaves, so that no bolt
//! is touched for a gain that nobody can measure.

use nalgebra::{DMatrix, DVector};

use super::knobs::Knobs;
use super::minimax::{Band, Caps, KnobRange, Line, MinimaxError, MoveProblem, MoveSolution, Stage};
use super::rows::Row;
use crate::judge::Measurand;

/// What comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Aim {
    /// The worst place, then the sum of all that is out.
    #[default]
    Worst,
    /// The sum first: most places in tolerance, however far one bad spot is out.
    Most,
}

/// Most readings taken together in a stretch.
const BLOCK: usize = 10;

/// Room that the stages may give away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Room {
    pub worst: f64,
    pub excess: f64,
    pub centre: f64,
}

impl Room {
    pub fn share(self, share: f64) -> Self {
        Self { worst: share * self.worst, excess: share * self.excess, centre: share * self.centre }
    }
}

/// The programme. `beyond_mm` is added to each row's value: what the linear form misses at the settings looked at.
pub(super) fn problem_of(
    rows: &[Row],
    knobs: &Knobs,
    effect: &DMatrix<f64>,
    unseen: &[DVector<f64>],
    beyond_mm: &[f64],
) -> MoveProblem {
    let lines: Vec<Line> = rows
        .iter()
        .enumerate()
        .map(|(index, row)| Line {
            value: (row.value_mm + beyond_mm[index] - row.middle_mm()) / row.half_mm(),
            slope: effect.row(index).iter().map(|entry| entry / row.half_mm()).collect(),
            weight: row.weight,
        })
        .collect();
    let ranges = knobs
        .knobs
        .iter()
        .map(|knob| KnobRange { lower_mm: knob.lower_mm, upper_mm: knob.upper_mm, step_mm: knob.step_mm })
        .collect();
    let mut bands: Vec<Band> = knobs
        .followers
        .iter()
        .map(|follower| Band {
            slope: knobs
                .knobs
                .iter()
                .map(
                    |knob| {
                        if knob.frame == follower.frame { follower.gradient.dot(&knob.pose) } else { 0.0 }
                    },
                )
                .collect(),
            lower: follower.lower_mm,
            upper: follower.upper_mm,
        })
        .collect();
    // Whole steps cannot keep a combination at exactly nothing: then half the largest step is left to it.
    let play_mm = knobs.knobs.iter().filter_map(|knob| knob.step_mm).fold(0.0, f64::max) / 2.0;
    bands.extend(unseen.iter().map(|direction| Band {
        slope: direction.iter().copied().collect(),
        lower: -play_mm,
        upper: play_mm,
    }));
    MoveProblem { blocks: blocks_of(rows, &lines), lines, knobs: ranges, bands }
}

/// Means of up to [`BLOCK`] neighbouring readings of one seam.
fn blocks_of(rows: &[Row], lines: &[Line]) -> Vec<Line> {
    let mut blocks = Vec::new();
    let mut start = 0;
    for stretch in rows.chunk_by(|one, other| (one.seam, one.measurand) == (other.seam, other.measurand)) {
        for own in lines[start..start + stretch.len()].chunks(BLOCK) {
            let count = own.len() as f64;
            let mut slope = vec![0.0; own.first().map_or(0, |line| line.slope.len())];
            for line in own {
                for (sum, part) in slope.iter_mut().zip(&line.slope) {
                    *sum += part / count;
                }
            }
            blocks.push(Line {
                value: own.iter().map(|line| line.value).sum::<f64>() / count,
                slope,
                weight: own.iter().map(|line| line.weight).sum::<f64>(),
            });
        }
        start += stretch.len();
    }
    blocks
}

/// The same programme with only some panels' knobs free.
pub(super) fn only(problem: &MoveProblem, is_free: impl Fn(usize) -> bool) -> MoveProblem {
    let mut held = problem.clone();
    for (index, knob) in held.knobs.iter_mut().enumerate() {
        if !is_free(index) {
            (knob.lower_mm, knob.upper_mm) = (0.0, 0.0);
        }
    }
    held
}

/// All four stages.
pub(super) fn solve(problem: &MoveProblem, aim: Aim, room: Room) -> Result<MoveSolution, MinimaxError> {
    let hold = |one: &MoveSolution| Caps { worst: Some(one.worst), excess: Some(one.excess), centre: None };
    let out = match aim {
        Aim::Worst => {
            let worst = problem.minimise(Stage::Worst, Caps::default())?;
            problem.minimise(Stage::Excess, Caps { worst: Some(worst.worst), ..Caps::default() })?
        }
        Aim::Most => {
            let excess = problem.minimise(Stage::Excess, Caps::default())?;
            problem.minimise(Stage::Worst, Caps { excess: Some(excess.excess), ..Caps::default() })?
        }
    };
    // Only rounding can deny what is already reached.
    let best = problem.minimise(Stage::Centre, hold(&out)).unwrap_or(out);
    // Room must not push places over the limit that are in.
    let worst = best.worst + room.worst;
    let caps = Caps {
        worst: Some(if best.worst <= 1.0 { worst.min(1.0) } else { worst }),
        excess: Some(best.excess + if best.excess > 0.0 { room.excess } else { 0.0 }),
        centre: Some(best.centre + room.centre),
    };
    Ok(problem.minimise(Stage::Travel, caps).unwrap_or(best))
}

/// Uncertainty of the worst deviation, of what is outside and of the means, in units of the half width, at `deviations`.
pub(super) fn uncertainty(rows: &[Row], deviations: &[f64]) -> Room {
    let scaled = |row: &Row, u_mm: f64| row.weight * u_mm / row.half_mm();
    let worst = rows
        .iter()
        .zip(deviations)
        .max_by(|one, other| (one.0.weight * one.1.abs()).total_cmp(&(other.0.weight * other.1.abs())))
        .map_or(0.0, |(row, _)| scaled(row, row.u_mm));
    // What is this station's alone adds up by squares; what a seam shares adds up straight.
    let mut shared = std::collections::BTreeMap::new();
    let mut variance = 0.0;
    for (row, _) in rows.iter().zip(deviations).filter(|(_, deviation)| deviation.abs() > 1.0) {
        variance += scaled(row, row.local_u_mm).powi(2);
        let common_mm = (row.u_mm.powi(2) - row.local_u_mm.powi(2)).max(0.0).sqrt();
        *shared.entry((row.seam, row.measurand == Measurand::Gap)).or_insert(0.0) += scaled(row, common_mm);
    }
    variance += shared.values().map(|sum: &f64| sum.powi(2)).sum::<f64>();
    Room { worst, excess: variance.sqrt(), centre: rows.iter().map(|row| scaled(row, row.u_mm)).sum() }
}
