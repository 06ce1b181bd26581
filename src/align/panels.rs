//! Which panel each patch of the reference belongs to, and which patches may carry an alignment.
//!
//! In: the plan's seams and the reference's surface, Car frame. Out: for each node its panel's place in the plan, or none,
//! and whether it may carry. Units: mm.
//! Method: beside a seam curve the side decides. From there the panel grows over the surface, nearest node first
//! (E. Dijkstra, 1959), never across a curve and never round a sharp corner, so that all of a fender carries and not only
//! the strip beside the hood. Where a panel that may have been moved is as near round the end of a seam, nothing is claimed.
//! Does not cut meshes apart by name: scan files rarely have names. A panel that no seam of the plan divides from a fixed
//! one counts as part of it.

use std::collections::BinaryHeap;

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Point3, Vector3};

use super::surface::{Node, Surface, index_of};
use crate::plan::{Plan, Side};

/// Nearer to a curve lie the hem and the gap, mm: half a wide gap (4) and a wide hem (6), and the patch's own radius is
/// added.
const HEM_MM: f64 = 10.0;
/// So near beside a curve the side alone decides, mm; the patch's own radius is added three times.
const BESIDE_MM: f64 = 60.0;
/// A panel does not reach further than this from its seams, measured over the surface, mm: a long fender.
const FURTHEST_MM: f64 = 1000.0;
/// Beyond a curve's end by more than this, its sides mean nothing, mm.
const BEYOND_END_MM: f64 = 5.0;
/// Steps from node to node, in spacings: bridges gaps that no seam of the plan marks, and stickers.
const STEP_SPACINGS: f64 = 2.5;
/// Neighbours of a node looked at.
const NEIGHBOURS: std::num::NonZeroUsize = std::num::NonZeroUsize::MIN.saturating_add(15);
/// Normals further apart than this belong to another panel's face or a flange: 60°.
const LEAST_COSINE: f64 = 0.5;

/// The reference divided into panels.
#[derive(Debug)]
pub(super) struct Division {
    /// For each node, its panel's place in the plan.
    pub panel_of: Vec<Option<usize>>,
    /// For each node, whether it is surely on a fixed panel.
    pub carries: Vec<bool>,
}

/// Divides a reference.
pub(super) fn divide(plan: &Plan, surface: &Surface) -> Division {
    let finder = PanelFinder::new(plan);
    let places: Vec<Place> = surface.nodes.iter().map(|node| finder.place_of(node)).collect();
    let any = grow(surface, &places, |_| true);
    let loose = grow(surface, &places, |panel| !plan.panels[panel].is_fixed);
    let margin_mm = STEP_SPACINGS * surface.spacing_mm;
    let carries = any
        .iter()
        .zip(&loose)
        .map(|(own, loose)| {
            own.is_some_and(|(panel, distance_mm)| {
                plan.panels[panel].is_fixed
                    && loose.is_none_or(|(_, loose_mm)| loose_mm > distance_mm + margin_mm)
            })
        })
        .collect();
    Division { panel_of: any.iter().map(|own| own.map(|(panel, _)| panel)).collect(), carries }
}

/// Where a node lies relative to the seams.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Place {
    /// In a gap or on a hem.
    OnSeam,
    /// Beside a seam: the panel and the distance from the curve, mm.
    Beside(usize, f64),
    Away,
}

/// The nearest panel and the way to it over the surface, mm, starting from those that `counts`.
fn grow(surface: &Surface, places: &[Place], counts: impl Fn(usize) -> bool) -> Vec<Option<(usize, f64)>> {
    let mut found: Vec<Option<(usize, f64)>> = vec![None; places.len()];
    let mut heap: BinaryHeap<Reached> = BinaryHeap::new();
    for (node, place) in places.iter().enumerate() {
        match place {
            Place::Beside(panel, distance_mm) if counts(*panel) => {
                heap.push(Reached { distance_mm: *distance_mm, node, panel: *panel });
            }
            _ => {}
        }
    }
    while let Some(Reached { distance_mm, node, panel }) = heap.pop() {
        if found[node].is_some() {
            continue;
        }
        found[node] = Some((panel, distance_mm));
        let from = &surface.nodes[node];
        for (other, step_mm) in surface.around(&from.origin, NEIGHBOURS) {
            let is_open = found[other].is_none()
                && places[other] != Place::OnSeam
                && step_mm < STEP_SPACINGS * surface.spacing_mm
                && distance_mm + step_mm < FURTHEST_MM
                && surface.nodes[other].normal().dot(&from.normal()).abs() > LEAST_COSINE;
            if is_open {
                heap.push(Reached { distance_mm: distance_mm + step_mm, node: other, panel });
            }
        }
    }
    found
}

/// Nearest first; ties to the lower node, then panel.
#[derive(Debug, PartialEq)]
struct Reached {
    distance_mm: f64,
    node: usize,
    panel: usize,
}

impl Eq for Reached {}

impl Ord for Reached {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        let by_distance = other.distance_mm.total_cmp(&self.distance_mm);
        by_distance.then(other.node.cmp(&self.node)).then(other.panel.cmp(&self.panel))
    }
}

impl PartialOrd for Reached {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

/// The seams' samples with an index.
struct PanelFinder<'p> {
    plan: &'p Plan,
    tree: Option<ImmutableKdTree<f64, 3>>,
    /// Seam and sample of each indexed point.
    samples: Vec<(usize, usize)>,
}

impl<'p> PanelFinder<'p> {
    fn new(plan: &'p Plan) -> Self {
        let mut samples = Vec::new();
        let mut positions: Vec<Point3<f64>> = Vec::new();
        for (seam_index, seam) in plan.seams.iter().enumerate() {
            for (sample_index, position) in seam.curve.positions().iter().enumerate() {
                samples.push((seam_index, sample_index));
                positions.push(*position);
            }
        }
        Self { plan, tree: index_of(positions.iter()).ok(), samples }
    }

    fn place_of(&self, node: &Node) -> Place {
        let Some(tree) = &self.tree else { return Place::Away };
        let query = [node.origin.x, node.origin.y, node.origin.z];
        let found = tree.query(&query).nearest_one::<SquaredEuclidean<f64>>().execute();
        let distance_mm = found.distance.sqrt();
        if distance_mm < HEM_MM + node.radius_mm {
            return Place::OnSeam;
        }
        if distance_mm > BESIDE_MM + 3.0 * node.radius_mm {
            return Place::Away;
        }
        self.side_of(node, found.item as usize).map_or(Place::Away, |panel| Place::Beside(panel, distance_mm))
    }

    /// The panel's index in the plan.
    fn side_of(&self, node: &Node, sample: usize) -> Option<usize> {
        let (seam_index, sample_index) = *self.samples.get(sample)?;
        let seam = &self.plan.seams[seam_index];
        let mut frame = seam.curve.sample_frame(sample_index);
        if !seam.curve.has_given_normals() {
            frame.outward = level(&node.normal(), &frame.along)?;
        }
        let local = frame.local(&node.origin);
        if local.y.abs() > BEYOND_END_MM || local.x.abs() < HEM_MM {
            return None;
        }
        let side = if local.x > 0.0 { Side::Right } else { Side::Left };
        let panel = seam.panel_on(side);
        self.plan.panels.iter().position(|candidate| candidate.id == *panel)
    }
}

fn level(normal: &Vector3<f64>, along: &Vector3<f64>) -> Option<Vector3<f64>> {
    (normal - along * normal.dot(along)).try_normalize(0.2)
}
