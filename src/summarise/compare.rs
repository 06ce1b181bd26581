//! Two scans of one car: what changed, whether the change is real, and which panels' moves explain it.
//!
//! In: the plan and the judged seams of both scans. Out: a [`Comparison`]. Units: mm; frame: Car.
//! Method: the same stations are subtracted. What both scans share cancels: by default the model term of gaps, and the scanner's
//! smoothing as far as it is stated or unknown (it acts alike on both, JCGM 100:2008, F.1.2.3), of which only the difference is kept.
//! A smoothing that each scan told by itself does not, nor does the model term of a flush: what is
//! left open of the surfaces' form is decided by each scan's own noise. The
//! stated scanner accuracy does **not** cancel, because a good part of it is how the views of one scan were joined, which
//! is new in every scan. See `changes` for the verdicts, `panel_moves` for the moves.
//! Does not align the scans: that is done before measuring.

mod change_verdict;
mod changes;
mod error_model;
mod mirror;
mod mirror_lineups;
mod mirror_pairs;
mod mirror_plane;
mod motion;
mod move_fit;
mod panel_moves;
mod tapers;
mod variance_components;

use thiserror::Error;

use crate::judge::{JudgedSeam, Measurand};
use crate::measure::UncertaintySource;
use crate::plan::{Plan, SeamId};

pub use change_verdict::{ChangeVerdict, Trend};
pub use changes::{MeasurandChange, SeamChange, StationChange};
pub(crate) use changes::{acting_points, datum_to_other};
pub(crate) use error_model::Expected as ExpectedErrors;
pub use mirror::{MirrorError, MirroredScan, compare_mirrored};
pub use mirror_lineups::{MirroredLineups, plane_for_lineups};
pub use mirror_plane::MirrorPlane;
pub use motion::Motion;
pub(crate) use motion::{Mover, Row as FitRow};
pub(crate) use move_fit::{fit_as_stated, fit_doubting, learn as learn_errors};
pub use panel_moves::{Leftover, PanelMove};
pub use tapers::TaperChange;
use tapers::taper_changes;

/// Median change left over after the panels' moves that two scans of one car never have, mm.
const OTHER_CAR_MM: f64 = 3.0;

/// How to compare.
#[derive(Debug, Clone, PartialEq)]
pub struct CompareSettings {
    /// Sources that act alike on both scans, and so cancel as far as they are of one size; a flush's part of the model, which
    /// each scan's own noise decides, never does, nor does smoothing between scans that each told theirs.
    pub cancelling: Vec<UncertaintySource>,
    /// Share of false ones accepted among the changes called real.
    pub false_discovery_rate: f64,
    /// Stations nearer together than this are tested as one block, mm.
    pub block_length_mm: f64,
    /// A change smaller than this share of the tolerance's width does not matter.
    pub unimportant_share: f64,
}

impl Default for CompareSettings {
    fn default() -> Self {
        Self {
            cancelling: vec![UncertaintySource::Model, UncertaintySource::Smoothing],
            false_discovery_rate: 0.05,
            // Long enough to average over correlated noise, short enough for a dent (method study, 30 to 50 mm).
            block_length_mm: 40.0,
            unimportant_share: 0.25,
        }
    }
}

/// Why two scans could not be compared.
#[derive(Debug, Error, Clone, PartialEq)]
pub enum CompareError {
    #[error(
        "no station is seen in both scans; check that both are of the same car and are aligned to the plan"
    )]
    NothingInCommon,
    #[error(
        "the scans look like two different cars: after the best move of every panel half of the stations still \
         differ by more than {leftover_mm:.1} mm; check the files and the alignment"
    )]
    DifferentCars { leftover_mm: f64 },
}

/// What is compared with what: the first is subtracted from the second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ComparisonKind {
    /// Two scans of one car.
    BeforeAfter,
    /// The left and the right seams of one scan.
    LeftRight,
}

impl ComparisonKind {
    /// The words for the two sides, in files and on screens.
    #[must_use]
    pub const fn sides(self) -> [&'static str; 2] {
        match self {
            Self::BeforeAfter => ["before", "after"],
            Self::LeftRight => ["left", "right"],
        }
    }

    /// The word for second − first.
    #[must_use]
    pub const fn change(self) -> &'static str {
        match self {
            Self::BeforeAfter => "change",
            Self::LeftRight => "difference",
        }
    }

    /// The word in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::BeforeAfter => "before-after",
            Self::LeftRight => "left-right",
        }
    }
}

/// What differs between two scans, or between the two sides of one.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    pub kind: ComparisonKind,
    /// In the plan's order; only seams measured in both scans.
    pub seams: Vec<SeamChange>,
    /// Moves that explain the changes, the weightiest first; panels that are not named did not move as far as seen.
    pub moves: Vec<PanelMove>,
    /// Tapers of the seams that ask for one.
    pub tapers: Vec<TaperChange>,
    /// What the moves leave unexplained, seam by seam.
    pub leftovers: Vec<Leftover>,
    /// What was taken as common to both scans.
    pub cancelled: Vec<UncertaintySource>,
    /// Seams of the plan that one of the scans did not bring.
    pub missing_seams: Vec<SeamId>,
}

impl Comparison {
    /// The changes of a seam.
    #[must_use]
    pub fn seam(&self, id: &SeamId) -> Option<&SeamChange> {
        self.seams.iter().find(|seam| seam.seam == *id)
    }

    /// True where no change of any seam is real.
    #[must_use]
    pub fn is_unchanged(&self) -> bool {
        let is_real = |seam: &SeamChange| {
            Measurand::BOTH.iter().any(|measurand| seam.measurand(*measurand).verdict == ChangeVerdict::Real)
        };
        !self.seams.iter().any(is_real)
    }
}

/// Compares two scans of one car, measured by one plan.
///
/// # Errors
/// Nothing is seen in both scans, or what is seen cannot be one car.
pub fn compare(
    plan: &Plan,
    before: &[JudgedSeam],
    after: &[JudgedSeam],
    settings: &CompareSettings,
) -> Result<Comparison, CompareError> {
    let kind = ComparisonKind::BeforeAfter;
    let mut seams = Vec::new();
    let mut missing_seams = Vec::new();
    for seam in &plan.seams {
        let find = |scan: &[JudgedSeam]| scan.iter().position(|judged| judged.seam == seam.id);
        match (find(before), find(after)) {
            (Some(first), Some(second)) => {
                seams.push(changes::seam_change(seam, [&before[first], &after[second]], kind, settings));
            }
            _ => missing_seams.push(seam.id.clone()),
        }
    }
    if seams.iter().all(|seam| seam.gap.mean.is_none() && seam.flush.mean.is_none()) {
        return Err(CompareError::NothingInCommon);
    }
    change_verdict::decide(&mut seams, settings);
    let (moves, leftovers) = panel_moves::explain(plan, &seams);
    let leftover_mm = panel_moves::median_leftover_mm(&leftovers);
    if leftover_mm > OTHER_CAR_MM {
        return Err(CompareError::DifferentCars { leftover_mm });
    }
    Ok(Comparison {
        kind,
        seams,
        moves,
        tapers: taper_changes(plan, [before, after]),
        leftovers,
        cancelled: settings.cancelling.clone(),
        missing_seams,
    })
}

#[cfg(test)]
mod tests;
