//! What runs across seams, in two scans or on the two sides of one: the change of each value and whether it is proved.
//!
//! In: judged lineups. Out: [`LineupChange`]s in the lineups' order. Units: mm.
//! Method: second − first, uncertainties combined as independent (JCGM 100:2008, 5.1.2), so that nothing is taken as
//! common: that can only overstate the doubt. A change is real where it is more than twice its standard uncertainty.
//! Does not say which of the two is right: the tolerances do.

use super::compare::{ChangeVerdict, MirroredLineups};
use crate::judge::JudgedLineup;
use crate::measure::Estimate;

/// Coverage factor for "proved", about 95 %.
const PROVED_AT: f64 = 2.0;

/// One value of a lineup in both.
#[derive(Debug, Clone, PartialEq)]
pub struct LineupChange {
    /// The first one's lineup.
    pub lineup: String,
    /// `step`, `shift`, `pitch`, `evenness` or `pitch-difference`, as in `lineups.csv`.
    pub quantity: &'static str,
    /// Which bar, from 0; `None` for a crease and for a row as a whole.
    pub bar: Option<usize>,
    /// Datum panel (0) or other panel (1), whose pitch or evenness it is.
    pub side: Option<usize>,
    pub first_mm: Option<f64>,
    pub second_mm: Option<f64>,
    /// Second − first with its standard uncertainty.
    pub change_mm: Option<(f64, f64)>,
}

impl LineupChange {
    /// Real where it is proved; nothing is said about changes too small to matter.
    #[must_use]
    pub fn verdict(&self) -> ChangeVerdict {
        match self.change_mm {
            None => ChangeVerdict::Unseen,
            Some((change_mm, u_mm)) if change_mm.abs() > PROVED_AT * u_mm => ChangeVerdict::Real,
            Some(_) => ChangeVerdict::Undecided,
        }
    }
}

/// The changes of all lineups that both scans have.
#[must_use]
pub fn lineup_changes(first: &[JudgedLineup], second: &[JudgedLineup]) -> Vec<LineupChange> {
    let partner = |one: &JudgedLineup| second.iter().find(|other| other.reading.id == one.reading.id);
    let pairs = first.iter().filter_map(|one| Some((one, partner(one)?, Counted::ALIKE)));
    pairs.flat_map(changes_of).collect()
}

/// One side against the other within one scan: the first of each pair is subtracted from the second, as seen in the car's
/// mirror. A shift is left out where nobody can say which way it goes, and with it each bar of a row by itself.
#[must_use]
pub fn mirrored_lineup_changes(lineups: &[JudgedLineup], pairs: &[MirroredLineups]) -> Vec<LineupChange> {
    let find = |id: &str| lineups.iter().find(|one| one.reading.id == id);
    pairs
        .iter()
        .filter_map(|pair| {
            let counted = Counted { runs: pair.runs, has_opposite_datum: pair.has_opposite_datum };
            Some((find(&pair.first)?, find(&pair.second)?, counted))
        })
        .flat_map(changes_of)
        .collect()
}

/// How the second's values are counted in the first's sense.
#[derive(Clone, Copy)]
struct Counted {
    /// 1 along the first's curve, −1 against it.
    runs: Option<f64>,
    has_opposite_datum: bool,
}

impl Counted {
    const ALIKE: Self = Self { runs: Some(1.0), has_opposite_datum: false };

    const fn step_sign(self) -> f64 {
        if self.has_opposite_datum { -1.0 } else { 1.0 }
    }
}

fn changes_of((first, second, counted): (&JudgedLineup, &JudgedLineup, Counted)) -> Vec<LineupChange> {
    let id = &first.reading.id;
    let mut changes = Vec::new();
    let has_bars = first.reading.row.is_some();
    let count = first.reading.features.len();
    // Which bar is whose is not known where one row has more of them, or nobody knows which end is which.
    let is_matched = count == second.reading.features.len() && (counted.runs.is_some() || !has_bars);
    for (place, one) in first.reading.features.iter().enumerate().filter(|_| is_matched) {
        let partner = match counted.runs {
            Some(runs) if runs < 0.0 => count - 1 - place,
            _ => place,
        };
        let Some(other) = second.reading.features.get(partner) else { continue };
        let bar = has_bars.then_some(one.index);
        let change = |quantity, pair: [Option<&Estimate>; 2], sign| LineupChange {
            bar,
            ..change_between(id, quantity, pair, sign)
        };
        changes.push(change("step", [one.step.as_ref().ok(), other.step.as_ref().ok()], counted.step_sign()));
        if let Some(runs) = counted.runs {
            let shifts = [one.shift.as_ref().ok(), other.shift.as_ref().ok()];
            changes.push(change("shift", shifts, runs * counted.step_sign()));
        }
    }
    if let (Some(one), Some(other)) = (&first.reading.row, &second.reading.row) {
        for side in 0..2 {
            let change = |quantity, pair: [Option<&Estimate>; 2]| LineupChange {
                side: Some(side),
                ..change_between(id, quantity, pair, 1.0)
            };
            let there = if counted.has_opposite_datum { 1 - side } else { side };
            changes.push(change("pitch", [one.pitch[side].as_ref().ok(), other.pitch[there].as_ref().ok()]));
            let evenness = [one.evenness[side].as_ref().ok(), other.evenness[there].as_ref().ok()];
            changes.push(change("evenness", evenness));
        }
    }
    changes
}

fn change_between(
    lineup: &str,
    quantity: &'static str,
    [first, second]: [Option<&Estimate>; 2],
    sign: f64,
) -> LineupChange {
    let [first_mm, second_mm] = [first.map(|one| one.value_mm), second.map(|other| sign * other.value_mm)];
    let change_mm = first
        .zip(second)
        .map(|(one, other)| (sign * other.value_mm - one.value_mm, one.u_mm.hypot(other.u_mm)));
    LineupChange {
        lineup: lineup.to_owned(),
        quantity,
        bar: None,
        side: None,
        first_mm,
        second_mm,
        change_mm,
    }
}
