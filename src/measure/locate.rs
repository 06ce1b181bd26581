//! Finds roughly where the gap is, all along a seam, from a curve that may be millimetres off.
//!
//! In: a seam laid out along the plan's curve. Out: at nodes every 8 mm the two edges' places across, or why there are none;
//! then smoothed over neighbours. Units: mm; the plan curve's axes.
//! Method: a robust parabola through each side's surface away from the gap, then a walk inwards in steps of 0.25 mm along its
//! continuation until the points run out. Where the surface leaves that continuation (a feature line) the walk goes with it.
//! Holes end the points, too, but without turning down; neighbours outvote them. Where a run of nodes finds nothing, the panels may stand
//! further apart than planned: it is looked at again from further out.
//! Does not measure: good to a few tenths of a millimetre.

use std::ops::Range;

use super::reading::Reason;
use crate::geometry::{NormalEquations, median_in_place, tukey_weight};
use crate::scan::{Spread, gather};
use crate::section::{FlatPoint, FlatSeam, keep_upper_layer};

/// Distance between nodes, mm.
pub(super) const NODE_STEP_MM: f64 = 8.0;
/// Half the length of seam that a node looks at, mm.
const NODE_REACH_MM: f64 = 6.0;
/// A gap that all places below are meant for, mm; in wider ones everything lies further out by half of what they are wider.
const USUAL_GAP_MM: f64 = 8.0;
/// Gaps that nobody planned are looked for from this much further out, mm, as far as points are gathered.
const WIDER_STEPS_MM: [f64; 4] = [0.0, 6.0, 12.0, 18.0];
/// Neighbours that must agree on such a gap: more than a sticker covers.
const FEWEST_WIDE_NODES: usize = 4;
/// Where the outer surface is looked for, mm from the curve: past a hem of 4 mm in such a gap on a curve 3 mm off.
const SURFACE_FROM_MM: f64 = 9.0;
const SURFACE_TO_MM: f64 = 30.0;
const MID_SURFACE_MM: f64 = 16.0;
const BIN_MM: f64 = 0.25;
/// Empty bins in a row that end a surface: 0.75 mm, or more where the points themselves are further apart.
const EMPTY_RUN: usize = 3;
const LONGEST_EMPTY_RUN: usize = 10;
/// Strips across a surface are this wide, mm; so many, and so much of the surface, are needed.
const LEAST_STRIP_MM: f64 = 0.5;
const LARGEST_STRIP_MM: f64 = 3.0;
const FEWEST_STRIPS: usize = 5;
const LEAST_SURFACE_MM: f64 = 6.0;
/// Strips that stand off this far from their neighbours or from the surface are not part of it, mm.
const STANDS_OFF_MM: f64 = 0.5;
/// So many points where a surface should be say that it is there, but too thinly scanned.
const SPARSE_POINTS: usize = 6;
/// So many points before it say that the panel ends too soon; within this height of the curve, mm.
const SHORT_POINTS: usize = 20;
const NEAR_HEIGHT_MM: f64 = 6.0;
/// The walk starts this far out and goes this far past the curve, mm.
const WALK_FROM_MM: f64 = 14.0;
const WALK_TO_MM: f64 = -12.0;
/// The walk looks for the surface this far over and under where it expects it, mm; steps over that are another thing.
const WALK_OVER_MM: f64 = 0.5;
const WALK_UNDER_MM: f64 = 2.5;
/// The steepest rise and fall beyond a feature line that are followed: 40° and 25°. A fall is followed this much later, so that hems, which
/// fall over less than that, are not.
const STEEPEST_RISE: f64 = 0.84;
const STEEPEST_FALL: f64 = 0.47;
const FALLS_LATE_BINS: usize = 16;
/// Surfaces begin this far behind the place where the points end, mm.
const PAST_HEM_MM: f64 = 3.5;
/// Surfaces beside a notch are looked for this far from its middle, mm: past two hems of 2 mm radius that nearly touch.
const BESIDE_NOTCH_MM: f64 = 2.5;
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

/// A node's points, with places counted from half of a wide gap.
#[derive(Clone, Copy)]
struct Slab<'a> {
    points: &'a [FlatPoint],
    wider_mm: f64,
}

impl Slab<'_> {
    fn q_mm(&self, sign: f64, point: &FlatPoint) -> f64 {
        sign * f64::from(point.x_mm) - self.wider_mm
    }
}

impl NodeSide {
    /// The same counted from the curve, where it was counted from `wider_mm` beside it.
    fn counted_from_curve(self, wider_mm: f64) -> Self {
        let [constant, slope, bend] = self.surface;
        let surface = [constant - wider_mm * (slope - wider_mm * bend), slope - 2.0 * wider_mm * bend, bend];
        Self { edge_mm: self.edge_mm + wider_mm, surface, ..self }
    }
}

/// Looks at every node of a seam whose gap should be `nominal_mm`.
pub(super) fn locate_nodes(flat: &FlatSeam, nominal_mm: f64, spread: &dyn Spread) -> Vec<Node> {
    let wider_mm = ((nominal_mm - USUAL_GAP_MM) / 2.0).max(0.0);
    let count = (flat.track.length_mm() / NODE_STEP_MM).floor() as usize + 1;
    let slab =
        |index: usize| Slab { points: flat.slab(index as f64 * NODE_STEP_MM, NODE_REACH_MM), wider_mm };
    let mut findings = gather(spread, count, |index| locate(slab(index)));
    for failed in runs_where(&findings, Result::is_err) {
        let again = gather(spread, failed.len(), |place| locate_wide_gap(slab(failed.start + place)));
        for seen in runs_where(&again, Option::is_some) {
            let wide = again[seen.clone()].iter().flatten();
            findings[failed.start + seen.start..].iter_mut().zip(wide).for_each(|(old, new)| *old = Ok(*new));
        }
    }
    let node = |(index, finding)| Node { s_mm: index as f64 * NODE_STEP_MM, finding };
    findings.into_iter().enumerate().map(node).collect()
}

/// Places of neighbours that are all so, where they are too many for a sticker.
fn runs_where<T>(values: &[T], is_so: impl Fn(&T) -> bool) -> Vec<Range<usize>> {
    let mut first = 0;
    let mut runs = Vec::new();
    for run in values.chunk_by(|one, next| is_so(one) == is_so(next)) {
        if is_so(&run[0]) && run.len() >= FEWEST_WIDE_NODES {
            runs.push(first..first + run.len());
        }
        first += run.len();
    }
    runs
}

fn locate(slab: Slab<'_>) -> Result<[NodeSide; 2], Reason> {
    let surfaces = [-1.0, 1.0].map(|sign| surface(slab, sign));
    let [Some(left), Some(right)] = surfaces else {
        return Err(why_no_surface(slab, &surfaces));
    };
    match (walk_in(slab, -1.0, &left), walk_in(slab, 1.0, &right)) {
        (Some(left), Some(right)) => Ok([left, right]),
        _ if is_notched(slab.points) => Err(Reason::NearlyShut),
        _ => Err(Reason::NotASeam),
    }
}

/// Two panels further apart than planned, each looked at from further out; only where both are seen to turn, at about one height.
fn locate_wide_gap(slab: Slab<'_>) -> Option<[NodeSide; 2]> {
    let from_out = |sign: f64| {
        WIDER_STEPS_MM.iter().find_map(|more_mm| {
            let slab = Slab { wider_mm: slab.wider_mm + more_mm, ..slab };
            walk_in(slab, sign, &surface(slab, sign)?).filter(|side| side.has_turned)
        })
    };
    let [left, right] = [from_out(-1.0)?, from_out(1.0)?];
    let step_mm = height(&left.surface, left.edge_mm) - height(&right.surface, right.edge_mm);
    let gap_mm = left.edge_mm + right.edge_mm;
    (step_mm.abs() < NEAR_HEIGHT_MM && gap_mm > USUAL_GAP_MM).then_some([left, right])
}

/// True where the points go down near the curve and come up again: two hems with next to nothing between them.
fn is_notched(points: &[FlatPoint]) -> bool {
    let bin_count = (2.0 * SURFACE_FROM_MM / BIN_MM) as usize;
    let mut bins: Vec<Vec<f64>> = vec![Vec::new(); bin_count];
    for point in points {
        let place = (f64::from(point.x_mm) + SURFACE_FROM_MM) / BIN_MM;
        let z_mm = f64::from(point.z_mm);
        if place >= 0.0 && (place as usize) < bin_count && z_mm.abs() < NEAR_HEIGHT_MM {
            bins[place as usize].push(z_mm);
        }
    }
    let heights_mm: Vec<Option<f64>> =
        bins.iter_mut().map(|bin| if bin.len() < 3 { None } else { median_in_place(bin) }).collect();
    let beside = (BESIDE_NOTCH_MM / BIN_MM) as usize;
    heights_mm.windows(2 * beside + 1).any(|around| match (around[0], around[beside], around[2 * beside]) {
        (Some(left_mm), Some(here_mm), Some(right_mm)) => here_mm < left_mm.min(right_mm) - TURNED_MM,
        _ => false,
    })
}

/// Why a side has no outer surface: too few points to show one, a panel that ends before it, or nothing there at all.
fn why_no_surface(slab: Slab<'_>, surfaces: &[Option<[f64; 3]>; 2]) -> Reason {
    let missing: Vec<f64> = [-1.0, 1.0]
        .into_iter()
        .zip(surfaces)
        .filter(|(_, found)| found.is_none())
        .map(|(sign, _)| sign)
        .collect();
    let count = |sign: f64, from_mm: f64, to_mm: f64| {
        let is_there = |point: &&FlatPoint| {
            (from_mm..to_mm).contains(&slab.q_mm(sign, point)) && f64::from(point.z_mm).abs() < NEAR_HEIGHT_MM
        };
        slab.points.iter().filter(is_there).count()
    };
    let far: Vec<usize> = missing.iter().map(|sign| count(*sign, MID_SURFACE_MM, SURFACE_TO_MM)).collect();
    let near: Vec<usize> = missing.iter().map(|sign| count(*sign, 0.0, SURFACE_FROM_MM)).collect();
    if far.iter().all(|count| *count >= SPARSE_POINTS) {
        Reason::TooSparse
    } else if near.iter().all(|count| *count >= SHORT_POINTS) {
        Reason::SurfaceTooShort
    } else if missing.len() == 2 {
        Reason::NoPoints
    } else {
        Reason::OnePanelMissing
    }
}

/// A robust parabola `z(q)` through the medians of strips across one side; the strips are as wide as the points are apart.
fn surface(slab: Slab<'_>, sign: f64) -> Option<[f64; 3]> {
    let width_mm = SURFACE_TO_MM - SURFACE_FROM_MM;
    let range_mm = SURFACE_FROM_MM..SURFACE_TO_MM;
    let count = slab.points.iter().filter(|point| range_mm.contains(&slab.q_mm(sign, point))).count();
    let apart_mm = (width_mm * 2.0 * NODE_REACH_MM / (count.max(1) as f64)).sqrt();
    let strip_mm = apart_mm.clamp(LEAST_STRIP_MM, LARGEST_STRIP_MM);
    let mut strips: Vec<Vec<f64>> = vec![Vec::new(); (width_mm / strip_mm) as usize];
    let strip_count = strips.len();
    for point in slab.points {
        let place = (slab.q_mm(sign, point) - SURFACE_FROM_MM) / strip_mm;
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
            Some((SURFACE_FROM_MM + (index as f64 + 0.5) * strip_mm, median_in_place(strip)?))
        })
        .collect();
    if medians.len() < FEWEST_STRIPS || (medians.len() as f64) * strip_mm < LEAST_SURFACE_MM {
        return None;
    }
    let whole = robust_parabola(&medians)?;
    if stands_off_near_edge(&medians, &whole) {
        robust_parabola(nearest_piece(&medians))
    } else {
        Some(whole)
    }
}

/// True where a fit to the whole misses the strips nearest to the edge: something stands on the panel further in.
fn stands_off_near_edge(medians: &[(f64, f64)], surface: &[f64; 3]) -> bool {
    let near = &medians[..medians.len().min(FEWEST_STRIPS)];
    let mut sizes: Vec<f64> = near.iter().map(|(q, z)| (z - height(surface, *q)).abs()).collect();
    median_in_place(&mut sizes).is_some_and(|size_mm| size_mm > STANDS_OFF_MM)
}

/// The strips from the edge's side up to the first jump.
fn nearest_piece(medians: &[(f64, f64)]) -> &[(f64, f64)] {
    let is_step = |pair: &[(f64, f64)]| (pair[1].1 - pair[0].1).abs() > STANDS_OFF_MM;
    let end = medians.windows(2).position(is_step).map_or(medians.len(), |place| place + 1);
    &medians[..end]
}

/// A parabola in `q` by iterated Tukey weights; a straight line through a short piece.
fn robust_parabola(medians: &[(f64, f64)]) -> Option<[f64; 3]> {
    let (first, last) = (medians.first()?, medians.last()?);
    let is_short = last.0 - first.0 < LEAST_SURFACE_MM;
    let mut fitted = [0.0; 3];
    let mut limit_mm = f64::INFINITY;
    for _ in 0..12 {
        let height = |q: f64| fitted[0] + fitted[1] * q / 20.0 + fitted[2] * (q / 20.0).powi(2);
        let mut residuals: Vec<f64> = medians.iter().map(|(q, z)| (z - height(*q)).abs()).collect();
        let mut equations = NormalEquations::<3>::default();
        for (q, z) in medians {
            let weight = if limit_mm.is_finite() { tukey_weight(z - height(*q), limit_mm) } else { 1.0 };
            equations.add([1.0, q / 20.0, (q / 20.0).powi(2)], *z, weight);
        }
        if is_short {
            equations.hold(2, 0.0, 1e9);
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
fn walk_in(slab: Slab<'_>, sign: f64, surface: &[f64; 3]) -> Option<NodeSide> {
    let bin_count = ((WALK_FROM_MM + 10.0 - WALK_TO_MM) / BIN_MM) as usize;
    let mut bins: Vec<Vec<f64>> = vec![Vec::new(); bin_count];
    for point in slab.points {
        let q = slab.q_mm(sign, point);
        let place = (WALK_FROM_MM + 10.0 - q) / BIN_MM;
        if place >= 0.0 && (place as usize) < bin_count {
            bins[place as usize].push(height(surface, q) - f64::from(point.z_mm));
        }
    }
    let start = (10.0 / BIN_MM) as usize;
    let walk = follow(&mut bins, start);
    let counts = &walk.counts;
    let mut typical: Vec<f64> = counts[..start].iter().map(|count| f64::from(*count)).collect();
    let few = (0.2 * median_in_place(&mut typical)?).max(1.0);
    let is_empty = |count: &u32| f64::from(*count) < few;
    let run = ending_run(&counts[..start]);
    let first_empty =
        (start..=bin_count - run).find(|first| counts[*first..*first + run].iter().all(is_empty))?;
    let edge_mm = WALK_FROM_MM + 10.0 - first_empty as f64 * BIN_MM;
    let beside = walk.surface_before(first_empty, surface);
    let mut depths: Vec<f64> = slab
        .points
        .iter()
        .filter(|point| (edge_mm - 0.3..edge_mm + 1.0).contains(&slab.q_mm(sign, point)))
        .map(|point| height(&beside, slab.q_mm(sign, point)) - f64::from(point.z_mm))
        .filter(is_of_walk)
        .collect();
    let has_turned = median_in_place(&mut depths).is_some_and(|depth_mm| depth_mm > TURNED_MM);
    Some(NodeSide { edge_mm, surface: *surface, has_turned }.counted_from_curve(slab.wider_mm))
}

fn is_of_walk(depth_mm: &f64) -> bool {
    (-WALK_OVER_MM..WALK_UNDER_MM).contains(depth_mm)
}

/// A walk bin by bin, from the panel's inside outwards.
struct Walk {
    /// Points of the surface.
    counts: Vec<u32>,
    /// Median depth of a bin's points under the surface's continuation, mm.
    depths_mm: Vec<Option<f64>>,
}

/// Follows a surface; `bins` hold depths under its continuation.
fn follow(bins: &mut [Vec<f64>], start: usize) -> Walk {
    let mut walk = Walk { counts: Vec::new(), depths_mm: Vec::new() };
    // How far the surface lies under its continuation, mm.
    let mut under_mm = 0.0;
    for (index, bin) in bins.iter_mut().enumerate() {
        bin.retain(|depth_mm| is_of_walk(&(depth_mm - under_mm)));
        let depth_mm = median_in_place(bin);
        walk.counts.push(bin.len() as u32);
        walk.depths_mm.push(depth_mm);
        if index < start {
            continue;
        }
        let fallen_mm = walk.depths_mm[index - FALLS_LATE_BINS].map_or(0.0, |before_mm| before_mm - under_mm);
        let risen_mm = depth_mm.map_or(0.0, |here_mm| here_mm - under_mm);
        under_mm += if risen_mm < 0.0 {
            risen_mm.max(-STEEPEST_RISE * BIN_MM)
        } else {
            fallen_mm.clamp(0.0, STEEPEST_FALL * BIN_MM)
        };
    }
    walk
}

impl Walk {
    /// The outer surface just before a bin: the given one, or a straight line where a feature line lies between.
    fn surface_before(&self, end: usize, surface: &[f64; 3]) -> [f64; 3] {
        let to = end.saturating_sub((PAST_HEM_MM / BIN_MM) as usize);
        let from = to.saturating_sub((LEAST_SURFACE_MM / BIN_MM) as usize - 1);
        let place = |index: usize| WALK_FROM_MM + 10.0 - (index as f64 + 0.5) * BIN_MM;
        let mut near: Vec<(f64, f64)> = (from..to)
            .filter_map(|index| {
                self.depths_mm[index].map(|depth_mm| (place(index), height(surface, place(index)) - depth_mm))
            })
            .collect();
        near.reverse();
        if near.len() >= FEWEST_STRIPS && stands_off_near_edge(&near, surface) {
            robust_parabola(&near).unwrap_or(*surface)
        } else {
            *surface
        }
    }
}

/// Empty bins in a row that end a surface with this covering: more than twice what nine in ten of its own breaks are long.
fn ending_run(surface_counts: &[u32]) -> usize {
    let mut breaks: Vec<usize> = surface_counts
        .chunk_by(|one, next| (*one == 0) == (*next == 0))
        .filter(|chunk| chunk.first() == Some(&0))
        .map(<[u32]>::len)
        .collect();
    breaks.sort_unstable();
    let usual = breaks.get((breaks.len() * 9 / 10).min(breaks.len().saturating_sub(1))).copied().unwrap_or(0);
    // One break alone is a sticker's hole, not the spacing.
    let usual = if breaks.len() < 3 { 0 } else { usual };
    (2 * usual + 1).clamp(EMPTY_RUN, LONGEST_EMPTY_RUN)
}
