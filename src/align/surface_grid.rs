//! A grid over a surface that answers in constant time whether an oriented point lies on it, roughly.
//!
//! In: a [`Surface`]. Out: the share of given points on it. Units: mm.
//! Does not give exact distances.

use nalgebra::{Isometry3, Point3, Vector3};

use super::surface::Surface;

/// Most cells: 32 MB.
const MOST_CELLS: f64 = 8e6;
/// Cell side in node spacings.
const CELL_PER_SPACING: f64 = 1.0;
/// Largest angle between normals that match: 30°.
const LEAST_COSINE: f64 = 0.87;
const EMPTY: u32 = u32::MAX;

pub(super) struct SurfaceGrid<'s> {
    surface: &'s Surface,
    normals: Vec<Vector3<f64>>,
    corner: Point3<f64>,
    cell_mm: f64,
    counts: [usize; 3],
    cells: Vec<u32>,
}

impl<'s> SurfaceGrid<'s> {
    pub fn over(surface: &'s Surface) -> Self {
        let mut low = Point3::from(Vector3::repeat(f64::INFINITY));
        let mut high = Point3::from(Vector3::repeat(f64::NEG_INFINITY));
        for node in &surface.nodes {
            low = low.inf(&node.origin);
            high = high.sup(&node.origin);
        }
        let extent = high - low;
        // At least the spacing; larger where the box is so large that it would not fit.
        let mut cell_mm = surface.spacing_mm * CELL_PER_SPACING;
        let volume = |cell: f64| extent.iter().map(|side| side / cell + 5.0).product::<f64>();
        while volume(cell_mm) > MOST_CELLS {
            cell_mm *= 1.3;
        }
        let corner = low - Vector3::repeat(2.0 * cell_mm);
        let counts = [0, 1, 2].map(|axis| (extent[axis] / cell_mm) as usize + 5);
        let mut grid = Self {
            surface,
            normals: surface.nodes.iter().map(super::surface::Node::normal).collect(),
            corner,
            cell_mm,
            counts,
            cells: vec![EMPTY; counts.iter().product()],
        };
        grid.fill();
        grid
    }

    /// Gives each cell at and round a node the node nearest to its middle.
    fn fill(&mut self) {
        for (index, node) in self.surface.nodes.iter().enumerate() {
            let at = (node.origin - self.corner) / self.cell_mm;
            for offset in 0..27_i32 {
                let step = [offset % 3 - 1, offset / 3 % 3 - 1, offset / 9 - 1];
                let cell = [0, 1, 2].map(|axis| (at[axis].floor() as i32 + step[axis]) as usize);
                let Some(place) = self.place(&cell) else { continue };
                let middle = self.corner + Vector3::from(cell.map(|index| index as f64 + 0.5)) * self.cell_mm;
                let distance =
                    |candidate: u32| (self.surface.nodes[candidate as usize].origin - middle).norm();
                if self.cells[place] == EMPTY || distance(index as u32) < distance(self.cells[place]) {
                    self.cells[place] = index as u32;
                }
            }
        }
    }

    fn place(&self, cell: &[usize; 3]) -> Option<usize> {
        let inside = cell.iter().zip(&self.counts).all(|(index, count)| index < count);
        inside.then(|| (cell[2] * self.counts[1] + cell[1]) * self.counts[0] + cell[0])
    }

    /// Share of oriented points that lie on the surface after a movement.
    pub fn share(
        &self,
        pose: &Isometry3<f64>,
        points: impl Iterator<Item = (Point3<f64>, Vector3<f64>)>,
    ) -> f64 {
        let (mut count, mut hits) = (0.0, 0.0);
        let turn = pose.rotation.to_rotation_matrix();
        for (point, normal) in points {
            count += 1.0;
            let moved = turn * point + pose.translation.vector;
            let at = (moved - self.corner) / self.cell_mm;
            if at.iter().any(|value| *value < 0.0) {
                continue;
            }
            let Some(place) = self.place(&[at.x as usize, at.y as usize, at.z as usize]) else { continue };
            let index = self.cells[place];
            if index != EMPTY && self.normals[index as usize].dot(&(turn * normal)) > LEAST_COSINE {
                hits += 1.0;
            }
        }
        if count > 0.0 { hits / count } else { 0.0 }
    }
}
