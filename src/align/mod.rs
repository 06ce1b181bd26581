//! Puts the scan on the car: finds `car_from_scanner`.
//!
//! In: a scan source, the plan's alignment terms and, for surfaces, a reference. Out: an [`Alignment`] with its residuals
//! and covariance, whose use in readings is told at [`Alignment`]'s module. Units: mm.
//! Ways: datum targets, point pairs (spheres fitted in the scan), robust registration to a surface, from a start pose or
//! from none. Each refuses what it cannot stand for: see [`AlignError`].
//! Does not measure gaps.

mod align_error;
mod alignment;
mod coarse;
mod correlated_noise;
mod correlated_step;
mod datum_targets;
mod entry;
mod followed;
mod learnt_noise;
mod orient;
mod panels;
mod point_pairs;
mod pose_covariance;
mod pose_of_cells;
mod pose_step;
mod register;
mod rigid_fit;
mod search;
mod sphere_target;
mod surface;
mod surface_fit;
mod surface_grid;
mod thin;
mod unit_check;

pub use align_error::AlignError;
pub use alignment::{AlignWarning, Alignment, PanelResidual, ResidualPoint, TargetResidual};
pub use datum_targets::align_datum_targets;
pub use entry::{AlignSettings, align};
pub use point_pairs::align_point_pairs;
pub use rigid_fit::{RigidFit, rigid_fit};
pub use sphere_target::fit_target_sphere;
pub use surface_fit::{Reference, align_to_surface};
pub use thin::spread_out;
