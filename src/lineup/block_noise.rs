//! How noisy a fitted surface is once the correlation of scan noise along it is counted in.
//!
//! In: residuals with their places on the surface. Out: the variance that one point counts for, and how many independent
//! pieces there are. Units: mm. Method: means over blocks of 4 mm by 4 mm, whose variance shows what does not average out
//! within a block; the correlation of neighbouring blocks, both ways, enlarges it as far as it reaches further (variance of
//! a mean of correlated values: 1 + 2 Σ r; the first neighbour is counted, further ones are taken as nil).
//! Does not see what is common to the whole surface.

use std::collections::BTreeMap;

const BLOCK_MM: f64 = 4.0;
const FEWEST_IN_BLOCK: usize = 4;
const FEWEST_BLOCKS: usize = 6;
/// Least scatter of block means that is believed, mm.
const LEAST_MM: f64 = 0.0003;
/// Most by which neighbours may enlarge the variance.
const MOST_ENLARGED: f64 = 5.0;

/// What a fit's cofactors are to be multiplied with, and the degrees of freedom of that.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct BlockNoise {
    pub variance_mm2: f64,
    pub degrees_of_freedom: f64,
}

/// Of residuals (across, along, rest) of a fit with so many parameters; `None` with too few blocks.
pub(super) fn block_noise(rests: &[(f64, f64, f64)], parameters: usize) -> Option<BlockNoise> {
    let mut sums: BTreeMap<(i64, i64), (f64, usize)> = BTreeMap::new();
    for (x_mm, s_mm, rest_mm) in rests {
        let key = ((x_mm / BLOCK_MM).floor() as i64, (s_mm / BLOCK_MM).floor() as i64);
        let entry = sums.entry(key).or_insert((0.0, 0));
        *entry = (entry.0 + rest_mm, entry.1 + 1);
    }
    let means: BTreeMap<(i64, i64), f64> = sums
        .iter()
        .filter(|(_, (_, count))| *count >= FEWEST_IN_BLOCK)
        .map(|(key, (sum, count))| (*key, sum / *count as f64))
        .collect();
    if means.len() < FEWEST_BLOCKS.max(parameters / 2 + 1) {
        return None;
    }
    let count = means.len() as f64;
    let points_in_block = rests.len() as f64 / sums.len() as f64;
    // Blocks take up the parameters as points do: half of them at most, so that few blocks are not blown up.
    let left = (count - parameters as f64).max(count / 2.0);
    let variance_mm2 = (means.values().map(|mean| mean * mean).sum::<f64>() / left).max(LEAST_MM * LEAST_MM);
    let correlation = |step: (i64, i64)| {
        let products: Vec<f64> = means
            .iter()
            .filter_map(|((x, s), mean)| Some(mean * means.get(&(x + step.0, s + step.1))?))
            .collect();
        if products.len() < FEWEST_BLOCKS {
            return 0.0;
        }
        (products.iter().sum::<f64>() / products.len() as f64 / variance_mm2).clamp(0.0, 1.0)
    };
    let enlarged = ((1.0 + 2.0 * correlation((1, 0))) * (1.0 + 2.0 * correlation((0, 1)))).min(MOST_ENLARGED);
    Some(BlockNoise {
        variance_mm2: variance_mm2 * enlarged * points_in_block,
        degrees_of_freedom: (left / enlarged).max(2.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 36 blocks of 16 points, each block all +0.01 or all −0.01 in a chequered pattern: block variance 0.0001, no
    /// positive correlation, so that a point counts for 16 times that; one parameter: 36 / 35.
    #[test]
    fn what_a_block_has_in_common_does_not_average_out() {
        let mut rests = Vec::new();
        for x in 0..24 {
            for s in 0..24 {
                let sign = if (x / 4 + s / 4) % 2 == 0 { 0.01 } else { -0.01 };
                rests.push((f64::from(x) + 0.5, f64::from(s) + 0.5, sign));
            }
        }
        let noise = block_noise(&rests, 1).unwrap();
        assert!((noise.variance_mm2 - 16.0 * 0.0001 * 36.0 / 35.0).abs() < 1e-12, "{noise:?}");
        assert!((noise.degrees_of_freedom - 35.0).abs() < 1e-12);
    }
}
