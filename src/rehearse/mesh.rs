//! Triangles between the scanned points of one seam.
//!
//! In: scanned points with their places in the lattice. Out: triangles by point numbers, outward side by the right-hand rule.
//! Method: every lattice cell with four seen corners gives two triangles, with three one; on request the innermost seen
//! points of the two panels are joined across the gap, as careless meshing joins them.
//! Does not use strays or flyers.

use std::collections::BTreeMap;

use nalgebra::Point3;

use super::sweep::{ScannedPoint, Site};

/// Which point stands at which place of a seam's lattice.
#[derive(Debug, Clone, Default)]
pub struct Lattice {
    points: BTreeMap<(usize, usize, i64), (usize, [f64; 3])>,
}

impl Lattice {
    /// Notes a scanned point by its index in the scan.
    pub fn note(&mut self, point: &ScannedPoint, index: usize) {
        if let Some(Site { row, panel, column }) = point.site {
            self.points.insert((panel, row, column), (index, point.normal.into()));
        }
    }

    /// The triangles over the scan's points, by the points' numbers.
    #[must_use]
    pub fn triangles(&self, points: &[Point3<f64>], bridges_gap: bool) -> Vec<[u32; 3]> {
        let mut triangles = Vec::with_capacity(2 * self.points.len());
        for ((panel, row, column), own) in &self.points {
            let at = |rows: usize, columns: i64| self.points.get(&(*panel, row + rows, column + columns));
            let corners = [Some(own), at(0, 1), at(1, 1), at(1, 0)];
            triangles.extend(cell(&corners, points));
        }
        // A cell whose first corner is missing is found from none of the above.
        for ((panel, row, column), own) in &self.points {
            let at = |rows: usize, columns: i64| self.points.get(&(*panel, row + rows, column + columns));
            if self.points.contains_key(&(*panel, *row, column - 1)) {
                continue;
            }
            triangles.extend(cell(&[None, Some(own), at(1, 0), at(1, -1)], points));
        }
        if bridges_gap {
            triangles.extend(self.bridges(points));
        }
        triangles
    }

    fn bridges(&self, points: &[Point3<f64>]) -> Vec<[u32; 3]> {
        let mut innermost: [BTreeMap<usize, &(usize, [f64; 3])>; 2] = [BTreeMap::new(), BTreeMap::new()];
        for ((panel, row, _), point) in &self.points {
            innermost[*panel].insert(*row, point);
        }
        let [datum, other] = &innermost;
        let mut triangles = Vec::new();
        for (row, own) in datum {
            let corners = [
                Some(*own),
                other.get(row).copied(),
                other.get(&(row + 1)).copied(),
                datum.get(&(row + 1)).copied(),
            ];
            triangles.extend(cell(&corners, points));
        }
        triangles
    }
}

/// The triangles of a cell whose corners stand in order round it; turned so that they face as their points do.
fn cell(corners: &[Option<&(usize, [f64; 3])>; 4], points: &[Point3<f64>]) -> Vec<[u32; 3]> {
    let seen: Vec<&(usize, [f64; 3])> = corners.iter().flatten().copied().collect();
    let fan = (1..seen.len().saturating_sub(1)).map(|corner| [seen[0], seen[corner], seen[corner + 1]]);
    fan.map(|[one, two, three]| {
        let triangle = [points[one.0], points[two.0], points[three.0]];
        let faces = (triangle[1] - triangle[0]).cross(&(triangle[2] - triangle[0]));
        let outward = nalgebra::Vector3::from(one.1) + nalgebra::Vector3::from(two.1);
        let corners = [one.0 as u32, two.0 as u32, three.0 as u32];
        if faces.dot(&outward) < 0.0 { [corners[0], corners[2], corners[1]] } else { corners }
    })
    .collect()
}
