//! Cuts the triangles near a seam with planes across it.
//!
//! In: triangles of a mesh, Scanner frame, mm. Out: points of the cuts, evenly spaced along them, kept like scan points.
//! Method: every sample of a seam's curve carries a plane across it (at most 1 mm apart); the cut of a triangle with a
//! plane is an exact straight piece, and points are laid on it in proportion to its length, so that a cut counts by its
//! length and not by how many vertices a mesher put there. Long triangles are halved first; halving does not change the
//! surface. Where a piece is shorter than a step, a hash of its place decides whether it gets a point.
//! Does not use the vertices themselves.

use nalgebra::Point3;

use super::band::BandPoint;
use super::collector::Collector;
use super::corridors::CORRIDOR_HALF_WIDTH_MM;
use super::near_cells::Candidate;
use crate::scan::{Triangle, TriangleSink};

/// Step of the points along a cut, mm.
const CUT_STEP_MM: f64 = 0.35;
/// Longest edge of a triangle that is cut as a whole, mm: well below the corridor's width.
const WHOLE_EDGE_MM: f64 = 8.0;
/// Most halvings of one triangle: an edge of 8 m comes down to 8 mm in twice ten.
const HALVING_LIMIT: u32 = 24;

impl TriangleSink for Collector<'_> {
    fn take(&mut self, triangles: &[Triangle]) {
        self.points_seen += triangles.len() as u64;
        for triangle in triangles {
            if triangle.iter().flat_map(|corner| corner.iter()).all(|value| value.is_finite()) {
                self.take_triangle(triangle, HALVING_LIMIT);
            } else {
                self.points_not_finite += 1;
            }
        }
        if let Some(first) = triangles.first() {
            self.note_distance(&first[0]);
        }
    }
}

impl Collector<'_> {
    fn take_triangle(&mut self, triangle: &Triangle, halvings_left: u32) {
        let (edge, length_mm) = longest_edge(triangle);
        if length_mm > WHOLE_EDGE_MM && halvings_left > 0 {
            if self.corridors.cells.touches_box(triangle) {
                for half in halves(triangle, edge) {
                    self.take_triangle(&half, halvings_left - 1);
                }
            }
            return;
        }
        let centre = Point3::from((triangle[0].coords + triangle[1].coords + triangle[2].coords) / 3.0);
        let corridors = self.corridors;
        let Some(cell) = corridors.cells.sieve().cell(centre.into()) else { return };
        for candidate in corridors.cells.candidates(cell) {
            self.cut_across_seam(triangle, *candidate);
        }
    }

    fn cut_across_seam(&mut self, triangle: &Triangle, candidate: Candidate) {
        let curve = &self.corridors.curves[candidate.seam as usize];
        let feet = triangle.map(|corner| curve.walk_to_nearest(&corner, candidate.sample as usize));
        let first = feet.iter().min().map_or(0, |foot| foot.saturating_sub(1));
        let last = feet.iter().max().map_or(0, |foot| (foot + 1).min(curve.positions.len() - 1));
        for sample in first..=last {
            let (middle, tangent) = (curve.positions[sample], curve.tangents[sample]);
            let heights = triangle.map(|corner| (corner - middle).dot(&tangent));
            let Some([start, end]) = cut(triangle, heights) else { continue };
            let length_mm = (end - start).norm();
            let count = (length_mm / CUT_STEP_MM + dither(&start, &end)) as usize;
            for index in 0..count {
                let point = start + (end - start) * ((index as f64 + 0.5) / count as f64);
                if (point - middle).norm_squared() <= CORRIDOR_HALF_WIDTH_MM * CORRIDOR_HALF_WIDTH_MM {
                    let offset = self.corridors.car_from_scanner.point(&point) - curve.anchor;
                    self.partial[candidate.seam as usize].keep(BandPoint {
                        along_mm: curve.distances_mm[sample] as f32,
                        offset_mm: offset.map(|value| value as f32).into(),
                    });
                }
            }
        }
    }
}

fn longest_edge(triangle: &Triangle) -> (usize, f64) {
    let length_mm = |edge: usize| (triangle[(edge + 1) % 3] - triangle[edge]).norm();
    (0..3)
        .map(|edge| (edge, length_mm(edge)))
        .fold((0, -1.0), |best, next| if next.1 > best.1 { next } else { best })
}

fn halves(triangle: &Triangle, edge: usize) -> [Triangle; 2] {
    let [start, end, apex] = [triangle[edge], triangle[(edge + 1) % 3], triangle[(edge + 2) % 3]];
    let middle = nalgebra::center(&start, &end);
    [[start, middle, apex], [middle, end, apex]]
}

/// The straight piece in which a plane cuts a triangle, given the corners' heights over the plane.
fn cut(triangle: &Triangle, heights: [f64; 3]) -> Option<[Point3<f64>; 2]> {
    let mut ends = [triangle[0]; 2];
    let mut found = 0;
    for edge in 0..3 {
        let (from, to) = (edge, (edge + 1) % 3);
        if (heights[from] < 0.0) != (heights[to] < 0.0) && found < 2 {
            let share = heights[from] / (heights[from] - heights[to]);
            ends[found] = triangle[from] + (triangle[to] - triangle[from]) * share;
            found += 1;
        }
    }
    (found == 2).then_some(ends)
}

/// A number from 0 to 1 that depends on the place of a piece alone.
fn dither(start: &Point3<f64>, end: &Point3<f64>) -> f64 {
    let mixed = [start.x, start.y, start.z, end.x, end.y, end.z].iter().fold(0_u64, |hash, value| {
        (hash ^ value.to_bits()).wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(29)
    });
    ((mixed.wrapping_mul(0xbf58_476d_1ce4_e5b9)) >> 11) as f64 / (1_u64 << 53) as f64
}
