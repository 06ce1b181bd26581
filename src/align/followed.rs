//! Points with the node of the surface that each was nearest to, while a pose settles.
//!
//! In: points (Scanner frame), a [`Surface`] (Car frame), one pose after the other. Out: the points' places on the surface, the
//! same as a search for each point and pose would give. Units: mm.
//! Method: a point whose nearest node is nearer than the next one by `d` keeps it until it has moved by `d/2` (triangle
//! inequality; compare the slack of "caching" in A. Nüchter et al., 3DIM 2007). The last steps of a pose are far
//! shorter than nodes are apart, so that each point is searched for about once instead of once a step.
//! Does not move points and does not choose which nodes may carry.

use nalgebra::{Isometry3, Point3};

use super::register::Contact;
use super::surface::Surface;

/// Points that are being followed.
pub(super) struct Followed<'t> {
    points: &'t [Point3<f64>],
    surface: &'t Surface,
    seen: Vec<Option<Seen>>,
}

/// Where a point was when it was last searched for.
#[derive(Clone, Copy)]
struct Seen {
    at: Point3<f64>,
    node: usize,
    slack_mm: f64,
}

impl<'t> Followed<'t> {
    pub fn new(points: &'t [Point3<f64>], surface: &'t Surface) -> Self {
        Self { points, surface, seen: vec![None; points.len()] }
    }

    /// The points on carrying nodes within reach, at a pose.
    pub fn contacts(&mut self, carries: &[bool], pose: &Isometry3<f64>, reach_mm: f64) -> Vec<Contact> {
        let surface = self.surface;
        let turn = pose.rotation.to_rotation_matrix();
        self.points
            .iter()
            .zip(&mut self.seen)
            .filter_map(|(point, seen)| {
                let point = turn * point + pose.translation.vector;
                let node = seen
                    .filter(|seen| (point - seen.at).norm_squared() < seen.slack_mm * seen.slack_mm)
                    .or_else(|| {
                        *seen = search(surface, &point);
                        *seen
                    })?
                    .node;
                if !carries[node] || (point - surface.nodes[node].origin).norm_squared() > reach_mm * reach_mm
                {
                    return None;
                }
                let near = surface.over(node, &point)?;
                Some(Contact { point, normal: near.normal, residual_mm: near.distance_mm })
            })
            .collect()
    }
}

fn search(surface: &Surface, point: &Point3<f64>) -> Option<Seen> {
    let two = std::num::NonZeroUsize::MIN.saturating_add(1);
    let found = surface.around(point, two);
    let (node, nearest_mm) = *found.first()?;
    let next_mm = found.get(1).map_or(f64::INFINITY, |next| next.1);
    Some(Seen { at: *point, node, slack_mm: 0.5 * (next_mm - nearest_mm) })
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector3;

    use super::*;
    use crate::align::thin::SurfacePoints;

    /// A sheet with a bump, and points above it that also lie beyond its rim.
    fn sheet(step_mm: f64, count: i32, height_mm: f64) -> Vec<Point3<f64>> {
        (0..count * count)
            .map(|index| {
                let (x, y) = (f64::from(index % count) * step_mm, f64::from(index / count) * step_mm);
                Point3::new(
                    x,
                    y,
                    height_mm + 8.0 * (-((x - 90.0).powi(2) + (y - 60.0).powi(2)) / 900.0).exp(),
                )
            })
            .collect()
    }

    #[test]
    fn followed_points_are_where_a_search_finds_them() {
        let points = SurfacePoints { points: sheet(2.0, 100, 0.0), normals: Vec::new() };
        let surface = Surface::lay(&points, 700).unwrap();
        let scan = sheet(3.1, 70, 0.4);
        let carries: Vec<bool> = (0..surface.nodes.len()).map(|node| node % 5 != 0).collect();
        let mut followed = Followed::new(&scan, &surface);
        let mut found = 0;
        for step in 0..12 {
            // Ever shorter steps, as a pose settles.
            let size = 0.6_f64.powi(step);
            let pose =
                Isometry3::new(Vector3::new(6.0, -4.0, 1.0) * size, Vector3::new(0.01, 0.02, -0.03) * size);
            let contacts = followed.contacts(&carries, &pose, 9.0);
            let searched: Vec<_> = scan
                .iter()
                .filter_map(|point| surface.near(&(pose * point), 9.0))
                .filter(|near| carries[near.node])
                .collect();
            assert_eq!(contacts.len(), searched.len(), "step {step}");
            for (contact, near) in contacts.iter().zip(&searched) {
                assert!((contact.residual_mm - near.distance_mm).abs() < 1e-9, "step {step}");
            }
            found += contacts.len();
        }
        assert!(found > 10_000, "{found}");
    }
}
