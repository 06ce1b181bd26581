//! The neighbour tree that the program leans on, against looking at every point.
//!
//! Truth by brute force. The points are those that break other trees: flat panels with hundreds of equal coordinates,
//! and repeated points.

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::Point3;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use shutline::geometry::Curve;

/// A panel in the plane z = 0 on a 0.5 mm raster, every tenth point twice, and a wall of points with one x.
fn panel() -> Vec<[f64; 3]> {
    let mut entries = Vec::new();
    for row in 0..60_i32 {
        for column in 0..60_i32 {
            let point = [f64::from(row) * 0.5, f64::from(column) * 0.5, 0.0];
            entries.push(point);
            if (row * 60 + column) % 10 == 0 {
                entries.push(point);
            }
            entries.push([40.0, f64::from(row) * 0.5, f64::from(column) * 0.1]);
        }
    }
    entries
}

fn distance_sq(a: &[f64; 3], b: &[f64; 3]) -> f64 {
    a.iter().zip(b).map(|(x, y)| (x - y) * (x - y)).sum()
}

#[test]
fn nearest_points_are_those_of_brute_force() {
    let entries = panel();
    let tree: ImmutableKdTree<f64, 3> = ImmutableKdTree::new_from_slice(&entries).unwrap();
    let mut random = ChaCha8Rng::seed_from_u64(7);
    for _ in 0..400 {
        let query = [
            random.random_range(-5.0..45.0),
            random.random_range(-5.0..35.0),
            random.random_range(-3.0..3.0),
        ];
        let found = tree.query(&query).nearest_one::<SquaredEuclidean<f64>>().execute();
        let least = entries.iter().map(|entry| distance_sq(entry, &query)).fold(f64::INFINITY, f64::min);
        let reached = distance_sq(&entries[found.item as usize], &query);
        assert!((reached - least).abs() < 1e-12 * least.max(1.0), "{query:?}: {reached} against {least}");
    }
}

#[test]
fn the_foot_on_a_curve_is_that_of_a_fine_search() {
    let points: Vec<_> = (0..40)
        .map(|step| {
            let turn = f64::from(step) * 0.15;
            Point3::new(100.0 * turn.cos(), 100.0 * turn.sin(), 12.0 * turn)
        })
        .collect();
    let curve = Curve::through(&points, None).unwrap();
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let fine: Vec<_> = (0..=60_000)
        .map(|step| curve.frame_at(curve.length_mm() * f64::from(step) / 60_000.0).origin)
        .collect();
    for _ in 0..60 {
        let base = fine[random.random_range(0..fine.len())];
        let mut shift = || random.random_range(-20.0..20.0);
        let query = Point3::new(base.x + shift(), base.y + shift(), base.z + shift());
        let least = fine.iter().map(|place| (place - query).norm()).fold(f64::INFINITY, f64::min);
        let foot = curve.nearest(&query);
        // The fine search steps by 0.01 mm: its own distance is too long by less than that, and never too short.
        assert!(
            foot.distance_mm <= least + 1e-9 && foot.distance_mm > least - 0.01,
            "{foot:?} against {least}"
        );
    }
}
