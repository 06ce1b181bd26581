//! Pure geometry: knows points, curves and fits, and no cars.

mod curve;
mod rigid_transform;

pub use curve::{Curve, CurveError, CurveFrame, Foot};
pub use rigid_transform::RigidTransform;
