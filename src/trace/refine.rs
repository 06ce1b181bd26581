//! Draws a chain of beads into an even, smooth line in the middle of the gap.
//!
//! In: a chain and the hem points. Out: the same chain with points every 2.5 mm, corrected sideways to mid-gap and
//! smoothed. Units: mm. Shape: stretches that were hopped over are filled and marked with no pairs.
//! Method: sideways, the mean of the two flanks' median reach; along, a local parabola over seven points (Savitzky and
//! Golay, Analytical Chemistry 36(8), 1964); hops, a cubic with the end directions (Hermite).
//! Does not change where the chain begins and ends by more than a step.

use nalgebra::{Point3, Vector3};

use super::cells::PointCells;
use super::chains::{Chain, ChainPoint};
use super::hems::HemPoint;
use super::survey::median;

/// Distance between the points of the even line.
const EVEN_MM: f64 = 2.5;
/// A longer step between chain points is a hop.
const HOP_MM: f64 = 5.5;
/// Hem points within this distance along the seam say where the flanks are.
const SLAB_MM: f64 = 4.0;
/// Hem points count from this far under the skin to this far over it.
const DEPTH_MM: [f64; 2] = [-8.0, 1.5];
/// Cosine with the direction across from which a hem point shows a flank.
const FLANK_COSINE: f64 = 0.85;
/// Fewest points on each flank.
const LEAST_FLANK: usize = 3;
/// Largest sideways correction, as a share of the width.
const LARGEST_SHIFT_SHARE: f64 = 0.5;
/// Smoothing weights of a second-order polynomial over seven even points.
const PARABOLA_WEIGHTS: [f64; 7] = [-2.0, 3.0, 6.0, 7.0, 6.0, 3.0, -2.0];

/// Evens, centres and smooths a chain.
#[must_use]
pub fn refine(chain: &Chain, hems: &[HemPoint], grid: &PointCells) -> Chain {
    let rough = smooth(&even(chain));
    let centred = centre(&rough, hems, grid);
    smooth(&centred)
}

/// Points every [`EVEN_MM`]; hops are filled with a cubic.
pub fn even(chain: &Chain) -> Chain {
    let points = &chain.points;
    let mut dense: Vec<ChainPoint> = Vec::new();
    for index in 0..points.len().saturating_sub(1) {
        let (from, to) = (points[index], points[index + 1]);
        let hop_mm = (to.point - from.point).norm();
        if hop_mm <= HOP_MM {
            dense.push(from);
            continue;
        }
        let direction = |low: usize, high: usize| {
            (points[high.min(points.len() - 1)].point - points[low].point).try_normalize(1e-9)
        };
        let chord = (to.point - from.point) / hop_mm;
        let leave = direction(index.saturating_sub(4), index).unwrap_or(chord);
        let arrive = direction(index + 1, index + 5).unwrap_or(chord);
        dense.push(from);
        let steps = (hop_mm / EVEN_MM).ceil() as usize;
        dense.extend((1..steps).map(|step| {
            let share = step as f64 / steps as f64;
            bridge_point(&from, &to, &(leave * hop_mm), &(arrive * hop_mm), share)
        }));
    }
    dense.extend(points.last());
    Chain { points: resampled(&dense), is_closed: chain.is_closed }
}

fn bridge_point(
    from: &ChainPoint,
    to: &ChainPoint,
    leave: &Vector3<f64>,
    arrive: &Vector3<f64>,
    share: f64,
) -> ChainPoint {
    let (square, cube) = (share * share, share * share * share);
    let point = from.point.coords * (2.0 * cube - 3.0 * square + 1.0)
        + leave * (cube - 2.0 * square + share)
        + to.point.coords * (3.0 * square - 2.0 * cube)
        + arrive * (cube - square);
    ChainPoint { point: Point3::from(point), pair_count: 0, ..mixed(from, to, share) }
}

fn mixed(from: &ChainPoint, to: &ChainPoint, share: f64) -> ChainPoint {
    let outward = from.outward + (to.outward - from.outward) * share;
    ChainPoint {
        point: from.point + (to.point - from.point) * share,
        outward: outward.try_normalize(1e-9).unwrap_or(from.outward),
        width_mm: from.width_mm + (to.width_mm - from.width_mm) * share,
        pair_count: from.pair_count.min(to.pair_count),
    }
}

fn resampled(points: &[ChainPoint]) -> Vec<ChainPoint> {
    let Some(first) = points.first() else { return Vec::new() };
    let mut even = vec![*first];
    let mut left_over_mm = 0.0;
    for pair in points.windows(2) {
        let span_mm = (pair[1].point - pair[0].point).norm();
        let mut along_mm = EVEN_MM - left_over_mm;
        while along_mm <= span_mm {
            even.push(mixed(&pair[0], &pair[1], along_mm / span_mm));
            along_mm += EVEN_MM;
        }
        left_over_mm = span_mm - (along_mm - EVEN_MM);
    }
    if left_over_mm > 0.5 * EVEN_MM {
        even.extend(points.last());
    }
    even
}

/// Moves each seen point sideways to the middle between the flanks.
fn centre(chain: &Chain, hems: &[HemPoint], grid: &PointCells) -> Chain {
    let last = chain.points.len().saturating_sub(1);
    let points = chain.points.iter().enumerate().map(|(index, here)| {
        let (low, high) = (index.saturating_sub(2), (index + 2).min(last));
        let Some(along) = (chain.points[high].point - chain.points[low].point).try_normalize(1e-9) else {
            return *here;
        };
        let outward =
            (here.outward - along * here.outward.dot(&along)).try_normalize(1e-6).unwrap_or(here.outward);
        let centred =
            if here.pair_count == 0 { None } else { flank_middle(here, &along, &outward, hems, grid) };
        let (shift_mm, width_mm) = centred.unwrap_or((0.0, here.width_mm));
        ChainPoint { point: here.point + along.cross(&outward) * shift_mm, outward, width_mm, ..*here }
    });
    Chain { points: points.collect(), is_closed: chain.is_closed }
}

/// Sideways shift to mid-gap, and the width, mm.
fn flank_middle(
    here: &ChainPoint,
    along: &Vector3<f64>,
    outward: &Vector3<f64>,
    hems: &[HemPoint],
    grid: &PointCells,
) -> Option<(f64, f64)> {
    let across = along.cross(outward);
    let mut flanks = [Vec::new(), Vec::new()];
    let reach_mm = here.width_mm.max(2.0);
    grid.near(&here.point, reach_mm + DEPTH_MM[0].abs(), |index| {
        let hem = &hems[index];
        let offset = hem.point - here.point;
        let (aside_mm, height_mm) = (offset.dot(&across), offset.dot(outward));
        let counts = offset.dot(along).abs() < SLAB_MM
            && aside_mm.abs() < reach_mm
            && (DEPTH_MM[0]..DEPTH_MM[1]).contains(&height_mm)
            && hem.normal.dot(&across).abs() > FLANK_COSINE;
        if counts {
            flanks[usize::from(aside_mm > 0.0)].push(aside_mm);
        }
    });
    if flanks.iter().any(|flank| flank.len() < LEAST_FLANK) {
        return None;
    }
    let left_mm = median(&mut flanks[0])?;
    let right_mm = median(&mut flanks[1])?;
    let shift_mm = 0.5 * (left_mm + right_mm);
    (shift_mm.abs() < LARGEST_SHIFT_SHARE * here.width_mm).then_some((shift_mm, right_mm - left_mm))
}

fn smooth(chain: &Chain) -> Chain {
    let points = &chain.points;
    let mut smoothed = points.clone();
    for index in 3..points.len().saturating_sub(3) {
        let window = &points[index - 3..=index + 3];
        let mut place = Vector3::zeros();
        let mut outward = Vector3::zeros();
        for (point, weight) in window.iter().zip(PARABOLA_WEIGHTS) {
            place += point.point.coords * (weight / 21.0);
            outward += point.outward;
        }
        smoothed[index].point = Point3::from(place);
        smoothed[index].outward = outward.try_normalize(1e-9).unwrap_or(points[index].outward);
    }
    Chain { points: smoothed, is_closed: chain.is_closed }
}
