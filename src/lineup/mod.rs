//! Whether creases, bars and grooves go on across a seam, and whether a row of bars is even. The signs are defined here.
//!
//! ```text
//!   seen from outside                        along the seam (t)
//!   datum panel        |  gap  |   other panel       ^
//!   -------------------|       |                     |   shift > 0: the other panel's line lies further along the
//!                      |       |-----------------    |              seam than the datum panel's, across the line
//!                      |       |                     +--> across (u)
//! ```
//! In: a seam's band of points, its readings (for the section frame at the crossing), a [`crate::plan::Lineup`].
//! Out: a [`LineupReading`]. Units: mm; frame: Car. Both lines are continued to mid-gap, each with its own course:
//! - **step**: how far the other panel's line stands proud (+) or low (−) of the datum panel's, along the outward normal;
//! - **shift**: distance from the datum panel's line to the other's in the surface, across the datum panel's line;
//! - **pitch**: mean distance from middle to middle of a row of bars, across the bars, on each panel (the slope of a straight
//!   line through place against number); **evenness**: the furthest that a bar lies off that line.
//!
//! The line of a crease is where its two flanks, continued, meet: neither the crease's own radius nor the scanner's
//! smoothing moves it, as long as the rounded part is left out. The line of a bar or groove is half-way between its flanks at
//! half height; its height is that of its top.
//! Method: a crease by a plane to each flank (`crease`), a bar by its flanks strip by strip (`bar`), each with what is left over
//! in blocks of 4 mm for its noise, so that the correlation of scan noise along the surface is counted in.
//! Does not judge, and does not look for features that the plan does not name.

mod bar;
mod block_noise;
mod cells;
mod crease;
mod local_points;
mod measure_lineup;
mod reading;
mod robust_fit;
mod row;
mod side_line;

pub use measure_lineup::measure_lineup;
pub use reading::{
    FeatureReading, LinePlace, LineupReading, LineupReason, MirrorDifference, RowReading, SideLine,
};
pub use row::mirror_difference;
