//! The gap of a fitted station by each method.
//!
//! In: two fitted sides in level axes. Out: the gap, mm, or why there is none. Definitions: see `measure`.
//! Does not know uncertainties.

use super::reading::Reason;
use super::station::{Fitted, FittedSide, SIGNS};
use crate::geometry::{NormalEquations, TangentArc, median_in_place, tukey_weight};
use crate::plan::GapMethod;
use crate::section::FlatSeam;

/// Points this far above and below the depth asked for make the width there, mm.
const DEPTH_BAND_MM: f64 = 0.75;
/// Points this far from the edge may belong to its flange, mm.
const FLANGE_REACH_MM: f64 = 1.5;
const FEWEST_FLANGE_POINTS: usize = 8;

/// The gap by the seam's method; both arcs must be there.
pub(super) fn gap_mm(
    fitted: &Fitted,
    flat: &FlatSeam,
    datum: usize,
    method: GapMethod,
    reach_mm: f64,
) -> Result<f64, Reason> {
    let [Some(left), Some(right)] = &fitted.sides else { return Err(Reason::OnePanelMissing) };
    let (Some(left_arc), Some(right_arc)) = (&left.arc, &right.arc) else { return Err(Reason::EdgeNotSeen) };
    match method {
        GapMethod::Edge => Ok(left_arc.edge_mm + right_arc.edge_mm),
        GapMethod::Shortest => Ok(shortest_mm(left_arc, right_arc)),
        GapMethod::Depth { depth_mm } => {
            let datum_skin = fitted.sides[datum].as_ref().map_or(0.0, |side| side.skin.c0);
            let level_mm = datum_skin - depth_mm;
            let widths = [(left, 0), (right, 1)].map(|(fit, side)| {
                width_at(fitted, flat, side, fit, (level_mm, reach_mm)).ok_or(Reason::EdgeNotSeen)
            });
            Ok(widths[0]? + widths[1]?)
        }
    }
}

/// Least distance between the two hems, each an arc followed by a flange straight down from its edge point.
fn shortest_mm(left: &TangentArc, right: &TangentArc) -> f64 {
    let edge_gap_mm = left.edge_mm + right.edge_mm;
    let across_mm = left.centre_q_mm + right.centre_q_mm;
    let up_mm = right.centre_z_mm - left.centre_z_mm;
    // The higher arc's nearest point lies past its edge point: on the flange, which hangs level with the lower arc.
    let (lower, higher) = if up_mm > 0.0 { (left, right) } else { (right, left) };
    let is_seen_past = |arc: &TangentArc, angle_rad: f64| arc.seen_rad >= angle_rad;
    let steepness_rad = up_mm.abs().atan2(across_mm);
    if is_seen_past(higher, std::f64::consts::FRAC_PI_2 + steepness_rad) || up_mm.abs() < 1e-9 {
        across_mm.hypot(up_mm) - lower.radius_mm - higher.radius_mm
    } else {
        edge_gap_mm
    }
}

/// Distance from mid-gap of one side's profile at a level `(level, reach along the seam)`, mm.
fn width_at(
    fitted: &Fitted,
    flat: &FlatSeam,
    side: usize,
    fit: &FittedSide,
    (level_mm, reach_mm): (f64, f64),
) -> Option<f64> {
    let arc = fit.arc.as_ref()?;
    let over_centre_mm = level_mm - arc.centre_z_mm;
    if over_centre_mm >= 0.0 {
        let inside = arc.radius_mm.powi(2) - over_centre_mm.powi(2);
        return (inside >= 0.0).then(|| arc.centre_q_mm - inside.sqrt());
    }
    flange_mm(fitted, flat, side, arc, (level_mm, reach_mm))
}

/// A robust straight line through the flange's points about a level.
fn flange_mm(
    fitted: &Fitted,
    flat: &FlatSeam,
    side: usize,
    arc: &TangentArc,
    (level_mm, reach_mm): (f64, f64),
) -> Option<f64> {
    let points: Vec<(f64, f64)> = flat
        .slab(fitted.s_mm, reach_mm)
        .iter()
        .filter_map(|point| {
            let (u, v) = fitted.tilt.level(f64::from(point.x_mm), f64::from(point.z_mm));
            let q_mm = SIGNS[side] * u - arc.edge_slope * (f64::from(point.s_mm) - fitted.s_mm);
            let is_flange =
                (v - level_mm).abs() <= DEPTH_BAND_MM && (q_mm - arc.edge_mm).abs() <= FLANGE_REACH_MM;
            is_flange.then_some((v - level_mm, q_mm))
        })
        .collect();
    if points.len() < FEWEST_FLANGE_POINTS {
        return None;
    }
    let mut values: Vec<f64> = points.iter().map(|(_, q)| *q).collect();
    let mut line = [median_in_place(&mut values)?, 0.0];
    for _ in 0..8 {
        let residual = |(v, q): &(f64, f64)| q - line[0] - line[1] * v;
        let mut sizes: Vec<f64> = points.iter().map(|point| residual(point).abs()).collect();
        let limit = (7.0 * median_in_place(&mut sizes)?).max(2e-3);
        let mut equations = NormalEquations::<2>::default();
        for point in &points {
            equations.add([1.0, point.0], point.1, tukey_weight(residual(point), limit));
        }
        line = equations.solve()?;
    }
    Some(line[0])
}
