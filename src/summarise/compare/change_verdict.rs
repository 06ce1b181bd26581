//! Decides which changes are real, which are none, and which cannot be told.
//!
//! In: the seams' changes with their uncertainties. Out: verdicts and trends filled in. Units: mm.
//! Method: stations are taken together in blocks of neighbours, and each block's mean change is tested against zero
//! (two-sided, Student t). Many tests find something somewhere, so the share of false ones among the found is held by
//! the step-up procedure of Benjamini and Hochberg, J. R. Statist. Soc. B 57(1), 1995, 289–300, over all blocks and
//! seam means together; it stays valid for tests that share a positive error, as these do through what is common to a
//! scan (Benjamini and Yekutieli, Ann. Statist. 29(4), 2001).
//! `none` is not the absence of proof: it needs change ± U to lie inside what does not matter for the tolerance.
//! Does not correct for how many scans were compared before.

use super::CompareSettings;
use super::changes::{MeasurandChange, SeamChange, StationChange};
use crate::judge::{Measurand, conformance, coverage_factor};
use crate::measure::Estimate;
use crate::plan::Tolerance;
use crate::summarise::measurand_summary::mean_of;

/// What can be said of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ChangeVerdict {
    /// Proved to be there.
    Real,
    /// Proved to be too small to matter.
    NoChange,
    Undecided,
    /// One of the scans does not show it.
    Unseen,
}

impl ChangeVerdict {
    /// The word in files and on screens.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Real => "real",
            Self::NoChange => "none",
            Self::Undecided => "undecided",
            Self::Unseen => "unseen",
        }
    }
}

/// Where a real change leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Trend {
    /// Nearer to tolerance, or further inside it.
    Better,
    Worse,
    /// No real change, or one that leaves the distance to tolerance as it was.
    Same,
}

impl Trend {
    /// The word in files and on screens.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Better => "better",
            Self::Worse => "worse",
            Self::Same => "same",
        }
    }
}

/// One test: a block of a seam's stations, or all of them.
struct Trial {
    seam: usize,
    measurand: Measurand,
    /// Places of the block's stations in the list of stations; empty for the seam's mean.
    members: Vec<usize>,
    mean: Estimate,
    chance: f64,
}

/// Fills in verdicts and trends.
pub(super) fn decide(seams: &mut [SeamChange], settings: &CompareSettings) {
    let trials = trials_of(seams, settings);
    let chances: Vec<f64> = trials.iter().map(|trial| trial.chance).collect();
    let threshold = discovery_threshold(&chances, settings.false_discovery_rate);
    for trial in &trials {
        let seam = &mut seams[trial.seam];
        let target = match trial.measurand {
            Measurand::Gap => &mut seam.gap,
            Measurand::Flush => &mut seam.flush,
        };
        apply(target, trial, trial.chance <= threshold, settings);
    }
    for seam in seams {
        count_trends(&mut seam.gap);
        count_trends(&mut seam.flush);
    }
}

fn trials_of(seams: &[SeamChange], settings: &CompareSettings) -> Vec<Trial> {
    let mut trials = Vec::new();
    for (seam, changes) in seams.iter().enumerate() {
        for measurand in Measurand::BOTH {
            let change = changes.measurand(measurand);
            for members in blocks(&change.stations, settings.block_length_mm) {
                let estimates: Vec<&Estimate> =
                    members.iter().filter_map(|index| change.stations[*index].change.as_ref()).collect();
                trials.extend(trial(seam, measurand, members, mean_of(&estimates)));
            }
            trials.extend(trial(seam, measurand, Vec::new(), change.mean.clone()));
        }
    }
    trials
}

fn trial(seam: usize, measurand: Measurand, members: Vec<usize>, mean: Option<Estimate>) -> Option<Trial> {
    let mean = mean?;
    Some(Trial { seam, measurand, members, chance: chance_of_nothing(&mean), mean })
}

/// Places of seen stations, in runs no longer than a block.
fn blocks(stations: &[StationChange], length_mm: f64) -> Vec<Vec<usize>> {
    let mut blocks: Vec<Vec<usize>> = Vec::new();
    let mut start_mm = f64::NEG_INFINITY;
    for (index, station) in stations.iter().enumerate().filter(|(_, station)| station.change.is_some()) {
        match blocks.last_mut() {
            Some(block) if station.along_mm - start_mm < length_mm => block.push(index),
            _ => {
                start_mm = station.along_mm;
                blocks.push(vec![index]);
            }
        }
    }
    blocks
}

/// Probability of a change at least this large, either way, where nothing changed.
pub(super) fn chance_of_nothing(change: &Estimate) -> f64 {
    let zero = Tolerance { nominal_mm: 0.0, minus_mm: 0.0, plus_mm: 0.0 };
    let sides = conformance(change, &zero);
    if change.u_mm <= 0.0 && change.value_mm == 0.0 { 1.0 } else { 2.0 * sides.below.min(sides.above) }
}

/// The largest p that counts as a discovery, or a negative number where none does.
pub(super) fn discovery_threshold(chances: &[f64], rate: f64) -> f64 {
    let mut sorted = chances.to_vec();
    sorted.sort_by(f64::total_cmp);
    let count = sorted.len() as f64;
    sorted
        .iter()
        .enumerate()
        .filter(|(rank, chance)| **chance <= rate * (*rank as f64 + 1.0) / count)
        .map(|(_, chance)| *chance)
        .next_back()
        .unwrap_or(-1.0)
}

fn apply(change: &mut MeasurandChange, trial: &Trial, is_discovery: bool, settings: &CompareSettings) {
    if trial.members.is_empty() {
        change.verdict = seam_verdict(change, trial, is_discovery, settings);
        return;
    }
    for index in &trial.members {
        let station = &mut change.stations[*index];
        station.verdict = match &station.change {
            None => ChangeVerdict::Unseen,
            Some(_) if is_discovery => ChangeVerdict::Real,
            Some(own) if is_unimportant(own, &station.tolerance, settings) => ChangeVerdict::NoChange,
            Some(_) => ChangeVerdict::Undecided,
        };
        station.trend = trend_of(station);
    }
}

/// Real where the mean or a block is; none where the mean is, and no station's own change is larger.
fn seam_verdict(
    change: &MeasurandChange,
    trial: &Trial,
    is_discovery: bool,
    settings: &CompareSettings,
) -> ChangeVerdict {
    let seen = || change.stations.iter().filter(|station| station.change.is_some());
    let has_real = seen().any(|station| station.verdict == ChangeVerdict::Real);
    let is_small = seen().all(|station| is_unimportant(&trial.mean, &station.tolerance, settings));
    let mostly_none =
        2 * seen().filter(|station| station.verdict == ChangeVerdict::NoChange).count() > seen().count();
    if is_discovery || has_real {
        ChangeVerdict::Real
    } else if is_small && mostly_none {
        ChangeVerdict::NoChange
    } else {
        ChangeVerdict::Undecided
    }
}

/// True where the whole interval change ± U (k = 2) is too small to matter.
fn is_unimportant(change: &Estimate, tolerance: &Tolerance, settings: &CompareSettings) -> bool {
    let expanded_mm = coverage_factor(2.0, change.degrees_of_freedom) * change.u_mm;
    let width_mm = tolerance.minus_mm + tolerance.plus_mm;
    change.value_mm.abs() + expanded_mm <= settings.unimportant_share * width_mm
}

fn trend_of(station: &StationChange) -> Trend {
    let (Some(before), Some(after), ChangeVerdict::Real) = (&station.before, &station.after, station.verdict)
    else {
        return Trend::Same;
    };
    let beyond_mm = |value_mm: f64| {
        (station.tolerance.lower_mm() - value_mm).max(value_mm - station.tolerance.upper_mm())
    };
    match beyond_mm(after.value_mm).total_cmp(&beyond_mm(before.value_mm)) {
        std::cmp::Ordering::Less => Trend::Better,
        std::cmp::Ordering::Greater => Trend::Worse,
        std::cmp::Ordering::Equal => Trend::Same,
    }
}

fn count_trends(change: &mut MeasurandChange) {
    let count = |trend| change.stations.iter().filter(|station| station.trend == trend).count();
    (change.better_count, change.worse_count) = (count(Trend::Better), count(Trend::Worse));
}
