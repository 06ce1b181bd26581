//! Why there is no alignment: what was found, and what to do.

use thiserror::Error;

use crate::scan::ScanFailure;

/// The scan could not be put on the car. Texts fit "could not align the scan: …".
#[derive(Debug, Clone, PartialEq, Error)]
pub enum AlignError {
    #[error(transparent)]
    Scan(#[from] ScanFailure),
    #[error("{found} {things} are not enough, at least {needed} are needed; add more to the plan")]
    TooFew { things: &'static str, found: usize, needed: usize },
    #[error("{what} is not a finite number")]
    NotFinite { what: String },
    #[error(
        "the datum targets do not hold {direction} (condition {condition:.1e}); add a target there, or move targets \
         further apart"
    )]
    WeakTargets { direction: String, condition: f64 },
    #[error(
        "the targets do not settle to a pose after {iterations} steps; check them for mixed-up points or signs"
    )]
    NoConvergence { iterations: u32 },
    #[error(
        "the points of the pairs lie on a line, which leaves a turn about it free; add a pair at least {needed_mm:.0} mm \
         off the line (now {found_mm:.1} mm)"
    )]
    Collinear { found_mm: f64, needed_mm: f64 },
    #[error(
        "the pairs fit a mirror image ({mirrored_rms_mm:.3} mm) but no real movement ({rms_mm:.3} mm); an axis has the \
         wrong sign in the scan or in the plan, or left and right are mixed up"
    )]
    Mirrored { rms_mm: f64, mirrored_rms_mm: f64 },
    #[error(
        "the pairs disagree: no {needed} of them fit together within {limit_mm:.2} mm (best pose: {rms_mm:.2} mm rms, \
         furthest off: {worst}); check for mixed-up ids, moved stickers, or raise `limit`"
    )]
    PairsDisagree { needed: usize, limit_mm: f64, rms_mm: f64, worst: String },
    #[error(
        "the scan seems to be {factor} times {too} ({evidence}): set `units = \"{suggestion}\"` in [scan] if that is its \
         unit; nothing was changed"
    )]
    WrongUnit { factor: f64, too: &'static str, evidence: String, suggestion: &'static str },
    #[error(
        "the plan's way \"{way}\" needs a reference surface, and none was given; set `reference` in [align]"
    )]
    NoReference { way: &'static str },
    #[error("the reference has no surface to align to: {reason}; give a mesh or a dense scan of the car")]
    ReferenceWithoutSurface { reason: String },
    #[error("the scan has no surface to align: {reason}; give a denser scan")]
    ScanWithoutSurface { reason: String },
    #[error(
        "no panel of the plan is called fixed, so nothing may carry the alignment; write `fixed = true` under the \
         [panels] that nobody moved"
    )]
    NoFixedPanel,
    #[error(
        "the scan and the fixed panels of the reference do not overlap: {points} points lie on them and {needed} are \
         needed; give a nearer `start`, or use way = \"coarse\""
    )]
    NoOverlap { points: u64, needed: u64 },
    #[error(
        "the scan does not fit the reference: {rms_mm:.2} mm rms where at most {limit_mm:.2} mm is allowed, and \
         {fitting_percent:.0} % of the points fit; another car, another panel, or a wrong reference"
    )]
    OtherCar { rms_mm: f64, limit_mm: f64, fitting_percent: f64 },
    #[error(
        "two poses fit almost equally well ({best_percent:.1} % and {second_percent:.1} % of the points, {apart_mm:.0} mm \
         and {apart_deg:.0}° apart), so neither is believed; scan more of the car, or give `start` or point pairs"
    )]
    Ambiguous { best_percent: f64, second_percent: f64, apart_mm: f64, apart_deg: f64 },
    #[error(
        "the scan fits the reference better as a mirror image ({mirrored_percent:.0} % of the points within {mirrored_mm:.3} mm, \
         instead of {fitting_percent:.0} % within {typical_mm:.3} mm); an axis has the wrong sign in one of them"
    )]
    MirroredSurface { fitting_percent: f64, mirrored_percent: f64, typical_mm: f64, mirrored_mm: f64 },
    #[error(
        "no pose was found in which the scan fits the reference; best: {fitting_percent:.0} % of the points; scan more \
         of the fixed panels, or give `start` or point pairs"
    )]
    NotFound { fitting_percent: f64 },
    #[error(
        "the fixed panels that the scan shows do not hold {direction} (condition {condition:.1e}); scan more of them, or \
         call another panel fixed that does"
    )]
    WeakSurface { direction: String, condition: f64 },
    #[error("no sphere of {diameter_mm} mm is seen at pair `{id}`: {reason}")]
    NoSphere { id: String, diameter_mm: f64, reason: String },
}
