//! Joins chains where they meet: junctions, corners, and chains split there.
//!
//! In: refined chains. Out: a [`Network`] of chains that begin and end at numbered nodes or freely. Units: mm.
//! Method: a chain's end is continued in its own direction until it meets another chain; ends and places that meet are
//! gathered (union-find); at a corner the node lies where the ends' lines come closest in the least-squares sense, at a
//! junction where the arms meet when they are led on (`junctions`).
//! Does not decide whether a chain is a seam.

use nalgebra::{Matrix3, Point3, Vector3};

use super::chains::{Chain, ChainPoint, along_at};
use super::junctions::{Lead, meeting_of};

/// How far a chain's end is continued to meet another chain: the widest gap, and a corner's rounding.
const REACH_MM: f64 = 26.0;
/// A meeting place this near to a chain's end is that end.
const AT_END_MM: f64 = 12.0;
/// Meeting places on one chain this near to one another are one.
const SAME_PLACE_MM: f64 = 16.0;
/// Points of an arm this near to its node give way to the node.
const CLEAR_MM: f64 = 7.0;
/// Distance between the points of an arm that is led on, and how near something must have been seen there.
const LED_STEP_MM: f64 = 2.5;
const SEEN_MM: f64 = 4.0;
/// A chain may run past its node by fewer points than this.
const MOST_PAST: usize = 16;
/// Chains that pass this near to one another, at more than 30°, cross.
const CROSSING_MM: f64 = 3.0;
const CROSSING_COSINE: f64 = 0.87;
/// Two ends whose directions are this opposite go on as one chain.
const STRAIGHT_COSINE: f64 = 0.9;

/// Where chains meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Node {
    pub point: Point3<f64>,
    pub outward: Vector3<f64>,
    /// Expanded uncertainty (k = 2) of the place; `None` where the seams show too little to lead them on.
    pub doubt_mm: Option<f64>,
    /// How many chains leave from here: two at a corner, three or more at a junction.
    pub arm_count: usize,
}

/// A chain between two nodes.
#[derive(Debug, Clone)]
pub struct Arm {
    pub chain: Chain,
    /// Nodes at the first and the last point, by number.
    pub nodes: [Option<usize>; 2],
}

/// Chains and where they meet.
#[derive(Debug, Clone, Default)]
pub struct Network {
    pub arms: Vec<Arm>,
    pub nodes: Vec<Node>,
}

/// A place on a chain where something meets it.
#[derive(Debug, Clone, Copy)]
struct Place {
    chain: usize,
    index: usize,
    /// `Some(true)` for the chain's end, `Some(false)` for its beginning.
    end: Option<bool>,
    cluster: usize,
}

/// Which ends of the chains meet something: `[begin, end]` for each.
#[must_use]
pub fn meeting_ends(chains: &[Chain]) -> Vec<[bool; 2]> {
    let mut meets = vec![[false; 2]; chains.len()];
    for place in find_places(chains) {
        if let Some(end) = place.end {
            meets[place.chain][usize::from(end)] = true;
        }
    }
    meets
}

/// Joins chains.
#[must_use]
pub fn join_chains(chains: &[Chain]) -> Network {
    let chains = join_in_line(chains.to_vec());
    let places = find_places(&chains);
    let mut pieces = Vec::new();
    for (number, chain) in chains.iter().enumerate() {
        let mine: Vec<Place> = places.iter().filter(|place| place.chain == number).copied().collect();
        split(chain, &mine, &mut pieces);
    }
    let cluster_count = places.iter().map(|place| place.cluster + 1).max().unwrap_or(0);
    let nodes: Vec<Node> = (0..cluster_count)
        .map(|cluster| {
            let members: Vec<Place> =
                places.iter().filter(|place| place.cluster == cluster).copied().collect();
            let rough = rough_node(&chains, &members);
            if rough.arm_count > 2 { led_to(rough, cluster, &mut pieces) } else { rough }
        })
        .collect();
    Network { arms: pieces.into_iter().filter_map(|piece| drawn(piece, &nodes)).collect(), nodes }
}

/// The node where all arms that end there meet when they are led on; each is told how.
fn led_to(rough: Node, cluster: usize, pieces: &mut [Piece]) -> Node {
    let mut ends = Vec::new();
    let mut arms = Vec::new();
    for (number, piece) in pieces.iter().enumerate() {
        for end in (0..2).filter(|end| piece.ends[*end] == Some(cluster)) {
            let mut points = piece.points.clone();
            if end == 1 {
                points.reverse();
            }
            // What is nearer to the other end belongs to what is there.
            points.truncate(if piece.ends[1 - end].is_some() { points.len() / 2 } else { points.len() });
            ends.push((number, end));
            arms.push(points);
        }
    }
    let Some(meeting) =
        meeting_of(&rough.point, &arms).filter(|meeting| (meeting.point - rough.point).norm() < REACH_MM)
    else {
        return rough;
    };
    for ((number, end), lead) in ends.into_iter().zip(meeting.leads) {
        pieces[number].leads[end] = lead;
    }
    Node { point: meeting.point, doubt_mm: Some(meeting.doubt_mm), ..rough }
}

/// Ends that face one another with nothing else there are one chain with a hole in it.
fn join_in_line(mut chains: Vec<Chain>) -> Vec<Chain> {
    loop {
        let places = find_places(&chains);
        let pair = places.iter().find_map(|place| {
            let members: Vec<&Place> = places.iter().filter(|other| other.cluster == place.cluster).collect();
            let [first, second] = members.as_slice() else { return None };
            let (first_end, second_end) = (first.end?, second.end?);
            let leaving = chains[first.chain].leaving(first_end)?;
            let meeting = chains[second.chain].leaving(second_end)?;
            (first.chain != second.chain && leaving.dot(&meeting) < -STRAIGHT_COSINE).then_some((
                first.chain,
                first_end,
                second.chain,
                second_end,
            ))
        });
        let Some((first, first_end, second, second_end)) = pair else { return chains };
        let mut tail = std::mem::take(&mut chains[second].points);
        if second_end {
            tail.reverse();
        }
        let head = &mut chains[first].points;
        if !first_end {
            head.reverse();
        }
        let joined = fill(head.last().copied(), tail.first().copied());
        head.extend(joined);
        head.extend(tail);
        chains.remove(second);
    }
}

/// Straight filling between two chains, marked as unseen.
fn fill(from: Option<ChainPoint>, to: Option<ChainPoint>) -> Vec<ChainPoint> {
    let (Some(from), Some(to)) = (from, to) else { return Vec::new() };
    let step = to.point - from.point;
    let count = (step.norm() / 2.5).floor() as usize;
    (1..count)
        .map(|index| ChainPoint {
            point: from.point + step * (index as f64 / count as f64),
            pair_count: 0,
            ..from
        })
        .collect()
}

fn find_places(chains: &[Chain]) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for chain in 0..chains.len() {
        for end in [false, true] {
            if chains[chain].is_closed || chains[chain].points.len() < 4 {
                continue;
            }
            let Some((target, index)) = meeting(chains, chain, end) else { continue };
            let at = if end { chains[chain].points.len() - 1 } else { 0 };
            let mine = place_number(chains, &mut places, chain, at);
            let other = place_number(chains, &mut places, target, index);
            unite(&mut places, mine, other);
        }
    }
    add_crossings(chains, &mut places);
    renumber(&mut places);
    places
}

/// Chains that run through one another meet there, too.
fn add_crossings(chains: &[Chain], places: &mut Vec<Place>) {
    for first in 0..chains.len() {
        for second in first + 1..chains.len() {
            let Some((index, other)) = crossing(&chains[first], &chains[second]) else { continue };
            let mine = place_number(chains, places, first, index);
            let theirs = place_number(chains, places, second, other);
            unite(places, mine, theirs);
        }
    }
}

/// Where two chains come closest, if they cross there.
fn crossing(first: &Chain, second: &Chain) -> Option<(usize, usize)> {
    let mut best = (CROSSING_MM * CROSSING_MM, None);
    for (index, point) in first.points.iter().enumerate() {
        for (other, there) in second.points.iter().enumerate() {
            let distance_sq_mm2 = (there.point - point.point).norm_squared();
            if distance_sq_mm2 < best.0 {
                best = (distance_sq_mm2, Some((index, other)));
            }
        }
    }
    let (index, other) = best.1?;
    let cosine = along_at(&first.points, index)?.dot(&along_at(&second.points, other)?);
    (cosine.abs() < CROSSING_COSINE).then_some((index, other))
}

fn unite(places: &mut [Place], first: usize, second: usize) {
    let (keep, drop) = (places[first].cluster, places[second].cluster);
    places.iter_mut().filter(|place| place.cluster == drop).for_each(|place| place.cluster = keep);
}

fn renumber(places: &mut [Place]) {
    let mut known: Vec<usize> = Vec::new();
    for place in places.iter_mut() {
        let number = known.iter().position(|cluster| *cluster == place.cluster).unwrap_or_else(|| {
            known.push(place.cluster);
            known.len() - 1
        });
        place.cluster = number;
    }
}

/// Number of a place, a new one with its own cluster where none is known there.
fn place_number(chains: &[Chain], places: &mut Vec<Place>, chain: usize, index: usize) -> usize {
    let points = &chains[chain].points;
    let is_near = |other: usize, limit_mm: f64| (points[other].point - points[index].point).norm() < limit_mm;
    let end = if chains[chain].is_closed {
        None
    } else if is_near(0, AT_END_MM) {
        Some(false)
    } else if is_near(points.len() - 1, AT_END_MM) {
        Some(true)
    } else {
        None
    };
    let known = places.iter().position(|place| {
        place.chain == chain
            && (end.is_some() && place.end == end
                || end.is_none() && place.end.is_none() && is_near(place.index, SAME_PLACE_MM))
    });
    known.unwrap_or_else(|| {
        let cluster = places.iter().map(|place| place.cluster + 1).max().unwrap_or(0);
        places.push(Place { chain, index, end, cluster });
        places.len() - 1
    })
}

/// The nearest point of another chain that a chain's end leads to.
fn meeting(chains: &[Chain], chain: usize, end: bool) -> Option<(usize, usize)> {
    let leaving = chains[chain].leaving(end)?;
    let points = &chains[chain].points;
    let tip = if end { points[points.len() - 1] } else { points[0] };
    let mut best: Option<(f64, usize, usize)> = None;
    for (target, other) in chains.iter().enumerate().filter(|(target, _)| *target != chain) {
        let last = other.points.len() - 1;
        for (index, point) in other.points.iter().enumerate() {
            let offset = point.point - tip.point;
            let distance_mm = offset.norm();
            if distance_mm > REACH_MM || point.outward.dot(&tip.outward) < 0.3 {
                continue;
            }
            let ahead_mm = offset.dot(&leaving);
            let aside_mm = (offset - leaving * ahead_mm).norm();
            let hits = ahead_mm > -6.0 && aside_mm < 2.5 + 0.15 * ahead_mm.abs();
            let is_tip = index == 0 || index == last;
            let ends_meet = is_tip
                && ahead_mm > -4.0
                && other.leaving(index == last).is_some_and(|back| -offset.dot(&back) > -4.0)
                && (aside_mm < 10.0);
            if (hits || ends_meet) && best.is_none_or(|(least, _, _)| distance_mm < least) {
                best = Some((distance_mm, target, index));
            }
        }
    }
    best.map(|(_, target, index)| (target, index))
}

/// Where the ends' own lines come closest.
fn rough_node(chains: &[Chain], members: &[Place]) -> Node {
    let mut matrix = Matrix3::zeros();
    let mut right = Vector3::zeros();
    let mut centre = Vector3::zeros();
    let mut outward = Vector3::zeros();
    let mut arm_count = 0;
    for place in members {
        let points = &chains[place.chain].points;
        arm_count += if place.end.is_some() { 1 } else { 2 };
        let (from, to) = match place.end {
            Some(false) => (2.min(points.len() - 1), 8.min(points.len() - 1)),
            Some(true) => (points.len().saturating_sub(9), points.len().saturating_sub(3)),
            None => (place.index.saturating_sub(6), (place.index + 6).min(points.len() - 1)),
        };
        let direction =
            (points[to].point - points[from].point).try_normalize(1e-9).unwrap_or_else(Vector3::x);
        let mean = points[from..=to].iter().map(|point| point.point.coords).sum::<Vector3<f64>>()
            / (to - from + 1) as f64;
        let projector = Matrix3::identity() - direction * direction.transpose();
        matrix += projector;
        right += projector * mean;
        centre += points[place.index].point.coords / members.len() as f64;
        outward += points[place.index].outward;
    }
    // Lines that are all but parallel do not say where they meet: the middle of the ends then stands in.
    matrix += Matrix3::identity() * 0.02;
    right += centre * 0.02;
    let solved = matrix.try_inverse().map_or(centre, |inverse| inverse * right);
    let point = if (solved - centre).norm() < REACH_MM { solved } else { centre };
    Node {
        point: Point3::from(point),
        outward: outward.try_normalize(1e-9).unwrap_or_else(Vector3::z),
        doubt_mm: None,
        arm_count,
    }
}

/// A chain's run between two of its meeting places.
struct Piece {
    points: Vec<ChainPoint>,
    is_closed: bool,
    ends: [Option<usize>; 2],
    /// How each end is led on to its node.
    leads: [Option<Lead>; 2],
}

/// Cuts a chain at its meeting places.
fn split(chain: &Chain, places: &[Place], pieces: &mut Vec<Piece>) {
    let mut cuts: Vec<&Place> = places.iter().filter(|place| place.end.is_none()).collect();
    cuts.sort_by_key(|place| place.index);
    let at_end = |end: bool| places.iter().find(|place| place.end == Some(end)).map(|place| place.cluster);
    let mut push = |points: &[ChainPoint], ends: [Option<usize>; 2]| {
        let is_closed = chain.is_closed && cuts.is_empty();
        pieces.push(Piece { points: points.to_vec(), is_closed, ends, leads: [None, None] });
    };
    let mut first = 0;
    let mut node = at_end(false);
    for cut in &cuts {
        push(&chain.points[first..=cut.index], [node, Some(cut.cluster)]);
        (first, node) = (cut.index, Some(cut.cluster));
    }
    push(&chain.points[first..], [node, at_end(true)]);
}

/// A piece drawn up to its nodes.
fn drawn(piece: Piece, nodes: &[Node]) -> Option<Arm> {
    let Piece { mut points, is_closed, ends, leads } = piece;
    for (end, node) in [(1, ends[1]), (0, ends[0])] {
        points.reverse();
        if let Some(node) = node {
            points = drawn_from(&nodes[node].point, &points, leads[end].as_ref());
        }
    }
    (is_closed || points.len() > 2).then_some(Arm { chain: Chain { points, is_closed }, nodes: ends })
}

/// Points in order away from a node that begin at it; what is near it gives way to the arm that is led on.
fn drawn_from(node: &Point3<f64>, points: &[ChainPoint], lead: Option<&Lead>) -> Vec<ChainPoint> {
    let distance_mm = |point: &ChainPoint| (point.point - node).norm();
    // What runs on past the node would have to come back to it.
    let nearest = (0..MOST_PAST.min(points.len()))
        .min_by(|one, two| distance_mm(&points[*one]).total_cmp(&distance_mm(&points[*two])));
    let points = &points[nearest.unwrap_or(0)..];
    let clear = |point: &ChainPoint| match lead {
        Some(lead) => lead.along_mm(&point.point) >= lead.from_mm,
        None => distance_mm(point) > CLEAR_MM,
    };
    let kept: Vec<ChainPoint> = points.iter().skip_while(|point| !clear(point)).copied().collect();
    let Some(first) = kept.first().copied() else { return Vec::new() };
    let mut drawn = vec![ChainPoint { point: *node, ..first }];
    if let Some(lead) = lead {
        let count = (lead.along_mm(&first.point) / LED_STEP_MM).floor() as usize;
        drawn.extend((1..count).map(|step| {
            let point = lead.at(step as f64 * LED_STEP_MM);
            let seen = points.iter().min_by(|one, two| {
                (one.point - point).norm_squared().total_cmp(&(two.point - point).norm_squared())
            });
            let near = seen.filter(|seen| (seen.point - point).norm() < SEEN_MM);
            ChainPoint { point, ..near.copied().unwrap_or(ChainPoint { pair_count: 0, ..first }) }
        }));
        drawn[0].pair_count = drawn.get(1).map_or(first.pair_count, |point| point.pair_count);
    }
    drawn.extend(kept);
    drawn
}
