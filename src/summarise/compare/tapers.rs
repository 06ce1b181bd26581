//! Tapers side by side: before and after, or left and right.
//!
//! In: the plan, both sides' judged seams. Out: [`TaperChange`]s of the seams that ask for a taper. Units: mm.
//! Each side's largest taper is found on its own, so that the two may lie at different places; nothing is subtracted.

use crate::judge::{JudgedSeam, Verdict};
use crate::plan::{Plan, SeamId};
use crate::summarise::taper::{Taper, largest_taper};

/// The largest taper of a seam on both sides of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct TaperChange {
    pub seam: SeamId,
    pub limit_mm: f64,
    /// First, second; `None` where it is not seen.
    pub sides: [Option<Taper>; 2],
}

impl TaperChange {
    /// What each side's taper is by its limit.
    #[must_use]
    pub fn verdicts(&self) -> [Verdict; 2] {
        [0, 1].map(|side: usize| self.sides[side].as_ref().map_or(Verdict::Unseen, |taper| taper.verdict))
    }
}

/// The tapers of all seams that are on both sides and ask for one.
pub(super) fn taper_changes(plan: &Plan, sides: [&[JudgedSeam]; 2]) -> Vec<TaperChange> {
    let of_seam = |seam: &crate::plan::Seam| {
        let spec = seam.taper?;
        let find = |side: &[JudgedSeam]| side.iter().position(|judged| judged.seam == seam.id);
        let places = [find(sides[0])?, find(sides[1])?];
        Some(TaperChange {
            seam: seam.id.clone(),
            limit_mm: spec.limit_mm,
            sides: [0, 1].map(|side: usize| largest_taper(&sides[side][places[side]], &spec, &plan.decision)),
        })
    };
    plan.seams.iter().filter_map(of_seam).collect()
}
