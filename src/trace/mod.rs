//! Finds seams in a scan without a plan: follows one between rough points, or finds them all.
//!
//! In: a scan (mm). Out: seam curves along mid-gap with outward normals, junctions, panels, and what was not believed.
//! Method: facing hems across an empty strip; see each file's head for its sources.
//! Does not measure gap or flush: the widths here are for ranking only.

mod blocks;
mod cells;
mod chains;
mod evidence;
mod export;
mod facing;
mod find;
mod hands;
mod hems;
mod junctions;
mod marks;
mod mesh_points;
mod mirror;
mod names;
mod necks;
mod network;
mod panels;
mod plane_fit;
mod ready_plan;
mod refine;
mod settings;
mod spans;
mod survey;
#[cfg(test)]
mod test_scene;
#[cfg(test)]
mod tests;
mod tracer;

pub use chains::ChainPoint;
pub use evidence::{Evidence, gather_evidence};
pub use export::{NamedCurve, curve_csv, curves_dxf, curves_obj};
pub use find::{
    FoundJunction, FoundPanel, FoundSeam, FoundSeams, Rejected, Rejection, SurfaceSample, find_seams,
    seams_of,
};
pub use hands::{Alone, Hands, Look, TraceWatch};
pub use names::NameError;
pub use ready_plan::{empty_plan, panel_named, plan_of, seam_of_curve};
pub use settings::{TraceError, TraceSettings};
pub use tracer::{Bridge, Stop, TracedSeam, follow, trace_seam};
