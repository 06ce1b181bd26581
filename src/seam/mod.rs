//! Gathers the points and triangles that lie near a seam, in one streaming pass.
//!
//! In: blocks of a scan and the plan's curves. Out: one `SeamBand` per seam. Units: mm.
//! Does not fit anything.
