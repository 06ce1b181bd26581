//! Finds roughly where the gap is, all along a seam, from a curve that may be millimetres off.
//!
//! In: a seam laid out along the plan's curve. Out: at nodes every 8 mm the two edges' places across, or why there are none;
//! then smoothed over neighbours. Units: mm; the plan curve's axes.
//! Method: a robust parabola through each side's surface away from the gap, then a walk inwards in steps of 0.25 mm along its
//! continuation until the points run out. Holes do the same, but stop without turning down; neighbours outvote them.
//! Does not measure: good to a few tenths of a millimetre.

use super::reading::Reason;
use super::spread::{Spread, gather};
use crate::geometry::{NormalEquations, median_in_place, tukey_weight};
use crate::section::{FlatPoint, FlatSeam, keep_upper_layer};

/// Distance between nodes, mm.
pub(super) const NODE_STEP_MM: f64 = 8.0;
/// Half the length of seam that a node looks at, mm.
const NODE_REACH_MM: f64 = 6.0;
/// Where the outer surface is looked for, mm from the curve: past a hem of 4 mm in a gap of 8 mm on a curve 3 mm off.
const SURFACE_FROM_MM: f64 = 9.0;
const SURFACE_TO_MM: f64 = 30.0;
const BIN_MM: f64 = 0.25;
/// Empty bins in a row that end a surface: 0.75 mm.
const EMPTY_RUN: usize = 3;
/// The walk starts this far out and goes this far past the curve, mm.
const WALK_FROM_MM: f64 = 14.0;
const WALK_TO_MM: f64 = -12.0;
/// An edge that has come down this far under its surface has turned, mm.
const TURNED_MM: f64 = 0.3;

/// One side at a node; `q` counts from the curve into this side's panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct NodeSide {
    /// Where the points end, mm.
    pub(super) edge_mm: f64,
    /// Parabola of the outer surface, in q.
    pub(super) surface: [f64; 3],
    pub(super) has_turned: bool,
}

/// What a node saw: the left side, then the right one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Node {
    pub(super) s_mm: f64,
    pub(super) finding: Result<[NodeSide; 2], Reason>,
}

/// Looks at every node of a seam.
pub(super) fn locate_nodes(flat: &FlatSeam, spread: &dyn Spread) -> Vec<Node> {
    let count = (flat.track.length_mm() / NODE_STEP_MM).floor() as usize + 1;
    gather(spread, count, |index| {
        let s_mm = index as f64 * NODE_STEP_MM;
        Node { s_mm, finding: locate(flat.slab(s_mm, NODE_REACH_MM)) }
    })
}

fn locate(points: &[FlatPoint]) -> Result<[NodeSide; 2], Reason> {
    if points.len() < 60 {
        return Err(Reason::NoPoints);
    }
    let surfaces = [-1.0, 1.0].map(|sign| surface(points, sign));
    let [Some(left), Some(right)] = surfaces else {
        let is_bare = surfaces.iter().all(Option::is_none);
        return Err(if is_bare { Reason::NoPoints } else { Reason::OnePanelMissing });
    };
    match (walk_in(points, -1.0, &left), walk_in(points, 1.0, &right)) {
        (Some(left), Some(right)) => Ok([left, right]),
        _ => Err(Reason::NotASeam),
    }
}

/// A robust parabola `z(q)` through the medians of strips across one side.
fn surface(points: &[FlatPoint], sign: f64) -> Option<[f64; 3]> {
    let strip_count = ((SURFACE_TO_MM - SURFACE_FROM_MM) / 0.5) as usize;
    let mut strips: Vec<Vec<f64>> = vec![Vec::new(); strip_count];
    for point in points {
        let place = (sign * f64::from(point.x_mm) - SURFACE_FROM_MM) / 0.5;
        if place >= 0.0 && (place as usize) < strip_count {
            strips[place as usize].push(f64::from(point.z_mm));
        }
    }
    let medians: Vec<(f64, f64)> = strips
        .iter_mut()
        .enumerate()
        .filter(|(_, strip)| strip.len() >= 3)
        .filter_map(|(index, strip)| {
            keep_upper_layer(strip);
            Some((SURFACE_FROM_MM + (index as f64 + 0.5) * 0.5, median_in_place(strip)?))
        })
        .collect();
    if medians.len() < 12 {
        return None;
    }
    let mut fitted = [0.0; 3];
    let mut limit_mm = f64::INFINITY;
    for _ in 0..12 {
        let height = |q: f64| fitted[0] + fitted[1] * q / 20.0 + fitted[2] * (q / 20.0).powi(2);
        let mut residuals: Vec<f64> = medians.iter().map(|(q, z)| (z - height(*q)).abs()).collect();
        let mut equations = NormalEquations::<3>::default();
        for (q, z) in &medians {
            let weight = if limit_mm.is_finite() { tukey_weight(z - height(*q), limit_mm) } else { 1.0 };
            equations.add([1.0, q / 20.0, (q / 20.0).powi(2)], *z, weight);
        }
        if limit_mm.is_infinite() {
            limit_mm = 1e6;
        } else {
            limit_mm = (6.0 * median_in_place(&mut residuals)?).max(0.1);
        }
        fitted = equations.solve()?;
    }
    Some([fitted[0], fitted[1] / 20.0, fitted[2] / 400.0])
}

fn height(surface: &[f64; 3], q_mm: f64) -> f64 {
    surface[0] + surface[1] * q_mm + surface[2] * q_mm * q_mm
}

/// Walks from the surface towards and past the curve until the points run out; `None` where they never do.
fn walk_in(points: &[FlatPoint], sign: f64, surface: &[f64; 3]) -> Option<NodeSide> {
    let bin_count = ((WALK_FROM_MM + 10.0 - WALK_TO_MM) / BIN_MM) as usize;
    let bin_of = |q: f64| (WALK_FROM_MM + 10.0 - q) / BIN_MM;
    let mut counts = vec![0_u32; bin_count];
    for point in points {
        let q = sign * f64::from(point.x_mm);
        let depth_mm = height(surface, q) - f64::from(point.z_mm);
        let place = bin_of(q);
        if (-0.5..2.5).contains(&depth_mm) && place >= 0.0 && (place as usize) < bin_count {
            counts[place as usize] += 1;
        }
    }
    let start = (10.0 / BIN_MM) as usize;
    let mut typical: Vec<f64> = counts[..start].iter().map(|count| f64::from(*count)).collect();
    let few = (0.2 * median_in_place(&mut typical)?).max(1.0);
    let is_empty = |count: &u32| f64::from(*count) < few;
    let first_empty = (start..=bin_count - EMPTY_RUN)
        .find(|first| counts[*first..*first + EMPTY_RUN].iter().all(is_empty))?;
    let edge_mm = WALK_FROM_MM + 10.0 - first_empty as f64 * BIN_MM;
    let mut depths: Vec<f64> = points
        .iter()
        .filter(|point| (edge_mm - 0.3..edge_mm + 1.0).contains(&(sign * f64::from(point.x_mm))))
        .map(|point| height(surface, sign * f64::from(point.x_mm)) - f64::from(point.z_mm))
        .filter(|depth_mm| (-0.5..2.5).contains(depth_mm))
        .collect();
    let has_turned = median_in_place(&mut depths).is_some_and(|depth_mm| depth_mm > TURNED_MM);
    Some(NodeSide { edge_mm, surface: *surface, has_turned })
}
