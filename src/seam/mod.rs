//! Gathers the points and triangles that lie near a seam, in one streaming pass.
//!
//! In: blocks of a scan (Scanner frame) and the plan's curves. Out: one [`SeamBand`] per seam, Car frame. Units: mm.
//! Method: a bitmap of coarse cells drops most points at a few nanoseconds each, whatever the number of seams; what
//! is left is tested exactly against the curves. One [`Collector`] per part, put together in part order by
//! [`Corridors::bands`], so that the result does not depend on threads.
//! Does not fit anything.

mod band;
mod collector;
mod corridors;
mod near_cells;
mod triangles;

pub use band::{BandParts, BandPoint, Gathered, SeamBand};
pub use collector::Collector;
pub use corridors::{CORRIDOR_HALF_WIDTH_MM, Corridors};
