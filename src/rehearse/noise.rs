//! Random numbers and smooth random fields in space that depend on a seed and a place alone.
//!
//! In: seed, standard deviation, correlation length (mm), point (mm). Out: the field's value there, mm.
//! Method: Gaussian values at the nodes of a cubic lattice, blended with cubic B-spline weights that are normalised to
//! unit variance at every place. The B-spline's variance is h²/3, so the field's correlation is close to
//! `exp(−d²/2L²)` with `L² = 2h²/3` (own derivation; checked in the tests).
//! Node values are sums of four uniforms: nearly normal; a blend of 64 of them is normal for every practical purpose.

use nalgebra::Point3;

/// A smooth random field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseField {
    seed: u64,
    sd_mm: f64,
    node_step_mm: f64,
}

impl NoiseField {
    /// A field with a standard deviation and a correlation length `L`: correlation `exp(−d²/2L²)`.
    #[must_use]
    pub fn new(seed: u64, sd_mm: f64, length_mm: f64) -> Self {
        Self { seed, sd_mm, node_step_mm: length_mm.max(1e-3) * 1.5_f64.sqrt() }
    }

    /// The value at a point, mm.
    #[must_use]
    pub fn at(&self, point: &Point3<f64>) -> f64 {
        if self.sd_mm == 0.0 {
            return 0.0;
        }
        let [x, y, z] = [0, 1, 2].map(|axis| Weights::at(point[axis] / self.node_step_mm));
        let mut sum = 0.0;
        for (i, weight_x) in x.weights.iter().enumerate() {
            let hash_x = mix(self.seed ^ (x.first + i as i64) as u64);
            for (j, weight_y) in y.weights.iter().enumerate() {
                let hash_y = mix(hash_x ^ (y.first + j as i64) as u64);
                let mut row = 0.0;
                for (k, weight_z) in z.weights.iter().enumerate() {
                    row += weight_z * nearly_normal(mix(hash_y ^ (z.first + k as i64) as u64));
                }
                sum += weight_x * weight_y * row;
            }
        }
        self.sd_mm * sum / (x.norm_sq * y.norm_sq * z.norm_sq).sqrt()
    }
}

/// Cubic B-spline weights along one axis.
struct Weights {
    first: i64,
    weights: [f64; 4],
    norm_sq: f64,
}

impl Weights {
    fn at(place: f64) -> Self {
        let lower = place.floor();
        let t = place - lower;
        let (t2, t3) = (t * t, t * t * t);
        let weights = [
            (1.0 - t).powi(3) / 6.0,
            (3.0 * t3 - 6.0 * t2 + 4.0) / 6.0,
            (-3.0 * t3 + 3.0 * t2 + 3.0 * t + 1.0) / 6.0,
            t3 / 6.0,
        ];
        let norm_sq = weights.iter().map(|weight| weight * weight).sum();
        Self { first: lower as i64 - 1, weights, norm_sq }
    }
}

/// The finaliser of SplitMix64 (Steele, Lea, Flood, OOPSLA 2014; constants from memory), a bijection of 64 bits.
#[must_use]
pub const fn mix(value: u64) -> u64 {
    let value = value.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let value = (value ^ (value >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let value = (value ^ (value >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    value ^ (value >> 31)
}

/// Sum of the four 16-bit parts of a hash, centred and scaled to unit variance (each has variance 2³²/12).
fn nearly_normal(hash: u64) -> f64 {
    let sum = (hash & 0xFFFF) + ((hash >> 16) & 0xFFFF) + ((hash >> 32) & 0xFFFF) + (hash >> 48);
    (sum as f64 - 131_070.0) / 37_837.227
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean product of the field at pairs of points a distance apart along a slanting direction.
    fn mean_product(field: &NoiseField, apart_mm: f64) -> f64 {
        let count = 40_000_u32;
        let sum: f64 = (0..count)
            .map(|index| {
                let x = f64::from(index % 200) * 31.7;
                let y = f64::from(index / 200) * 29.3;
                let one = Point3::new(x, y, 0.13 * x);
                let two = one + nalgebra::Vector3::new(0.6, 0.0, 0.8) * apart_mm;
                field.at(&one) * field.at(&two)
            })
            .sum();
        sum / f64::from(count)
    }

    #[test]
    fn the_field_has_the_standard_deviation_and_correlation_length_asked_for() {
        let field = NoiseField::new(7, 0.5, 3.0);
        let variance = mean_product(&field, 0.0);
        // 40,000 nearly independent products: the variance is good to 0.7 % (one sigma).
        assert!((variance / 0.25 - 1.0).abs() < 0.03, "{variance}");
        for apart_mm in [1.5_f64, 3.0, 4.5, 6.0] {
            let expected = (-0.5 * (apart_mm / 3.0).powi(2)).exp();
            let found = mean_product(&field, apart_mm) / variance;
            assert!((found - expected).abs() < 0.05, "{apart_mm}: {found} for {expected}");
        }
    }
}
