//! A whole scan in a few numbers, and whether all of it is good.
//!
//! In: the plan and its judged seams, in the plan's order. Out: a [`ScanSummary`]. Units: mm.
//! Does not print: the program's exit status follows from [`ScanSummary::is_all_good`].

use super::measurand_summary::VerdictCounts;
use super::seam_summary::{SeamSummary, summarise_seam};
use crate::judge::JudgedSeam;
use crate::plan::Plan;

/// All seams of a scan.
#[derive(Debug, Clone, PartialEq)]
pub struct ScanSummary {
    /// In the order of the judged seams.
    pub seams: Vec<SeamSummary>,
    pub gap_counts: VerdictCounts,
    pub flush_counts: VerdictCounts,
}

impl ScanSummary {
    /// True (exit status 0) where there is at least one seam and every verdict, tapers included, is good.
    #[must_use]
    pub fn is_all_good(&self) -> bool {
        !self.seams.is_empty() && self.seams.iter().all(SeamSummary::is_all_good)
    }

    /// Gap and flush verdicts together.
    #[must_use]
    pub const fn counts(&self) -> VerdictCounts {
        self.gap_counts.plus(&self.flush_counts)
    }

    /// Verdicts on the tapers that the plan asks for.
    #[must_use]
    pub fn taper_counts(&self) -> VerdictCounts {
        let mut counts = VerdictCounts::default();
        self.seams.iter().filter_map(|seam| seam.taper_verdict).for_each(|verdict| counts.add(verdict));
        counts
    }
}

/// Sums up a scan. Judged seams that the plan does not have are left out.
#[must_use]
pub fn summarise_scan(plan: &Plan, judged: &[JudgedSeam]) -> ScanSummary {
    let seams: Vec<SeamSummary> = judged
        .iter()
        .filter_map(|one| Some(summarise_seam(plan.seam(&one.seam)?, one, &plan.decision)))
        .collect();
    let sum = |pick: fn(&SeamSummary) -> &VerdictCounts| {
        seams.iter().fold(VerdictCounts::default(), |total, seam| total.plus(pick(seam)))
    };
    let gap_counts = sum(|seam| &seam.gap.counts);
    let flush_counts = sum(|seam| &seam.flush.counts);
    ScanSummary { seams, gap_counts, flush_counts }
}
