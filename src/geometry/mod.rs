//! Pure geometry: knows points, curves and fits, and no cars.

mod curve;
pub mod fits;
mod rigid_transform;
mod rotation_minimising;

pub use curve::{Curve, CurveError, CurveFrame, Foot};
pub use rigid_transform::RigidTransform;
pub use rotation_minimising::rotation_minimising_normals;
