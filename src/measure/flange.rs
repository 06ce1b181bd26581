//! Follows a panel's profile from its outer surface down over the hem and along the flange.
//!
//! In: a fitted side and the section's points. Out: how deep the flange was seen and, where it leans out past the hem, how far
//! the profile really reaches towards the other panel. Units: mm, level section axes.
//! Method: medians in steps of depth, each near the continuation of those before, until the points run out; then a robust
//! straight line through the part below the hem. The edge is by definition the furthest point, so on a flange that opens
//! outwards it is the flange's lower end, as far as the scan shows it.
//! Does not tell the true end of a flange from the end of what the scanner could see.

use super::station::{Fitted, FittedSide, SIGNS};
use crate::geometry::{NormalEquations, TangentArc, median_in_place, tukey_weight};
use crate::section::FlatSeam;

/// Depth of a step, and how deep is followed, mm.
const STEP_MM: f64 = 0.5;
const DEEPEST_MM: f64 = 13.0;
/// Points this near to where the profile is expected belong to it, mm: flanges that lean out by up to 35°.
const NEAR_MM: f64 = 0.45;
/// Steps in a row without points that end the profile: a millimetre.
const BREAK_STEPS: usize = 2;
const FEWEST_POINTS: usize = 3;
/// Steps below the hem that make a line.
const FEWEST_STEPS: usize = 4;
/// A flange leans out where the seam's stations agree that it passes the hem's arc by more than this, mm, at such a slope.
const LEANS_BY_MM: f64 = 0.005;
const LEANS_SLOPE: f64 = -0.003;
/// How much further down an open flange may go unseen, mm; half-width of a rectangular distribution (common practice, no
/// source).
const UNSEEN_MM: f64 = 6.0;
/// A flange that leans out by more than 18° is seen to its end; what its last point may lack, mm. From 14° on it is so from straight above, but
/// scanners are held at a slant (rehearsed at 15°, the last half millimetre of both flanges was missing).
const SEEN_SLOPE: f64 = 0.325;
const SEEN_END_MM: f64 = 0.5;
const SEEN_FROM_ABOVE_SLOPE: f64 = 0.25;
const SEEN_FROM_ABOVE_END_MM: f64 = 1.5;

/// One side's flange at one station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Flange {
    /// Depth under the outer surface down to which the profile was seen without a break, mm.
    pub(super) depth_mm: f64,
    /// The straight part below the hem, where there is enough of it.
    pub(super) line: Option<FlangeLine>,
}

/// A straight flange; `q` counts from mid-gap into the panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct FlangeLine {
    /// `q` at the deepest point seen, mm.
    pub(super) end_mm: f64,
    /// Level section height of that point, mm.
    pub(super) end_height_mm: f64,
    /// Change of `q` with depth; negative where the flange leans out towards the other panel.
    pub(super) slope: f64,
}

/// An edge moved to the lower end of a flange that leans out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct OpenFlange {
    pub(super) edge_mm: f64,
    pub(super) height_mm: f64,
    /// What the flange's unseen part may still add, as a standard uncertainty, mm.
    pub(super) unseen_u_mm: f64,
}

/// Follows one side's profile.
pub(super) fn follow_flange(
    flat: &FlatSeam,
    fit: &Fitted,
    side: usize,
    reach_mm: f64,
    spacing_mm: f64,
) -> Option<Flange> {
    let fitted = fit.sides[side].as_ref()?;
    let arc = fitted.arc.as_ref()?;
    let top_mm = fitted.skin.height_mm(arc.centre_q_mm);
    let mut steps: Vec<Vec<(f64, f64)>> = vec![Vec::new(); (DEEPEST_MM / STEP_MM) as usize];
    for (depth_mm, q_mm) in points_below(flat, fit, fitted, side, reach_mm) {
        if let Some(step) = steps.get_mut((depth_mm / STEP_MM) as usize)
            && depth_mm >= 0.0
        {
            step.push((depth_mm, q_mm));
        }
    }
    let kept = follow(arc, top_mm, &steps);
    let depth_mm = kept.iter().map(|(depth_mm, _)| *depth_mm).fold(0.0, f64::max);
    let below_mm = top_mm - arc.centre_z_mm + STEP_MM;
    let straight: Vec<(f64, f64)> = kept.into_iter().filter(|(depth, _)| *depth > below_mm).collect();
    let line = (depth_mm - below_mm >= FEWEST_STEPS as f64 * STEP_MM)
        .then(|| line_through(&straight))
        .flatten()
        .map(|(offset_mm, slope)| {
            // The lowest point lies on average half a spacing above the end of what is there.
            let end_mm = depth_mm + 0.5 * spacing_mm;
            FlangeLine { end_mm: offset_mm + slope * end_mm, end_height_mm: top_mm - end_mm, slope }
        });
    Some(Flange { depth_mm, line })
}

/// Depth under the outer surface and `q` of the section's points in front of this side's surface band.
fn points_below<'a>(
    flat: &'a FlatSeam,
    fit: &'a Fitted,
    fitted: &'a FittedSide,
    side: usize,
    reach_mm: f64,
) -> impl Iterator<Item = (f64, f64)> + 'a {
    let edge_slope = fitted.arc.as_ref().map_or(0.0, |arc| arc.edge_slope);
    let centre_q_mm = fitted.arc.as_ref().map_or(0.0, |arc| arc.centre_q_mm);
    let top_mm = fitted.skin.height_mm(centre_q_mm);
    flat.slab(fit.s_mm, reach_mm).iter().map(move |point| {
        let (u, v) = fit.tilt.level(f64::from(point.x_mm), f64::from(point.z_mm));
        let ds_mm = f64::from(point.s_mm) - fit.s_mm;
        let along_mm = fitted.skin.along_term_mm(centre_q_mm, ds_mm);
        (top_mm + along_mm - v, SIGNS[side] * u - edge_slope * ds_mm)
    })
}

/// The points of the profile, from the arc down: `(depth, q)`.
fn follow(arc: &TangentArc, top_mm: f64, steps: &[Vec<(f64, f64)>]) -> Vec<(f64, f64)> {
    let mut kept = Vec::new();
    // Where the arc is at a depth; below its furthest point it is expected to go straight down.
    let on_arc = |depth_mm: f64| {
        let up_mm = (top_mm - depth_mm - arc.centre_z_mm).clamp(0.0, arc.radius_mm);
        arc.centre_q_mm - (arc.radius_mm.powi(2) - up_mm.powi(2)).sqrt()
    };
    let (mut last_mm, mut drift_mm, mut missing) = (on_arc(STEP_MM), 0.0, 0);
    for (index, step) in steps.iter().enumerate().skip(1) {
        let middle_mm = (index as f64 + 0.5) * STEP_MM;
        let is_on_arc = top_mm - middle_mm > arc.centre_z_mm;
        let expected_mm = if is_on_arc { on_arc(middle_mm) } else { last_mm + drift_mm };
        let near: Vec<(f64, f64)> =
            step.iter().filter(|(_, q)| (q - expected_mm).abs() <= NEAR_MM).copied().collect();
        if near.len() < FEWEST_POINTS {
            missing += 1;
            if missing >= BREAK_STEPS {
                break;
            }
            continue;
        }
        missing = 0;
        let mut values: Vec<f64> = near.iter().map(|(_, q)| *q).collect();
        let Some(median_mm) = median_in_place(&mut values) else { break };
        drift_mm = if is_on_arc { 0.0 } else { (median_mm - last_mm).clamp(-NEAR_MM, NEAR_MM) };
        last_mm = median_mm;
        kept.extend(near);
    }
    kept
}

/// Robust straight line `q = offset + slope · depth`.
fn line_through(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let mut values: Vec<f64> = points.iter().map(|(_, q)| *q).collect();
    let (mut offset_mm, mut slope) = (median_in_place(&mut values)?, 0.0);
    for round in 0..10 {
        let residual = |(depth, q): &(f64, f64)| q - offset_mm - slope * depth;
        let mut sizes: Vec<f64> = points.iter().map(|point| residual(point).abs()).collect();
        let limit_mm = if round == 0 { 1e6 } else { (7.0 * median_in_place(&mut sizes)?).max(2e-3) };
        let mut equations = NormalEquations::<2>::default();
        for point in points {
            equations.add([1.0, point.0], point.1, tukey_weight(residual(point), limit_mm));
        }
        [offset_mm, slope] = equations.solve()?;
    }
    Some((offset_mm, slope))
}

/// Edges moved to the ends of open flanges, where a side's stations agree that its flange leans out.
pub(super) fn open_flanges(
    fitted: &[Fitted],
    flanges: &[Option<Flange>],
    side: usize,
) -> Vec<Option<OpenFlange>> {
    // The flange's own lean from the hem down; its end, where that lies further out than the arc and the lean say.
    let passes = |(fit, flange): (&Fitted, &Option<Flange>)| {
        let arc = fit.sides[side].as_ref()?.arc.as_ref()?;
        let line = flange.as_ref()?.line?;
        let leans_mm = -line.slope * (arc.centre_z_mm - line.end_height_mm);
        Some((leans_mm.max(arc.edge_mm - line.end_mm), arc.edge_mm, line))
    };
    let all: Vec<Option<(f64, f64, FlangeLine)>> = fitted.iter().zip(flanges).map(passes).collect();
    let mut by_mm: Vec<f64> = all.iter().flatten().map(|(by_mm, _, _)| *by_mm).collect();
    let mut slopes: Vec<f64> = all.iter().flatten().map(|(_, _, line)| line.slope).collect();
    let usual_slope = median_in_place(&mut slopes).unwrap_or(0.0);
    let is_open = 2 * by_mm.len() >= fitted.len()
        && median_in_place(&mut by_mm).is_some_and(|by_mm| by_mm > LEANS_BY_MM)
        && usual_slope < LEANS_SLOPE;
    all.into_iter()
        .map(|found| {
            let (by_mm, arc_mm, line) = found.filter(|_| is_open)?;
            // Where a station's own hardly seems to lean, noise hides it: its neighbours' do.
            let lean = line.slope.min(usual_slope).abs();
            let unseen_mm = match lean {
                SEEN_SLOPE.. => SEEN_END_MM,
                SEEN_FROM_ABOVE_SLOPE.. => SEEN_FROM_ABOVE_END_MM,
                _ => UNSEEN_MM,
            };
            Some(OpenFlange {
                edge_mm: arc_mm - by_mm.max(0.0),
                height_mm: line.end_height_mm,
                unseen_u_mm: lean * unseen_mm / 3.0_f64.sqrt(),
            })
        })
        .collect()
}

/// What a flange that hardly leans may still reach past its hem further down, as a standard uncertainty, mm: its own lean, and
/// how well that is known from so short a piece.
pub(super) fn lean_doubt_mm(flanges: &[Option<Flange>]) -> f64 {
    let mut slopes: Vec<f64> =
        flanges.iter().filter_map(|flange| Some(flange.as_ref()?.line?.slope)).collect();
    if 2 * slopes.len() < flanges.len() {
        return 0.0;
    }
    let Some(slope) = median_in_place(&mut slopes) else { return 0.0 };
    let mut deviations: Vec<f64> = slopes.iter().map(|value| (value - slope).abs()).collect();
    let deviation = 1.4826 * median_in_place(&mut deviations).unwrap_or(0.0);
    // A flange that leans back by more than its doubt has its furthest point on the hem.
    if slope > 2.0 * deviation {
        0.0
    } else {
        (slope.min(0.0).abs() + deviation) * UNSEEN_MM / 3.0_f64.sqrt()
    }
}
