//! Joins chains over stretches where the scan shows nothing: stickers side by side, drop-outs, tape.
//!
//! In: refined chains and the survey. Out: fewer chains; what was filled in has no pairs. Units: mm.
//! Method: the nearest two ends that look at one another along one line, with gaps of like width, become one; a cubic
//! with the ends' directions lies between. Over more than a strip of tape the scan must be empty there: a seam that
//! ends in the open and another that begins there are two.
//! Does not join across junctions: ends that meet another chain are left alone.

use nalgebra::Vector3;

use super::chains::{Chain, ChainPoint};
use super::network::meeting_ends;
use super::refine::even;
use super::survey::{CELL_MM, Survey};

/// Longest stretch that is filled, and the longest where it does not matter what the scan shows, mm.
const LONGEST_MM: f64 = 120.0;
const COVERED_MM: f64 = 45.0;
/// Least cosine between each end's direction and the line to the other end, over short and long stretches.
const NEAR_COSINE: f64 = 0.94;
const FAR_COSINE: f64 = 0.98;
/// Ends are led on up to another chain over this much without skin; nearer ones are found to meet anyway.
const TO_OTHER_MM: f64 = 70.0;
/// How far beside the straight line the other chain may be hit: a fixed part and a share of the way.
const HIT_MM: f64 = 2.5;
const HIT_SHARE: f64 = 0.07;
/// Share of a long stretch that may show skin.
const MOST_SKIN: f64 = 0.4;
/// Widths may differ by this share of the larger.
const WIDTH_SHARE: f64 = 0.5;
/// Directions and widths are taken over so many points from the end.
const END_POINTS: usize = 9;

/// An end of a chain.
struct Tip {
    chain: usize,
    at_end: bool,
    point: ChainPoint,
    leaving: Vector3<f64>,
    width_mm: f64,
}

/// Joins what belongs together, the nearest first.
#[must_use]
pub fn span_gaps(mut chains: Vec<Chain>, survey: &Survey) -> Vec<Chain> {
    // Each round joins two chains.
    for _ in 0..chains.len() {
        let tips = free_tips(&chains);
        let mut best: Option<(f64, &Tip, &Tip)> = None;
        for (index, first) in tips.iter().enumerate() {
            for second in tips[..index].iter().filter(|second| second.chain != first.chain) {
                let distance_mm = (first.point.point - second.point.point).norm();
                let is_nearer = best.is_none_or(|(least, _, _)| distance_mm < least);
                if is_nearer && fits(first, second, survey) {
                    best = Some((distance_mm, first, second));
                }
            }
        }
        let Some((_, first, second)) = best else { break };
        let (first, second) = ((first.chain, first.at_end), (second.chain, second.at_end));
        chains = joined(chains, first, second);
    }
    chains
}

/// Leads free ends on to the chain that lies straight ahead of them, where the scan is empty up to there.
#[must_use]
pub fn reach_others(mut chains: Vec<Chain>, survey: &Survey) -> Vec<Chain> {
    let hits: Vec<(usize, bool, ChainPoint)> = free_tips(&chains)
        .iter()
        .filter_map(|tip| {
            let hit = chain_ahead(&chains, tip)?;
            let step = hit.point - tip.point.point;
            (skin_share(tip, &step.normalize(), step.norm(), survey) < MOST_SKIN)
                .then_some((tip.chain, tip.at_end, hit))
        })
        .collect();
    for (chain, at_end, hit) in hits {
        let points = &mut chains[chain].points;
        if at_end {
            points.push(hit)
        } else {
            points.insert(0, hit)
        }
        chains[chain] = even(&chains[chain]);
    }
    chains
}

/// Where an end, led on straight, comes to another chain.
fn chain_ahead(chains: &[Chain], tip: &Tip) -> Option<ChainPoint> {
    let others = chains.iter().enumerate().filter(|(number, _)| *number != tip.chain);
    let hits = others.flat_map(|(_, chain)| &chain.points).filter_map(|point| {
        let offset = point.point - tip.point.point;
        let ahead_mm = offset.dot(&tip.leaving);
        let aside_mm = (offset - tip.leaving * ahead_mm).norm();
        let is_hit = (1.0..TO_OTHER_MM).contains(&ahead_mm)
            && aside_mm < HIT_MM + HIT_SHARE * ahead_mm
            && point.outward.dot(&tip.point.outward) > 0.5;
        is_hit.then_some((ahead_mm, point))
    });
    let (_, nearest) = hits.min_by(|one, two| one.0.total_cmp(&two.0))?;
    Some(ChainPoint { pair_count: 0, outward: tip.point.outward, width_mm: tip.width_mm, ..*nearest })
}

fn free_tips(chains: &[Chain]) -> Vec<Tip> {
    let meets = meeting_ends(chains);
    let mut tips = Vec::new();
    for (chain, one) in chains.iter().enumerate().filter(|(_, one)| !one.is_closed && one.points.len() > 3) {
        for at_end in [false, true] {
            let Some(leaving) = one.leaving(at_end).filter(|_| !meets[chain][usize::from(at_end)]) else {
                continue;
            };
            let count = one.points.len();
            let near = if at_end {
                &one.points[count.saturating_sub(END_POINTS)..]
            } else {
                &one.points[..END_POINTS.min(count)]
            };
            let width_mm = near.iter().map(|point| point.width_mm).sum::<f64>() / near.len() as f64;
            let point = one.points[if at_end { count - 1 } else { 0 }];
            tips.push(Tip { chain, at_end, point, leaving, width_mm });
        }
    }
    tips
}

fn fits(first: &Tip, second: &Tip, survey: &Survey) -> bool {
    let step = second.point.point - first.point.point;
    let span_mm = step.norm();
    if !(1.0..LONGEST_MM).contains(&span_mm) {
        return false;
    }
    let ahead = step / span_mm;
    let cosine = if span_mm < COVERED_MM { NEAR_COSINE } else { FAR_COSINE };
    let is_in_line = first.leaving.dot(&ahead) > cosine && second.leaving.dot(&-ahead) > cosine;
    let is_one_side = first.point.outward.dot(&second.point.outward) > 0.8;
    let widest_mm = first.width_mm.max(second.width_mm);
    let is_as_wide = (first.width_mm - second.width_mm).abs() < WIDTH_SHARE * widest_mm;
    is_in_line
        && is_one_side
        && is_as_wide
        && (span_mm < COVERED_MM || skin_share(first, &ahead, span_mm, survey) < MOST_SKIN)
}

/// Share of the straight stretch beyond an end that runs over skin.
fn skin_share(from: &Tip, ahead: &Vector3<f64>, span_mm: f64, survey: &Survey) -> f64 {
    let count = (span_mm / CELL_MM).ceil() as usize;
    let is_skin = |step: &usize| {
        let place = from.point.point + ahead * ((*step as f64 + 0.5) / count as f64 * span_mm);
        survey.cells.address_of(&place).is_some_and(|address| {
            let mut near = survey.cells.around(address, 1);
            near.any(|cell| {
                let data = &survey.data[cell];
                // Where points are few there are no planes, and it is skin all the same.
                let is_sparse = data.plane.is_none() && !survey.wanted[cell];
                (data.is_skin || is_sparse) && (data.centre - place).norm() < 0.8 * CELL_MM
            })
        })
    };
    (0..count).filter(is_skin).count() as f64 / count as f64
}

fn joined(mut chains: Vec<Chain>, first: (usize, bool), second: (usize, bool)) -> Vec<Chain> {
    let mut tail = std::mem::take(&mut chains[second.0].points);
    if second.1 {
        tail.reverse();
    }
    let mut points = std::mem::take(&mut chains[first.0].points);
    if !first.1 {
        points.reverse();
    }
    points.extend(tail);
    chains[first.0] = even(&Chain { points, is_closed: false });
    chains.remove(second.0);
    chains
}
