//! The virtual scanner: a plan with wanted gap and flush becomes a practice scan with exact truth.
//!
//! In: a plan and rehearsal settings. Out: points or triangles and the truth of every station. Units: mm.
//! ```no_run
//! use shutline::rehearse::{Rehearsal, Scanner, Faults, rehearse};
//! # fn example(plan: &shutline::plan::Plan) -> Result<(), shutline::rehearse::RehearseError> {
//! let settings = Rehearsal {
//!     seed: 1,
//!     scanner: Scanner::ordinary(),
//!     faults: Faults::ordinary(),
//!     ..Rehearsal::default()
//! };
//! let scan = rehearse(plan, &settings)?; // scan.points, scan.truth[i].gap_mm, scan.truth[i].edge_is_visible
//! # Ok(()) }
//! ```
//! How it is made: [`TrueSection`] builds both panels' profiles at a place of the true curve, `sweep` walks along that
//! curve and takes what `sight` lets the scanner see, with noise; [`TruthRow`] is read from the same sections.
//! Every seam's surfaces are its own, up to half-way to the next seam: near corners that leaves ledges of some tenths of a millimetre in
//! a panel. A whole body of one piece is made by [`body`].
//! Shares no code with measuring: geometry, plan and scan types only.

mod along;
mod background;
pub mod body;
mod holes;
mod mesh;
mod noise;
mod profile;
mod relief;
mod scan;
mod settings;
mod sight;
mod sweep;
mod true_curve;
mod true_section;
mod truth;

pub use along::{Along, Knots};
pub use background::background;
pub use noise::NoiseField;
pub use profile::{PanelProfile, ProfileWish};
pub use relief::{CrossFeature, CrossShape, LineupTruth, lineup_truth, lineup_truth_csv};
pub use scan::{RehearseError, RehearsedScan, displacement, rehearse, rehearse_into, true_curves};
pub use settings::{
    Crease, CurveErrorShape, Displacement, Faults, Output, PanelShape, Rehearsal, Scanner, SeamShape, View,
};
pub use sight::Sight;
pub use sweep::{ScannedPoint, Site};
pub use true_curve::true_curve;
pub use true_section::TrueSection;
pub use truth::{TruthRow, truth_csv};
