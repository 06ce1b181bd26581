//! The rest of the car: points that no seam needs, so that a practice scan is as large as a real one.
//!
//! In: a plan, how many points, a seed. Out: points with normals, one by one, none near a seam curve.
//! Frame: Car, mm. Shape: an ellipsoid round the plan's curves, which stands for everything else that was scanned.
//! Memory: the cells near the curves, whatever the number of points.

use std::collections::BTreeSet;

use nalgebra::{Point3, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use crate::plan::Plan;

/// Cells of this size that touch a curve, and their neighbours, get no background, mm.
const CELL_MM: f64 = 80.0;
/// How much larger than the curves' box the ellipsoid is.
const GROWTH: f64 = 1.8;
/// Least distance from the box to the ellipsoid, mm.
const LEAST_ROOM_MM: f64 = 300.0;

/// Gives `count` background points to the sink.
///
/// # Errors
/// Whatever the sink returns; it then gets no more points.
pub fn background<E>(
    plan: &Plan,
    count: u64,
    seed: u64,
    mut sink: impl FnMut(Point3<f64>, Vector3<f64>) -> Result<(), E>,
) -> Result<(), E> {
    let (centre, half) = ellipsoid(plan);
    let taken = cells_near_curves(plan);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut made = 0;
    while made < count {
        let direction: Vector3<f64> = Vector3::from_fn(|_, _| random.sample(StandardNormal));
        let Some(direction) = direction.try_normalize(1e-6) else { continue };
        let point = centre + direction.component_mul(&half);
        if taken.contains(&cell(&point)) {
            continue;
        }
        let normal = direction.component_div(&half).normalize();
        sink(point, normal)?;
        made += 1;
    }
    Ok(())
}

fn ellipsoid(plan: &Plan) -> (Point3<f64>, Vector3<f64>) {
    let mut low = Vector3::repeat(f64::INFINITY);
    let mut high = Vector3::repeat(f64::NEG_INFINITY);
    for position in plan.seams.iter().flat_map(|seam| seam.curve.positions()) {
        low = low.inf(&position.coords);
        high = high.sup(&position.coords);
    }
    if low.x > high.x {
        return (Point3::origin(), Vector3::repeat(LEAST_ROOM_MM));
    }
    let half = (high - low) * (0.5 * GROWTH) + Vector3::repeat(LEAST_ROOM_MM);
    (Point3::from((low + high) * 0.5), half)
}

fn cell(point: &Point3<f64>) -> [i64; 3] {
    [point.x, point.y, point.z].map(|value| (value / CELL_MM).floor() as i64)
}

fn cells_near_curves(plan: &Plan) -> BTreeSet<[i64; 3]> {
    let mut taken = BTreeSet::new();
    for position in plan.seams.iter().flat_map(|seam| seam.curve.positions()) {
        let [x, y, z] = cell(position);
        for step in 0..27 {
            taken.insert([x + step % 3 - 1, y + step / 3 % 3 - 1, z + step / 9 - 1]);
        }
    }
    taken
}
