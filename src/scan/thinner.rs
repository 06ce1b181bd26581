//! A few points of a stream, for pictures of the scan: never all of them, and the same ones whatever the threads.
//!
//! In: blocks of points or runs of triangles, scan frame, mm. Out: points in stream order, at most a stated number.
//! Method: a point is kept while the low bits of a hash of its coordinates are zero; when too many are kept, one bit more
//! must be zero. So the choice depends on the points alone, and parts can be thinned apart and joined.
//! Does not average, and does not spread evenly (a grid over what is left does: `align::spread_out`).

use nalgebra::Point3;

use super::source::{PointBlock, PointSink, Triangle, TriangleSink};

/// Surface that one sample of a triangle stands for, mm²: large triangles get several, small ones one.
const SAMPLE_AREA_MM2: f64 = 16.0;
/// Most samples of one triangle.
const MOST_SAMPLES: u32 = 256;
/// Most bits of the hash that are asked for; a scan of equal points cannot be thinned by them and is cut instead.
const HIGHEST_LEVEL: u32 = 40;

/// Keeps some of the points that it is given.
#[derive(Debug, Clone)]
pub struct Thinner {
    limit: usize,
    level: u32,
    kept: Vec<[f32; 3]>,
}

impl Thinner {
    /// Keeps at most `limit` points.
    #[must_use]
    pub const fn new(limit: usize) -> Self {
        Self { limit, level: 0, kept: Vec::new() }
    }

    /// Joins what parts of one scan kept, in their order; at most `limit` points.
    #[must_use]
    pub fn join(parts: Vec<Self>, limit: usize) -> Vec<Point3<f64>> {
        let level = parts.iter().map(|part| part.level).max().unwrap_or(0);
        let mut all = Self { limit, level, kept: Vec::new() };
        for point in parts.into_iter().flat_map(|part| part.kept) {
            all.offer(point);
        }
        all.kept.iter().map(|point| Point3::from(point.map(f64::from))).collect()
    }

    /// Offers a point, mm.
    pub fn offer_point(&mut self, point: &Point3<f64>) {
        self.offer([point.x as f32, point.y as f32, point.z as f32]);
    }

    fn offer(&mut self, point: [f32; 3]) {
        if !is_kept(point, self.level) || !point.iter().all(|value| value.is_finite()) {
            return;
        }
        self.kept.push(point);
        while self.kept.len() > self.limit {
            self.level += 1;
            let level = self.level;
            if level > HIGHEST_LEVEL {
                self.kept.truncate(self.limit);
            } else {
                self.kept.retain(|point| is_kept(*point, level));
            }
        }
    }
}

impl PointSink for Thinner {
    fn take(&mut self, block: &PointBlock<'_>) {
        for ((x_mm, y_mm), z_mm) in block.x_mm.iter().zip(block.y_mm).zip(block.z_mm) {
            self.offer([*x_mm as f32, *y_mm as f32, *z_mm as f32]);
        }
    }
}

impl TriangleSink for Thinner {
    fn take(&mut self, triangles: &[Triangle]) {
        for [a, b, c] in triangles {
            let area_mm2 = (b - a).cross(&(c - a)).norm() / 2.0;
            // A cast from NaN or from more than fits is 0 or the largest: both are held by the clamp.
            let count = ((area_mm2 / SAMPLE_AREA_MM2) as u32).clamp(1, MOST_SAMPLES);
            for number in 1..=count {
                let (first, second) = place_in_triangle(number);
                let point = a + (b - a) * first + (c - a) * second;
                self.offer_point(&point);
            }
        }
    }
}

/// The R2 sequence (M. Roberts, 2018) folded into the triangle.
fn place_in_triangle(number: u32) -> (f64, f64) {
    let number = f64::from(number);
    let (first, second) =
        ((number * 0.754_877_666_246_692_7).fract(), (number * 0.569_840_290_998_053_2).fract());
    if first + second > 1.0 { (1.0 - first, 1.0 - second) } else { (first, second) }
}

/// Finaliser of splitmix64 (G. Steele, D. Lea, C. Flood, OOPSLA 2014) over the coordinates.
fn is_kept([x, y, z]: [f32; 3], level: u32) -> bool {
    let mixed = |value: u64| {
        let value = (value ^ (value >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let value = (value ^ (value >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        value ^ (value >> 31)
    };
    let pair = u64::from(x.to_bits()) << 32 | u64::from(y.to_bits());
    let hash = mixed(pair ^ mixed(u64::from(z.to_bits()).wrapping_add(0x9E37_79B9_7F4A_7C15)));
    hash & ((1u64 << level.min(63)) - 1) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(from: usize, to: usize) -> Vec<f64> {
        (from..to).map(|index| index as f64 * 0.37).collect()
    }

    fn thinned(values: &[f64], limit: usize) -> Thinner {
        let mut thinner = Thinner::new(limit);
        let block = PointBlock { x_mm: values, y_mm: values, z_mm: values, normals: None, first_index: 0 };
        PointSink::take(&mut thinner, &block);
        thinner
    }

    #[test]
    fn parts_thinned_apart_keep_what_the_whole_would_keep() {
        let whole = Thinner::join(vec![thinned(&line(0, 20_000), 500)], 500);
        let parts = vec![thinned(&line(0, 3_000), 500), thinned(&line(3_000, 20_000), 500)];
        let joined = Thinner::join(parts, 500);
        assert_eq!(whole, joined);
        assert!((200..=500).contains(&whole.len()), "{}", whole.len());
    }

    #[test]
    fn equal_points_and_points_that_are_no_numbers_do_no_harm() {
        assert!(Thinner::join(vec![thinned(&[7.0; 5_000], 100)], 100).len() <= 100);
        assert!(Thinner::join(vec![thinned(&[f64::NAN, f64::INFINITY, 1e300], 10)], 10).is_empty());
    }
}
