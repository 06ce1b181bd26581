//! Makes the normals of neighbouring patches agree.
//!
//! In: nodes, a hint for each (sum of the file's normals near it, zero where unknown), an index. Out: flipped nodes.
//! Method: growing over the nearest nodes in the order of best agreement (H. Hoppe et al., SIGGRAPH 1992), piece by
//! piece; a piece turns to the side of its hints, or, without hints, away from the middle of all nodes.
//! Does not promise the outside: without hints both signs must be tried.

use std::collections::BinaryHeap;

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Point3, Vector3};

use super::surface::Node;

/// Neighbours looked at: enough to bridge a gap between panels.
const NEIGHBOURS: std::num::NonZeroUsize = std::num::NonZeroUsize::MIN.saturating_add(11);

pub(super) fn orient(nodes: &mut [Node], hints: &[Vector3<f64>], tree: &ImmutableKdTree<f64, 3>) {
    let middle = super::pose_step::pivot_of(nodes.iter().map(|node| &node.origin)).0;
    let mut done = vec![false; nodes.len()];
    for seed in 0..nodes.len() {
        if !done[seed] {
            let piece = grow(nodes, tree, &mut done, seed);
            turn_outward(nodes, hints, &piece, &middle);
        }
    }
}

/// Most agreement first; ties to the lower index.
type Candidate = (u32, std::cmp::Reverse<usize>, usize);

fn grow(nodes: &mut [Node], tree: &ImmutableKdTree<f64, 3>, done: &mut [bool], seed: usize) -> Vec<usize> {
    let mut piece = Vec::new();
    let mut heap: BinaryHeap<Candidate> = BinaryHeap::from([(0, std::cmp::Reverse(seed), seed)]);
    while let Some((_, std::cmp::Reverse(index), from)) = heap.pop() {
        if done[index] {
            continue;
        }
        done[index] = true;
        piece.push(index);
        if nodes[from].normal().dot(&nodes[index].normal()) < 0.0 {
            nodes[index].flip();
        }
        let origin = nodes[index].origin;
        let normal = nodes[index].normal();
        let query = [origin.x, origin.y, origin.z];
        for found in tree.query(&query).nearest_n::<SquaredEuclidean<f64>>(NEIGHBOURS).execute() {
            let other = found.item as usize;
            if !done[other] && found.distance.sqrt() < 4.0 * nodes[index].radius_mm {
                let agreement = (normal.dot(&nodes[other].normal()).abs() * 1e6) as u32;
                heap.push((agreement, std::cmp::Reverse(other), index));
            }
        }
    }
    piece
}

fn turn_outward(nodes: &mut [Node], hints: &[Vector3<f64>], piece: &[usize], middle: &Point3<f64>) {
    let votes: f64 =
        piece.iter().map(|index| nodes[*index].normal().dot(&hints[*index]).clamp(-1.0, 1.0)).sum();
    let outward = if votes.abs() > 0.2 * piece.len() as f64 {
        votes
    } else {
        piece.iter().map(|index| nodes[*index].normal().dot(&(nodes[*index].origin - middle))).sum()
    };
    if outward < 0.0 {
        piece.iter().for_each(|index| nodes[*index].flip());
    }
}
