//! From a section to gap and flush with their uncertainties. The signs are defined here, once.
//!
//! ```text
//!              n (outward, v)
//!              ^
//!   datum      |        other              flush > 0: the other panel stands proud of the datum panel
//!  ========.   |   .=========
//!           )  |  (                        gap: from edge point to edge point along the datum panel's
//!          /   |   \                       tangent at mid-gap; negative where the panels overlap
//!              +-----> u (across)
//! ```
//! In: one section of a seam and the seam's specification. Out: [`StationReading`]s.
//! Units: mm; frame: Car. The section's `u` runs from the left panel to the right one; `datum_side` says which is which.
//! Does not judge.

mod centre_line;
mod flange;
mod flush;
mod gap;
mod hem_form;
mod local_band;
mod locate;
mod outward;
mod profile;
mod reading;
mod refusal;
mod report;
mod seam;
mod settings;
mod shared;
mod slide;
mod smoothing;
mod station;
mod surface_form;
mod surface_noise;
#[cfg(test)]
mod trial;
mod uncertainty;
mod window;

pub use reading::{
    Component, EdgeReading, Estimate, Profile, ProfileArc, ProfilePoint, ProfileSkin, Reason, SeamReadings,
    StationReading, UncertaintySource, Warning,
};
pub use report::SHORT_BAND_MM;
pub use seam::{StartedSeam, measure_seam, smoothing_of, start_seam};
pub use settings::{DEFAULT_ACCURACY_MM, MeasureSettings};
pub use slide::allow_for_alignment;
pub use smoothing::Smoothing;
