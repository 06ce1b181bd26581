//! One seam in a few numbers.
//!
//! In: a judged seam, its plan and the decision rule. Out: a [`SeamSummary`]. Units: mm.
//! Does not write sentences: `render` does, from the places and runs named here.

use super::measurand_summary::{MeasurandSummary, summarise_measurand};
use super::taper::{Taper, largest_taper};
use crate::judge::{JudgedSeam, Measurand, Verdict};
use crate::plan::{DecisionRule, Seam, SeamId};

/// What a seam's readings say, all stations together.
#[derive(Debug, Clone, PartialEq)]
pub struct SeamSummary {
    pub seam: SeamId,
    pub station_count: usize,
    pub gap: MeasurandSummary,
    pub flush: MeasurandSummary,
    /// `None` where the plan asks for none, or no window was seen well enough to tell: see [`Self::taper_verdict`].
    pub taper: Option<Taper>,
    /// The taper's verdict where the plan asks for one: `unseen` where it could not be told.
    pub taper_verdict: Option<Verdict>,
}

impl SeamSummary {
    /// The summary of one measurand.
    #[must_use]
    pub const fn measurand(&self, measurand: Measurand) -> &MeasurandSummary {
        match measurand {
            Measurand::Gap => &self.gap,
            Measurand::Flush => &self.flush,
        }
    }

    /// True where every gap, every flush and the taper are good.
    #[must_use]
    pub fn is_all_good(&self) -> bool {
        let is_taper_good = self.taper_verdict.is_none_or(|verdict| verdict == Verdict::Good);
        self.gap.counts.is_all_good() && self.flush.counts.is_all_good() && is_taper_good
    }

    /// Stations worth drawing: the worst places of gap and flush in turn, each once, at most `most`.
    #[must_use]
    pub fn worst_stations(&self, most: usize) -> Vec<usize> {
        let longest = self.gap.worst.len().max(self.flush.worst.len());
        let mut stations = Vec::new();
        for rank in 0..longest {
            for place in [self.gap.worst.get(rank), self.flush.worst.get(rank)].into_iter().flatten() {
                if !stations.contains(&place.station_index) {
                    stations.push(place.station_index);
                }
            }
        }
        stations.truncate(most);
        stations
    }

    /// The one word for the seam: out where anything is proved out (the worst one's word), else undecided, else
    /// unseen, else good.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let worst_out = Measurand::BOTH
            .iter()
            .filter_map(|measurand| {
                self.measurand(*measurand).worst.iter().find(|place| place.verdict.is_out())
            })
            .max_by(|one, other| one.beyond_mm.total_cmp(&other.beyond_mm));
        let counts = self.gap.counts.plus(&self.flush.counts);
        match (worst_out, self.taper_verdict) {
            (Some(place), _) => place.verdict,
            (None, Some(Verdict::Wide)) => Verdict::Wide,
            (None, taper) if counts.undecided > 0 || taper == Some(Verdict::Undecided) => Verdict::Undecided,
            (None, taper) if counts.unseen > 0 || counts.good == 0 || taper == Some(Verdict::Unseen) => {
                Verdict::Unseen
            }
            _ => Verdict::Good,
        }
    }
}

/// Sums up a judged seam.
#[must_use]
pub fn summarise_seam(seam: &Seam, judged: &JudgedSeam, rule: &DecisionRule) -> SeamSummary {
    let taper = seam.taper.as_ref().and_then(|spec| largest_taper(judged, spec, rule));
    let taper_verdict = seam.taper.map(|_| taper.as_ref().map_or(Verdict::Unseen, |largest| largest.verdict));
    SeamSummary {
        seam: judged.seam.clone(),
        station_count: judged.stations.len(),
        gap: summarise_measurand(judged, Measurand::Gap, rule),
        flush: summarise_measurand(judged, Measurand::Flush, rule),
        taper,
        taper_verdict,
    }
}

#[cfg(test)]
mod tests;
