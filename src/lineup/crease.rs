//! A crease on one panel: where its two flanks, continued, meet.
//!
//! In: the points of one side, a place to look near. Out: a [`SideLine`]. Units: mm; frame: the section frame at the crossing.
//! Two steps:
//! 1. coarse: of all lines in reach, the one that leaves least over when a parabola with a kink on it is fitted to the cells
//!    (segmented regression; Hudson, J. Am. Stat. Assoc. 61, 1966, 1097);
//! 2. fine: a plane to each flank, with one bend across, one along and one twist common to both, the rounded part left out; the
//!    planes meet on the line. Linear, and repeated until the line stands still.
//!
//! The crease is taken to turn by the same angle over the 35 mm that are used of a panel.
//! Refuses a crease that turns by less than 1.5° or by less than five of its own standard uncertainties.

use super::cells::cells;
use super::reading::{LinePlace, LineupReason, SideLine};
use super::robust_fit::{RobustFit, robust_fit};
use crate::geometry::NormalEquations;
use crate::plan::Lineup;

/// How much of each flank is used, mm.
pub(super) const FLANK_MM: f64 = 24.0;
/// Cells of the coarse search, across and along, mm.
const CELL_MM: [f64; 2] = [3.0, 1.5];
/// Steps of the coarse search along the seam, mm, and of the line's slope.
const COARSE_STEP_MM: f64 = 0.75;
const SLOPES: [f64; 9] = [-0.4, -0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3, 0.4];
/// A crease turns by at least this, as a slope (1.5°): less cannot be told from a crown.
const LEAST_TURN: f64 = 0.026;
const LEAST_SIGMAS: f64 = 5.0;
/// Rounds of the fine step.
const ROUNDS: usize = 5;
/// Scales of the coefficients, so that the normal equations are well posed, mm.
const SCALE_MM: [f64; 2] = [20.0, 10.0];
/// Width of the strips in which places are shown, mm.
const STRIP_MM: f64 = 4.0;

/// Parameters: level, rise across and slope of the flank before the line, the same of the flank after it, bend across, bend
/// along, twist.
type Flanks = RobustFit<9>;

/// The crease's line within reach of `at_mm`.
pub(super) fn crease_line(
    points: &[LinePlace],
    lineup: &Lineup,
    at_mm: f64,
) -> Result<SideLine, LineupReason> {
    let cells = cells(points, CELL_MM[0], CELL_MM[1]);
    let mut line = coarse_line(&cells, at_mm, lineup.search_mm).ok_or(LineupReason::TooSparse)?;
    let mut fitted = None;
    for _ in 0..ROUNDS {
        let flanks =
            fit_flanks(&cells, points, line, lineup.rounded_mm).ok_or(LineupReason::FeatureNotSeen)?;
        let turn = turn_of(&flanks);
        if turn.abs() < LEAST_TURN {
            return Err(LineupReason::FeatureNotSeen);
        }
        let p = &flanks.parameters;
        line.0 += (p[0] - p[3]) / turn;
        line.1 += (p[1] - p[4]) / SCALE_MM[0] / turn;
        if (line.0 - at_mm).abs() > lineup.search_mm + 1.0 || line.1.abs() > 0.6 {
            return Err(LineupReason::FeatureNotSeen);
        }
        fitted = Some(flanks);
    }
    let flanks = fitted.ok_or(LineupReason::FeatureNotSeen)?;
    let turn_row = [0.0, 0.0, -1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0].map(|factor: f64| factor / SCALE_MM[1]);
    if turn_of(&flanks).abs() < LEAST_SIGMAS * flanks.variance(&turn_row).sqrt() {
        return Err(LineupReason::FeatureNotSeen);
    }
    Ok(side_line(&flanks, line, lineup.rounded_mm))
}

fn turn_of(flanks: &Flanks) -> f64 {
    (flanks.parameters[5] - flanks.parameters[2]) / SCALE_MM[1]
}

/// Place at mid-gap and slope of the line that leaves least over.
fn coarse_line(cells: &[LinePlace], at_mm: f64, search_mm: f64) -> Option<(f64, f64)> {
    let steps = (search_mm / COARSE_STEP_MM).floor() as i64;
    let places = (-steps..=steps).map(|step| at_mm + step as f64 * COARSE_STEP_MM);
    places
        .flat_map(|place_mm| SLOPES.map(|slope| (place_mm, slope)))
        .filter_map(|line| Some((kinked_rest(cells, line, at_mm, search_mm)?, line)))
        .min_by(|one, other| one.0.total_cmp(&other.0))
        .map(|(_, line)| line)
}

/// Mean square that a surface with a kink on a line leaves over, mm²; larger ones count no more than a cell's usual miss, so that
/// another feature in reach does not lead.
fn kinked_rest(cells: &[LinePlace], line: (f64, f64), at_mm: f64, search_mm: f64) -> Option<f64> {
    let row = |cell: &LinePlace| {
        let off = (cell.s_mm - line.0 - line.1 * cell.x_mm) / SCALE_MM[1];
        let x = cell.x_mm / SCALE_MM[0];
        [1.0, x, x * x, off, off * off, off.max(0.0), x * off]
    };
    let used = || cells.iter().filter(|cell| (cell.s_mm - at_mm).abs() <= search_mm + FLANK_MM);
    let mut equations = NormalEquations::<7>::default();
    used().for_each(|cell| equations.add(row(cell), cell.z_mm, 1.0));
    let fitted = equations.solve()?;
    let miss = |cell: &LinePlace| cell.z_mm - row(cell).iter().zip(&fitted).map(|(a, b)| a * b).sum::<f64>();
    Some(used().map(|cell| miss(cell).powi(2)).sum())
}

fn fit_flanks(
    cells: &[LinePlace],
    points: &[LinePlace],
    line: (f64, f64),
    rounded_mm: f64,
) -> Option<Flanks> {
    robust_fit(cells, points, |point| {
        let off_mm = point.s_mm - line.0 - line.1 * point.x_mm;
        if !(rounded_mm..=FLANK_MM).contains(&off_mm.abs()) {
            return None;
        }
        let (x, off) = (point.x_mm / SCALE_MM[0], off_mm / SCALE_MM[1]);
        let shared = [x * x, off * off, x * off];
        Some(if off_mm < 0.0 {
            [1.0, x, off, 0.0, 0.0, 0.0, shared[0], shared[1], shared[2]]
        } else {
            [0.0, 0.0, 0.0, 1.0, x, off, shared[0], shared[1], shared[2]]
        })
    })
}

fn side_line(flanks: &Flanks, line: (f64, f64), rounded_mm: f64) -> SideLine {
    let p = &flanks.parameters;
    let turn = turn_of(flanks);
    // The line moves by the difference of the levels over the turn; its height is where both flanks stand then.
    let [before, after] = [p[2] / SCALE_MM[1], p[5] / SCALE_MM[1]];
    let along_row = [1.0 / turn, 0.0, 0.0, -1.0 / turn, 0.0, 0.0, 0.0, 0.0, 0.0];
    let height_row = [after / turn, 0.0, 0.0, -before / turn, 0.0, 0.0, 0.0, 0.0, 0.0];
    let course = SideLine {
        along_mm: line.0,
        slope: line.1,
        height_mm: (after * p[0] - before * p[3]) / turn,
        height_slope: (p[1] + p[4]) / 2.0 / SCALE_MM[0],
        height_bend_per_mm: p[6] / SCALE_MM[0].powi(2),
        along_u_mm: flanks.variance(&along_row).sqrt(),
        height_u_mm: flanks.variance(&height_row).sqrt(),
        along_degrees_of_freedom: flanks.noise.degrees_of_freedom,
        height_degrees_of_freedom: flanks.noise.degrees_of_freedom,
        places: Vec::new(),
    };
    SideLine { places: places(flanks, &course, turn, rounded_mm), ..course }
}

/// Where each strip by itself has the line: what its flanks leave over, near the line, over the turn.
fn places(flanks: &Flanks, course: &SideLine, turn: f64, rounded_mm: f64) -> Vec<LinePlace> {
    let mut strips: std::collections::BTreeMap<i64, [(f64, usize); 2]> = std::collections::BTreeMap::new();
    for (point, rest_mm) in &flanks.rests {
        let off_mm = point.s_mm - course.along_mm - course.slope * point.x_mm;
        if off_mm.abs() <= rounded_mm + FLANK_MM / 2.0 {
            let strip = strips.entry((point.x_mm.abs() / STRIP_MM).floor() as i64).or_default();
            let flank = &mut strip[usize::from(off_mm > 0.0)];
            *flank = (flank.0 + rest_mm, flank.1 + 1);
        }
    }
    let sign = flanks.rests.first().map_or(1.0, |(point, _)| point.x_mm.signum());
    strips
        .into_iter()
        .filter(|(_, flanks)| flanks.iter().all(|(_, count)| *count >= 4))
        .map(|(strip, flanks)| {
            let x_mm = sign * (strip as f64 + 0.5) * STRIP_MM;
            let [before, after] = flanks.map(|(sum, count)| sum / count as f64);
            LinePlace {
                x_mm,
                s_mm: course.along_mm + course.slope * x_mm + (before - after) / turn,
                z_mm: course.height_at(x_mm) + (before + after) / 2.0,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{LineupKind, SeamId};

    fn crease() -> Lineup {
        Lineup {
            id: "a".to_owned(),
            title: String::new(),
            seam: SeamId("s".to_owned()),
            at_mm: 0.0,
            kind: LineupKind::Crease,
            width_mm: 0.0,
            rounded_mm: 4.0,
            search_mm: 12.0,
            step: None,
            shift: None,
            bars: None,
            mirror: None,
        }
    }

    /// Points every half millimetre, 6 to 40 mm from the seam.
    fn side_of(height: impl Fn(f64, f64) -> f64) -> Vec<LinePlace> {
        let mut points = Vec::new();
        for across in 0..68 {
            for along in -70..70 {
                let (x_mm, s_mm) = (6.0 + 0.5 * f64::from(across), 0.5 * f64::from(along));
                points.push(LinePlace { x_mm, s_mm, z_mm: height(x_mm, s_mm) });
            }
        }
        points
    }

    /// A roof by hand: flanks 0.1 and −0.2 a millimetre from a ridge on s = 3.3 + 0.1 x, which lies 2 mm high and falls away
    /// by a crown of 1 m radius; rounded off over ±3 mm.
    fn roof(x_mm: f64, s_mm: f64) -> f64 {
        let off_mm = s_mm - 3.3 - 0.1 * x_mm;
        let sharp = if off_mm < 0.0 { 0.1 * off_mm } else { -0.2 * off_mm };
        2.0 + sharp - 0.05 * (3.0 - off_mm.abs()).max(0.0) - x_mm * x_mm / 2000.0
    }

    #[test]
    fn the_flanks_meet_on_the_ridge_however_it_is_rounded() {
        let line = crease_line(&side_of(roof), &crease(), 0.0).unwrap();
        // Exact but for rounding: the flanks are planes with one bend, and what is rounded is left out.
        assert!((line.along_mm - 3.3).abs() < 1e-6 && (line.slope - 0.1).abs() < 1e-7, "{line:?}");
        assert!((line.height_mm - 2.0).abs() < 1e-6 && (line.height_bend_per_mm + 0.0005).abs() < 1e-8);
        let valley = crease_line(&side_of(|x_mm, s_mm| -roof(x_mm, s_mm)), &crease(), 0.0).unwrap();
        assert!((valley.along_mm - 3.3).abs() < 1e-6 && (valley.height_mm + 2.0).abs() < 1e-6);
    }

    #[test]
    fn strays_do_not_move_the_line() {
        let mut points = side_of(roof);
        for (index, point) in points.iter_mut().enumerate() {
            if index % 97 == 0 {
                point.z_mm += if index % 2 == 0 { 5.0 } else { -3.0 };
            }
        }
        let line = crease_line(&points, &crease(), 0.0).unwrap();
        assert!((line.along_mm - 3.3).abs() < 1e-4 && (line.height_mm - 2.0).abs() < 1e-4, "{line:?}");
    }

    #[test]
    fn a_crown_is_no_crease_and_one_flank_is_not_enough() {
        let crown = side_of(|x_mm, s_mm| -(x_mm * x_mm + s_mm * s_mm) / 400.0);
        assert_eq!(crease_line(&crown, &crease(), 0.0), Err(LineupReason::FeatureNotSeen));
        let half: Vec<LinePlace> = side_of(roof).into_iter().filter(|point| point.s_mm < 5.0).collect();
        assert!(crease_line(&half, &crease(), 0.0).is_err());
    }
}
