//! What a scan is, however it is stored: a stream of point blocks or of triangle blocks in a named frame.
//!
//! In and out: nothing; `files` implements [`ScanSource`] for each file format, the stages consume it.
//! Units: millimetres, already multiplied by the plan's or the file's unit.
//! Does not hold a whole scan: a source is read part by part, and most points are dropped at first sight.

mod look;
mod sieve;
mod source;
mod spread;
mod surface_normals;
mod thinner;

pub use look::{ScanLook, UnitWarning, look};
pub use sieve::Sieve;
pub use source::{
    NoTriangles, PassedOver, PointBlock, PointSink, ScanFailure, ScanSource, SourceFacts, Triangle,
    TriangleSink, VecSource,
};
pub use spread::{InOrder, Spread, gather};
pub use surface_normals::surface_normals;
pub use thinner::Thinner;
