//! Lays a seam's points out flat: distance along, across and height in a frame that follows the seam.
//!
//! In: a `SeamBand` and a [`Track`] (a curve with a frame at every millimetre). Out: [`FlatSeam`] (points in seam
//! coordinates, and their means in small cells), cut into slabs at stations. Units: mm.
//! Method: each point gets its own foot on the curve, so that a thick slab is not smeared by the seam's bend.
//! Does not find edges.

mod cells;
mod flat;
mod track;

pub use cells::{CELL_ACROSS_MM, CELL_ALONG_MM, Cell, CellGrid, keep_upper_layer};
pub use flat::{FlatPoint, FlatSeam, Tilt};
pub use track::Track;
