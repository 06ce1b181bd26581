//! Gap or flush of one seam in a few numbers.
//!
//! In: a seam's judged stations. Out: a [`MeasurandSummary`]. Units: mm.
//! Method: the mean's uncertainty keeps what is common to the seam whole and averages the rest over the stations,
//! which are taken as independent of one another (JCGM 100:2008, 5.2: fully correlated terms add linearly).
//! Does not re-judge: the verdicts are the stations' own.

use super::budget::{Budget, budget_of};
use super::out_runs::{OutRun, out_runs};
use crate::judge::{JudgedReading, JudgedSeam, Measurand, Verdict, expanded_u_mm};
use crate::measure::{Component, Estimate, Reason, UncertaintySource};
use crate::plan::DecisionRule;

/// Most worst places that a summary names.
const MOST_WORST: usize = 3;
/// Worst places are at least this far apart along the seam, mm, so that they are different places to look at.
const WORST_APART_MM: f64 = 50.0;

/// How many stations got which verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct VerdictCounts {
    pub good: usize,
    /// Tight or low.
    pub below: usize,
    /// Wide or high.
    pub above: usize,
    pub undecided: usize,
    pub unseen: usize,
}

impl VerdictCounts {
    /// Counts one more verdict.
    pub const fn add(&mut self, verdict: Verdict) {
        match verdict {
            Verdict::Good => self.good += 1,
            Verdict::Tight | Verdict::Low => self.below += 1,
            Verdict::Wide | Verdict::High => self.above += 1,
            Verdict::Undecided => self.undecided += 1,
            Verdict::Unseen => self.unseen += 1,
        }
    }

    /// Both counts together.
    #[must_use]
    pub const fn plus(&self, other: &Self) -> Self {
        Self {
            good: self.good + other.good,
            below: self.below + other.below,
            above: self.above + other.above,
            undecided: self.undecided + other.undecided,
            unseen: self.unseen + other.unseen,
        }
    }

    /// Proved out of tolerance, on either side.
    #[must_use]
    pub const fn out(&self) -> usize {
        self.below + self.above
    }

    #[must_use]
    pub const fn total(&self) -> usize {
        self.good + self.out() + self.undecided + self.unseen
    }

    /// True where there is at least one station and every one is good.
    #[must_use]
    pub const fn is_all_good(&self) -> bool {
        self.good > 0 && self.good == self.total()
    }

    /// A count as a share of all stations, 0 to 1; 0 without stations.
    #[must_use]
    pub fn share(&self, count: usize) -> f64 {
        if self.total() == 0 { 0.0 } else { count as f64 / self.total() as f64 }
    }
}

/// One station's value as a summary quotes it.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    pub station_index: usize,
    pub along_mm: f64,
    pub value_mm: f64,
    pub u_mm: f64,
    /// Expanded uncertainty, mm.
    pub expanded_mm: f64,
    /// Value minus nominal, mm.
    pub deviation_mm: f64,
    /// How far beyond the nearer limit, mm; negative inside tolerance.
    pub beyond_mm: f64,
    pub verdict: Verdict,
}

/// Gap or flush over a seam.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasurandSummary {
    pub measurand: Measurand,
    pub counts: VerdictCounts,
    /// Mean of the seen stations with its own uncertainty; `None` where nothing was seen.
    pub mean: Option<Estimate>,
    /// Station with the least value and with the greatest; their difference is the range.
    pub least: Option<Place>,
    pub greatest: Option<Place>,
    /// Furthest beyond tolerance first (or nearest to its limit, where all is inside); at most three, 50 mm apart.
    pub worst: Vec<Place>,
    /// Stretches proved out of tolerance, along the seam.
    pub runs: Vec<OutRun>,
    pub budget: Option<Budget>,
    /// Why stations are unseen, with counts, in the order of [`Reason::ALL`].
    pub reasons: Vec<(Reason, usize)>,
}

impl MeasurandSummary {
    /// The reason that most of the unseen stations have; the first of [`Reason::ALL`] among equals.
    #[must_use]
    pub fn usual_reason(&self) -> Option<Reason> {
        let most = self.reasons.iter().map(|(_, count)| *count).max()?;
        self.reasons.iter().find(|(_, count)| *count == most).map(|(reason, _)| *reason)
    }

    /// Greatest minus least, mm.
    #[must_use]
    pub fn range_mm(&self) -> Option<f64> {
        Some(self.greatest.as_ref()?.value_mm - self.least.as_ref()?.value_mm)
    }
}

/// Sums up one measurand of a seam.
pub(super) fn summarise_measurand(
    seam: &JudgedSeam,
    measurand: Measurand,
    rule: &DecisionRule,
) -> MeasurandSummary {
    let places: Vec<Option<Place>> =
        seam.stations.iter().map(|station| place_of(station, measurand, rule)).collect();
    let mut counts = VerdictCounts::default();
    for station in &seam.stations {
        counts.add(station.value(measurand).verdict);
    }
    let estimates: Vec<&Estimate> =
        seam.stations.iter().filter_map(|station| station.value(measurand).measured.ok()).collect();
    let seen = || places.iter().flatten();
    let by_value = |one: &&Place, other: &&Place| one.value_mm.total_cmp(&other.value_mm);
    MeasurandSummary {
        measurand,
        counts,
        mean: mean_of(&estimates),
        least: seen().min_by(by_value).cloned(),
        greatest: seen().max_by(by_value).cloned(),
        worst: worst_places(seen().cloned().collect()),
        runs: out_runs(&places),
        budget: budget_of(&estimates, rule),
        reasons: count_reasons(seam, measurand),
    }
}

fn place_of(station: &JudgedReading, measurand: Measurand, rule: &DecisionRule) -> Option<Place> {
    let judged = station.value(measurand);
    let estimate = judged.measured.ok()?;
    let (lower_mm, upper_mm) = (judged.tolerance.lower_mm(), judged.tolerance.upper_mm());
    Some(Place {
        station_index: station.reading.station.index,
        along_mm: station.reading.station.along_mm,
        value_mm: estimate.value_mm,
        u_mm: estimate.u_mm,
        expanded_mm: expanded_u_mm(estimate, rule),
        deviation_mm: estimate.value_mm - judged.tolerance.nominal_mm,
        beyond_mm: (lower_mm - estimate.value_mm).max(estimate.value_mm - upper_mm),
        verdict: judged.verdict,
    })
}

fn worst_places(mut places: Vec<Place>) -> Vec<Place> {
    places.sort_by(|one, other| {
        other.beyond_mm.total_cmp(&one.beyond_mm).then(one.station_index.cmp(&other.station_index))
    });
    let mut worst: Vec<Place> = Vec::new();
    for place in places {
        let is_apart = worst.iter().all(|taken| (taken.along_mm - place.along_mm).abs() >= WORST_APART_MM);
        if is_apart {
            worst.push(place);
        }
        if worst.len() == MOST_WORST {
            break;
        }
    }
    worst
}

/// The mean: common sources as they are (root mean square), the others divided by the root of the count.
pub(super) fn mean_of(estimates: &[&Estimate]) -> Option<Estimate> {
    let budget = budget_of(estimates, &DecisionRule::default())?;
    let count = estimates.len() as f64;
    let mean_mm = estimates.iter().map(|estimate| estimate.value_mm).sum::<f64>() / count;
    let components = budget
        .lines
        .iter()
        .map(|line| {
            if line.source.is_common_along_seam() {
                component(line.source, line.u_mm, line.degrees_of_freedom)
            } else {
                component(line.source, line.u_mm / count.sqrt(), line.degrees_of_freedom * count)
            }
        })
        .collect();
    Some(Estimate::from_components(mean_mm, components))
}

const fn component(source: UncertaintySource, u_mm: f64, degrees_of_freedom: f64) -> Component {
    Component { source, u_mm, degrees_of_freedom }
}

fn count_reasons(seam: &JudgedSeam, measurand: Measurand) -> Vec<(Reason, usize)> {
    Reason::ALL
        .into_iter()
        .map(|reason| {
            let is_it = |station: &&JudgedReading| station.value(measurand).measured.err() == Some(reason);
            (reason, seam.stations.iter().filter(is_it).count())
        })
        .filter(|(_, count)| *count > 0)
        .collect()
}
