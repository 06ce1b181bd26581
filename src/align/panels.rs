//! Which panel a patch of the reference belongs to.
//!
//! In: the plan's seams and a node of the reference, Car frame. Out: the panel's place in the plan, or none. Units: mm.
//! Method: the nearest seam curve decides, by the side on which the node lies; close to a curve (hem, gap), beyond its
//! ends and far from every curve nothing is claimed.
//! Does not cut meshes apart by name: scan files rarely have names.

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Point3, Vector3};

use super::surface::{Node, index_of};
use crate::plan::{Plan, Side};

/// Nearer to a curve lie the hem and the gap, mm: half a wide gap (4) and a wide hem (6), and the patch's own radius is
/// added.
const HEM_MM: f64 = 10.0;
/// Further from every curve a panel is not claimed, mm: half a fender's height.
const FURTHEST_MM: f64 = 350.0;
/// Beyond a curve's end by more than this, its sides mean nothing, mm.
const BEYOND_END_MM: f64 = 5.0;

/// The seams' samples with an index.
pub(super) struct PanelFinder<'p> {
    plan: &'p Plan,
    tree: Option<ImmutableKdTree<f64, 3>>,
    /// Seam and sample of each indexed point.
    samples: Vec<(usize, usize)>,
}

impl<'p> PanelFinder<'p> {
    pub fn new(plan: &'p Plan) -> Self {
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

    /// The panel's index in the plan.
    pub fn panel_of(&self, node: &Node) -> Option<usize> {
        let origin = node.origin;
        let found = self
            .tree
            .as_ref()?
            .query(&[origin.x, origin.y, origin.z])
            .nearest_one::<SquaredEuclidean<f64>>()
            .execute();
        let distance_mm = found.distance.sqrt();
        if distance_mm < HEM_MM + node.radius_mm || distance_mm > FURTHEST_MM {
            return None;
        }
        let (seam_index, sample_index) = *self.samples.get(found.item as usize)?;
        let seam = &self.plan.seams[seam_index];
        let mut frame = seam.curve.sample_frame(sample_index);
        if !seam.curve.has_given_normals() {
            frame.outward = level(&node.normal(), &frame.along)?;
        }
        let local = frame.local(&origin);
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
