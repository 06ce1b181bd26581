//! Whole front ends: seven panels cut from one smooth body, for alignment, seam finding and advice.
//!
//! ```
//! use shutline::rehearse::body::{BodyKind, BodySettings, PanelMove, body};
//! # fn main() -> Result<(), shutline::rehearse::RehearseError> {
//! let mut settings = BodySettings { spacings_mm: [4.0, 8.0, 10.0], ..BodySettings::default() };
//! settings.moves.insert("hood".into(), PanelMove { shift_mm: [0.0, 1.0, 0.0], turn_deg: [0.0; 3] });
//! let scan = body(BodyKind::Coupe, &settings)?;
//! // scan.points, scan.normals, scan.panel_of_point[i] (index into scan.plan.panels), scan.true_seams, scan.junctions,
//! // scan.plan (nominal curves), scan.truth (gap and flush with the hood moved)
//! assert_eq!(scan.true_seams.len(), scan.plan.seams.len());
//! # Ok(()) }
//! ```
//! Frame: x rearward, y to the right, z up, origin at the nose's middle border; mm.
//! Six [`BodyKind`]s; panels `nose hood cowl fender-left fender-right door-left door-right`; ten seams, four T-junctions.
//! Gaps by `gaps_mm`, moves by `moves`, shape errors by `reliefs` ([`Relief::Bump`]), distractors by `has_distractors`.
//! Truth is solved numerically from the panels' exact surfaces (`body_truth`); it shares nothing with measuring.

mod body_plan;
mod body_truth;
mod gannet;
mod gannet_adjusters;
mod kinds;
mod panel;
mod scan_body;
mod settings;
mod surface;

pub use body_plan::body_truth;
pub use body_truth::{BodyReading, read_body};
pub use gannet::{gannet, gannet_settings};
pub use kinds::{BodyDesign, BodyKind, BodySeam, PANEL_IDS, design};
pub use panel::{BodyPanel, Line, PanelPoint, PanelSide};
pub use scan_body::{RehearsedBody, TrueSeam, body};
pub use settings::{BodySettings, PanelMove};
pub use surface::{Bend, BodySurface, Patch, PlaneCurve, Relief};
