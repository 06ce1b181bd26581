//! What a scanner's smoothing does to a hem: how far it moves the points of an arc inwards.
//!
//! In: distance past the joint of a straight run and an arc, the arc's radius, the width of the smoothing; mm. Out: mm.
//! Method: the arc departs from its tangent by l²/2r for l > 0 and by 0 before; averaged over a normal l of deviation s the
//! mean is `((l² + s²) Φ(l/s) + l s φ(l/s)) / 2r`, and the offset is that less l²/2r. As a multiple of s²/2r it depends on
//! l/s alone, and is read from a table with its slopes (cubic Hermite interpolation), because millions are asked for.
//! Does not hold where the smoothing is not small against the arc.

use std::sync::LazyLock;

/// Past the joint by this many widths of the smoothing, the offset is s²/2r to 3e-6 of itself.
pub(super) const SETTLED_SHARE: f64 = 4.0;
/// Steps of the table; the interpolation is then good to 2e-10 (h⁴/384 times a fourth derivative of at most 0.5).
const STEPS: usize = 256;

/// Value and slope (per step of the table) at equal steps of l/s from 0 to [`SETTLED_SHARE`], and one more.
static TABLE: LazyLock<[[f64; 2]; STEPS + 2]> = LazyLock::new(|| {
    std::array::from_fn(|index| {
        let share = index as f64 * SETTLED_SHARE / STEPS as f64;
        [exact(share), exact_slope(share) * SETTLED_SHARE / STEPS as f64]
    })
});

fn density(share: f64) -> f64 {
    (-0.5 * share * share).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

fn below(share: f64) -> f64 {
    0.5 * (1.0 + statrs::function::erf::erf(share * std::f64::consts::FRAC_1_SQRT_2))
}

fn exact(share: f64) -> f64 {
    (share * share + 1.0) * below(share) + share * density(share) - share.max(0.0).powi(2)
}

/// For shares over 0: the derivative of [`exact`], by φ' = -l φ.
fn exact_slope(share: f64) -> f64 {
    2.0 * (share * (below(share) - 1.0) + density(share))
}

/// How far a Gaussian of width `smoothing_mm` along a profile moves a point inwards, `arc_length_mm` past the place
/// where a straight run turns into an arc of `radius_mm`; mm. See the module head.
#[must_use]
pub fn smoothing_offset_mm(arc_length_mm: f64, radius_mm: f64, smoothing_mm: f64) -> f64 {
    if smoothing_mm <= 0.0 {
        return 0.0;
    }
    let settled_mm = smoothing_mm * smoothing_mm / (2.0 * radius_mm);
    let share = arc_length_mm / smoothing_mm;
    if share > SETTLED_SHARE {
        settled_mm
    } else if share < 0.0 {
        settled_mm * exact(share)
    } else {
        settled_mm * from_table(share)
    }
}

/// For shares from 0 to [`SETTLED_SHARE`].
#[inline]
fn from_table(share: f64) -> f64 {
    let place = share * (STEPS as f64 / SETTLED_SHARE);
    let index = (place as usize).min(STEPS);
    let x = place - index as f64;
    let ([low, low_slope], [high, high_slope]) = (TABLE[index], TABLE[index + 1]);
    let rest = 1.0 - x;
    rest * rest * ((1.0 + 2.0 * x) * low + x * low_slope)
        + x * x * ((3.0 - 2.0 * x) * high - rest * high_slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_the_settled_offset_at_the_joint_itself() {
        // At l = 0 the mean is s²/2r times Φ(0) = 1/2.
        assert!((smoothing_offset_mm(0.0, 2.0, 0.25) - 0.25 * 0.25 / 8.0).abs() < 1e-15);
        assert_eq!(smoothing_offset_mm(3.0, 2.0, 0.25), 0.25 * 0.25 / 4.0);
        assert_eq!(smoothing_offset_mm(3.0, 2.0, 0.0), 0.0);
    }

    #[test]
    fn the_table_follows_the_formula() {
        let worst = (0..4001)
            .map(|step| f64::from(step) * 0.001)
            .map(|share| (from_table(share) - exact(share)).abs())
            .fold(0.0, f64::max);
        // See STEPS: (1/64)⁴/384 × 0.5 = 8e-11.
        assert!(worst < 2e-10, "{worst:e}");
    }

    #[test]
    fn the_formula_is_the_mean_of_the_smoothed_arc() {
        // The mean of max(l, 0)² over a normal l about 0.3 with deviation 0.2, by a sum over ±8 deviations.
        let (middle, width) = (0.3, 0.2);
        let count = 40_000;
        let mean: f64 = (0..count)
            .map(|step| (f64::from(step) + 0.5) / f64::from(count) * 16.0 - 8.0)
            .map(|share| density(share) * (middle + width * share).max(0.0).powi(2))
            .sum::<f64>()
            * 16.0
            / f64::from(count);
        let offset_mm = (mean - middle * middle) / 2.0;
        assert!((smoothing_offset_mm(middle, 1.0, width) - offset_mm).abs() < 1e-8);
    }
}
