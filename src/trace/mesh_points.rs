//! A mesh's surface as points, so that seams are looked for in it as in a cloud.
//!
//! In: a source with triangles (mm). Out: a source of points on them, at most [`STEP_MM`] apart, triangle by triangle.
//! Method: small triangles give their centroid, others are halved across their longest edge until they are small.
//! Careless meshing spans gaps with slivers from edge to edge: in a mesh whose triangles are as small as a scan's points
//! lie apart, long slivers are left out. A decimated mesh is made of slivers beside its hems; there all are kept.
//! Does not use the vertices: how many of them lie where says how the mesher worked and nothing about the surface.

use nalgebra::Point3;

use crate::scan::{PointBlock, PointSink, ScanFailure, ScanSource, SourceFacts, Triangle, TriangleSink};

/// Largest distance between points on a triangle.
const STEP_MM: f64 = 0.6;
/// Most halvings of one triangle: an edge of 600 mm comes down to the step in ten for each side.
const MOST_HALVINGS: u32 = 20;
/// A mesh is as fine as a scan when half of its triangles have no edge longer than this.
const FINE_MM: f64 = 1.2;
/// In a fine mesh triangles longer than this, and this thin for their length, are slivers.
const SLIVER_MM: f64 = 2.0;
const SLIVER_SHARE: f64 = 0.4;
/// Triangles from which the fineness is told.
const LOOKED_AT: usize = 200_000;
/// Points in a block.
const BLOCK: usize = 1024;

/// Points on the triangles of a mesh.
pub(super) struct MeshPoints<'a> {
    mesh: &'a dyn ScanSource,
    facts: SourceFacts,
    is_fine: bool,
}

struct Edges(Vec<f64>);

impl TriangleSink for Edges {
    fn take(&mut self, triangles: &[Triangle]) {
        let room = LOOKED_AT.saturating_sub(self.0.len());
        self.0.extend(triangles.iter().take(room).map(|triangle| edges_mm(triangle)[longest(triangle)]));
    }
}

impl<'a> MeshPoints<'a> {
    /// Looks at some triangles to learn how fine the mesh is.
    ///
    /// # Errors
    /// The scan cannot be read.
    pub fn of(mesh: &'a dyn ScanSource) -> Result<Self, ScanFailure> {
        let mut edges = Edges(Vec::new());
        for part in 0..mesh.triangle_part_count() {
            if edges.0.len() < LOOKED_AT {
                mesh.read_triangles(part, &mut edges)?;
            }
        }
        let middle_mm = super::survey::median(&mut edges.0).unwrap_or(0.0);
        let facts = SourceFacts { point_count: None, has_normals: false, ..mesh.facts().clone() };
        Ok(Self { mesh, facts, is_fine: middle_mm < FINE_MM })
    }
}

impl ScanSource for MeshPoints<'_> {
    fn facts(&self) -> &SourceFacts {
        &self.facts
    }

    fn part_count(&self) -> usize {
        self.mesh.triangle_part_count()
    }

    fn read_points(&self, part: usize, sink: &mut dyn PointSink) -> Result<(), ScanFailure> {
        let mut pourer =
            Pourer { sink, leaves_slivers: self.is_fine, places: Default::default(), first_index: 0 };
        self.mesh.read_triangles(part, &mut pourer)?;
        pourer.pour();
        Ok(())
    }
}

struct Pourer<'a> {
    sink: &'a mut dyn PointSink,
    leaves_slivers: bool,
    places: [Vec<f64>; 3],
    first_index: u64,
}

impl TriangleSink for Pourer<'_> {
    fn take(&mut self, triangles: &[Triangle]) {
        for triangle in triangles {
            let is_finite = triangle.iter().flat_map(|corner| corner.iter()).all(|value| value.is_finite());
            if is_finite && !(self.leaves_slivers && is_sliver(triangle)) {
                self.divide(triangle, MOST_HALVINGS);
            }
        }
    }
}

impl Pourer<'_> {
    fn divide(&mut self, triangle: &Triangle, halvings_left: u32) {
        let edge = longest(triangle);
        if halvings_left == 0 || edges_mm(triangle)[edge] <= STEP_MM {
            let centre = (triangle[0].coords + triangle[1].coords + triangle[2].coords) / 3.0;
            self.places.iter_mut().zip(centre.iter()).for_each(|(places, value)| places.push(*value));
            if self.places[0].len() == BLOCK {
                self.pour();
            }
            return;
        }
        let [from, to, apex] = [edge, (edge + 1) % 3, (edge + 2) % 3].map(|corner| triangle[corner]);
        let middle: Point3<f64> = nalgebra::center(&from, &to);
        self.divide(&[from, middle, apex], halvings_left - 1);
        self.divide(&[middle, to, apex], halvings_left - 1);
    }

    fn pour(&mut self) {
        let [x_mm, y_mm, z_mm] = &self.places;
        if !x_mm.is_empty() {
            self.sink.take(&PointBlock { x_mm, y_mm, z_mm, normals: None, first_index: self.first_index });
            self.first_index += x_mm.len() as u64;
            self.places.iter_mut().for_each(Vec::clear);
        }
    }
}

fn edges_mm(triangle: &Triangle) -> [f64; 3] {
    [0, 1, 2].map(|edge| (triangle[(edge + 1) % 3] - triangle[edge]).norm())
}

fn longest(triangle: &Triangle) -> usize {
    let edges = edges_mm(triangle);
    (0..3).max_by(|one, two| edges[*one].total_cmp(&edges[*two])).unwrap_or(0)
}

fn is_sliver(triangle: &Triangle) -> bool {
    let edges = edges_mm(triangle);
    let longest_mm = edges[longest(triangle)];
    let shortest_mm = edges.into_iter().fold(f64::INFINITY, f64::min);
    longest_mm > SLIVER_MM && shortest_mm < SLIVER_SHARE * longest_mm
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::VecSource;

    struct Count(usize, f64);

    impl PointSink for Count {
        fn take(&mut self, block: &PointBlock<'_>) {
            self.0 += block.len();
            self.1 += block.x_mm.iter().sum::<f64>();
        }
    }

    #[test]
    fn a_large_triangle_is_covered_evenly() {
        let triangle = [Point3::origin(), Point3::new(30.0, 0.0, 0.0), Point3::new(0.0, 30.0, 0.0)];
        let mesh = VecSource::from_triangles(vec![triangle]);
        let points = MeshPoints::of(&mesh).unwrap();
        let mut count = Count(0, 0.0);
        points.read_points(0, &mut count).unwrap();
        // 450 mm² with points at most 0.6 mm apart, at least a fifth of that on average.
        assert!((1250..30_000).contains(&count.0), "{}", count.0);
        // The centroid of the points is that of the triangle.
        assert!((count.1 / count.0 as f64 - 10.0).abs() < 0.01);
    }

    #[test]
    fn slivers_are_left_out_of_fine_meshes_only() {
        let small = [Point3::origin(), Point3::new(0.4, 0.0, 0.0), Point3::new(0.0, 0.4, 0.0)];
        let sliver = [Point3::new(0.0, 9.0, 0.0), Point3::new(0.5, 9.0, 0.0), Point3::new(0.0, 13.0, 0.0)];
        let count = |triangles: Vec<Triangle>| {
            let mesh = VecSource::from_triangles(triangles);
            let mut count = Count(0, 0.0);
            MeshPoints::of(&mesh).unwrap().read_points(0, &mut count).unwrap();
            count.0
        };
        assert_eq!(count(vec![small, small, sliver]), 2);
        assert!(count(vec![sliver]) > 4);
    }
}
