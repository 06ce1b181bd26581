//! Orthogonal-distance fits: the element whose squared distances from the points add up to the least.
//!
//! In: points (mm, any order). Out: the element, its root-mean-square distance and its worst one.
//! Method: lines and planes from the principal axes of the points; circles, spheres and cylinders by
//! Levenberg–Marquardt on the true distances from an algebraic start (Forbes, Least-squares best-fit geometric
//! elements, NPL report DITC 140/89, 1989; Gander, Golub, Strebel, BIT 34, 1994).
//! Does not reject wild points: callers weigh or drop them first.

mod circle;
mod cylinder;
mod least_distance;
mod line;
mod plane;
mod sphere;

pub use circle::{CircleFit, fit_circle};
pub use cylinder::{CylinderFit, fit_cylinder};
pub use line::{LineFit, fit_line};
pub use plane::{PlaneFit, fit_plane};
pub use sphere::{SphereFit, fit_sphere, fit_sphere_of_radius};
