//! Pure geometry: knows points, curves and fits, and no cars.

mod curve;
pub mod fits;
mod large_cholesky;
mod normal_equations;
mod place_sort;
mod rigid_transform;
mod rotation_minimising;
mod skin_patch;
mod smoothing_offset;
mod tangent_arc;

pub use curve::{Curve, CurveError, CurveFrame, Foot};
pub use large_cholesky::large_cholesky;
pub use normal_equations::{NormalEquations, median_in_place, tukey_weight};
pub use place_sort::sort_along;
pub use rigid_transform::RigidTransform;
pub use rotation_minimising::rotation_minimising_normals;
pub use skin_patch::{SkinPatch, SkinSample, fit_skin_patch, residual_mm};
pub use smoothing_offset::smoothing_offset_mm;
pub use tangent_arc::{ArcTask, TangentArc, fit_tangent_arc};
