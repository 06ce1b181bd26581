//! One panel's line, whatever runs across: sorts out the kinds and what is too little to look at.
//!
//! In: one side's points and what to look for. Out: a [`SideLine`] in the section frame at the crossing, mm.

use super::bar::{GROUND_MM, bar_line};
use super::crease::{FLANK_MM, crease_line};
use super::reading::{LinePlace, LineupReason, SideLine};
use crate::plan::{Lineup, LineupKind};

/// Fewest points of a side on which anything is looked for.
const FEWEST_POINTS: usize = 200;

/// How much along the seam must be gathered on either side of a crossing, mm: the search, what is fitted, and 16 mm for a line
/// that crosses at up to 22°.
pub(super) fn gathered_half_mm(lineup: &Lineup) -> f64 {
    let fitted_mm = match lineup.kind {
        LineupKind::Crease => FLANK_MM,
        LineupKind::Bar | LineupKind::Groove => lineup.width_mm / 2.0 + GROUND_MM + 1.0,
    };
    lineup.search_mm + fitted_mm + 16.0
}

/// The line of one side.
pub(super) fn side_line(points: &[LinePlace], lineup: &Lineup, at_mm: f64) -> Result<SideLine, LineupReason> {
    if points.len() < FEWEST_POINTS {
        return Err(LineupReason::TooSparse);
    }
    match lineup.kind {
        LineupKind::Crease => crease_line(points, lineup, at_mm),
        LineupKind::Bar => bar_line(points, lineup, at_mm),
        LineupKind::Groove => {
            let turned: Vec<LinePlace> =
                points.iter().map(|point| LinePlace { z_mm: -point.z_mm, ..*point }).collect();
            bar_line(&turned, lineup, at_mm).map(upside_down)
        }
    }
}

fn upside_down(line: SideLine) -> SideLine {
    SideLine {
        height_mm: -line.height_mm,
        height_slope: -line.height_slope,
        height_bend_per_mm: -line.height_bend_per_mm,
        places: line.places.iter().map(|place| LinePlace { z_mm: -place.z_mm, ..*place }).collect(),
        ..line
    }
}
