//! Cuts a seam's band at a station into a section in section axes.
//!
//! In: a `SeamBand` and a station frame. Out: a `Section`. Units: mm.
//! Does not find edges.
