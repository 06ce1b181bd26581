//! How sure a registered pose is, from what it leaves.
//!
//! In: the rows of the last step with residual and weight, the inverse of its normal matrix. Out: the covariance of
//! `(ω, τ)` about the pivot, rad² and mm². Units: mm.
//! Method: jackknife over blocks of the surface (H. Künsch, Ann. Statist. 17(3), 1989; leaving out clusters: A. Cameron,
//! D. Miller, J. Human Resources 50(2), 2015, "CR3"): the pose without a block, from the normal equations less the block's
//! share, for each block; averaged over several cuts into blocks, since where a cut falls is chance. Scanner noise
//! is correlated along the surface, so that counting points would promise too much.
//! Does not know errors that are common to the whole scan or the reference: their pose is the error.

use std::collections::BTreeMap;

use nalgebra::{Matrix6, Point3, Vector3, Vector6};

/// Block side, mm: longer than the noise of scanners is correlated.
const BLOCK_MM: f64 = 150.0;
/// Fewest blocks that say anything.
const LEAST_BLOCKS: usize = 8;

/// One point's part in the last step.
#[derive(Debug, Clone, Copy)]
pub(super) struct WeightedRow {
    /// Car frame, mm.
    pub point: Point3<f64>,
    pub row: Vector6<f64>,
    pub residual_mm: f64,
    pub weight: f64,
}

/// A block's share of the normal equations.
struct Share {
    normal: Matrix6<f64>,
    right: Vector6<f64>,
}

/// The covariance; never less than that of independent noise of `variance_mm2`.
pub(super) fn pose_covariance(
    rows: impl Iterator<Item = WeightedRow> + Clone,
    inverse: &Matrix6<f64>,
    variance_mm2: f64,
) -> Matrix6<f64> {
    let independent = inverse * variance_mm2;
    // Four cuts along the diagonals of the blocks.
    let corners = [[0.0, 0.0, 0.0], [0.5, 0.5, 0.0], [0.5, 0.0, 0.5], [0.0, 0.5, 0.5]];
    let cuts: Vec<Matrix6<f64>> = corners
        .iter()
        .filter_map(|corner| {
            left_out_in_turn(&shares(rows.clone(), &(Vector3::from(*corner) * BLOCK_MM)), inverse)
        })
        .collect();
    if cuts.is_empty() {
        // Too few blocks: the fewest that would do, each of one value.
        return independent * (rows.count() as f64 / LEAST_BLOCKS as f64).max(1.0);
    }
    let mean = cuts.iter().sum::<Matrix6<f64>>() / cuts.len() as f64;
    // Both are estimates of the same; the sum cannot promise more than the larger, whatever few blocks happen to say.
    mean + independent
}

fn shares(rows: impl Iterator<Item = WeightedRow>, corner: &Vector3<f64>) -> Vec<Share> {
    let mut blocks: BTreeMap<[i64; 3], Share> = BTreeMap::new();
    for row in rows {
        let at = row.point + corner;
        let key = [at.x, at.y, at.z].map(|value| (value / BLOCK_MM).floor() as i64);
        let share =
            blocks.entry(key).or_insert_with(|| Share { normal: Matrix6::zeros(), right: Vector6::zeros() });
        share.normal.syger(row.weight, &row.row, &row.row, 1.0);
        share.right -= row.row * (row.weight * row.residual_mm);
    }
    blocks.into_values().collect()
}

/// `None` where there are too few blocks, or one of them alone holds a direction.
fn left_out_in_turn(shares: &[Share], inverse: &Matrix6<f64>) -> Option<Matrix6<f64>> {
    if shares.len() < LEAST_BLOCKS {
        return None;
    }
    let whole = inverse.try_inverse()?;
    let right: Vector6<f64> = shares.iter().map(|share| share.right).sum();
    let mut moves = Vec::with_capacity(shares.len());
    for share in shares {
        let block = Matrix6::from_fn(|row, column| share.normal[(row.max(column), row.min(column))]);
        moves.push((whole - block).cholesky()?.solve(&(right - share.right)));
    }
    let count = moves.len() as f64;
    let middle = moves.iter().sum::<Vector6<f64>>() / count;
    let spread: Matrix6<f64> =
        moves.iter().map(|movement| (movement - middle) * (movement - middle).transpose()).sum();
    Some(spread * ((count - 1.0) / count))
}
