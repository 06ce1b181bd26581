//! A thinned copy of a scan: few points, evenly spread over its surface, with normals where the file gives them.
//!
//! In: any scan source. Out: [`SurfacePoints`], scan frame, mm, in file order.
//! Method: of a large cloud every point whose index hashes below a share is looked at; one point per cell of a cubic
//! grid is kept, the first in the file, whose cell size is chosen for the wanted number. Meshes are sampled evenly by
//! area (the R2 sequence of M. Roberts, 2018, over each triangle). Nothing is averaged: a mean would sink into
//! curved surfaces. The same file gives the same points whatever the number of threads.
//! A point that has hardly another near it is a stray: one point per cell would keep each of them, and of a dense scan
//! little else. Does not smooth, and does not know strays beside a surface.

use nalgebra::{Point3, Vector3};
use rustc_hash::FxHashMap;

use super::align_error::AlignError;
use crate::scan::{PointBlock, PointSink, ScanSource, Triangle, TriangleSink};

/// Points looked at for each one kept, about; one cell in 400 stays empty by chance.
const LOOKED_AT_PER_KEPT: usize = 6;
/// Side of the blocks in which neighbours are counted, in typical distances of points: some four points lie in one on a surface.
const BLOCK_SPACINGS: f64 = 2.0;
/// Points in a block and those around it, itself included, of a point that has company. On an even surface there are some 36; of
/// strays that are a twentieth of a scan of 20,000 points one in thirty has two others, of a larger scan fewer.
const COMPANY: u32 = 3;
/// Lonely points are strays if they fill space: pairs of them within a distance go with its third power, and on a
/// surface, however sparse, with the second (correlation dimension: P. Grassberger, I. Procaccia, Physica D 9, 1983).
const LEAST_DIMENSION: f64 = 2.5;
/// Fewer are not worth a look.
const LEAST_LONELY: usize = 100;

/// Points of a surface with normals where known.
#[derive(Debug, Clone, Default)]
pub struct SurfacePoints {
    pub points: Vec<Point3<f64>>,
    /// As many as points, or none; unit length, or zero where unknown.
    pub normals: Vec<Vector3<f64>>,
}

impl SurfacePoints {
    /// Those at the given places, in that order.
    #[must_use]
    pub fn at(&self, indices: &[usize]) -> Self {
        Self {
            points: indices.iter().map(|index| self.points[*index]).collect(),
            normals: indices.iter().filter_map(|index| self.normals.get(*index).copied()).collect(),
        }
    }
}

/// Reads about `wanted` points, evenly spread.
///
/// # Errors
/// The scan cannot be read.
pub fn thinned(source: &dyn ScanSource, wanted: usize) -> Result<SurfacePoints, AlignError> {
    let looked_at = wanted.saturating_mul(LOOKED_AT_PER_KEPT);
    let raw = if source.is_mesh() { mesh_samples(source, looked_at)? } else { cloud(source, looked_at)? };
    let raw = without_lonely(raw);
    let kept = spread_out(&raw.points, wanted);
    Ok(raw.at(&kept))
}

type Block = [i32; 3];

/// The points that have company; all of them where the others are a surface too.
fn without_lonely(all: SurfacePoints) -> SurfacePoints {
    let side_mm = BLOCK_SPACINGS * typical_extent_mm(&all.points) / (all.points.len().max(1) as f64).sqrt();
    if !(side_mm > 0.0 && side_mm.is_finite()) {
        return all;
    }
    let counts = counts_of(&all.points, side_mm);
    let (kept, lonely): (Vec<usize>, Vec<usize>) = (0..all.points.len())
        .partition(|index| has_company(&block_of(&all.points[*index], side_mm), &counts));
    let lonely: Vec<Point3<f64>> = lonely.into_iter().map(|index| all.points[index]).collect();
    if lonely.len() >= LEAST_LONELY && fills_space(&lonely) { all.at(&kept) } else { all }
}

/// Saturates far away, where blocks may run together: then nothing is lonely.
fn block_of(point: &Point3<f64>, side_mm: f64) -> Block {
    [0, 1, 2].map(|axis| (point[axis] / side_mm).floor() as i32)
}

fn counts_of(points: &[Point3<f64>], side_mm: f64) -> FxHashMap<Block, u32> {
    let mut counts = FxHashMap::default();
    for point in points {
        *counts.entry(block_of(point, side_mm)).or_default() += 1;
    }
    counts
}

fn fills_space(points: &[Point3<f64>]) -> bool {
    let side_mm = typical_extent_mm(points) / (points.len() as f64).cbrt();
    let pairs = |side_mm: f64| {
        let counts = counts_of(points, side_mm);
        points.iter().map(|point| u64::from(counts[&block_of(point, side_mm)] - 1)).sum::<u64>()
    };
    (pairs(2.0 * side_mm) as f64) > LEAST_DIMENSION.exp2() * pairs(side_mm) as f64
}

fn has_company(block: &Block, counts: &FxHashMap<Block, u32>) -> bool {
    let count_at = |offset: i32| {
        let step = [offset % 3 - 1, offset / 3 % 3 - 1, offset / 9 - 1];
        counts.get(&[0, 1, 2].map(|axis: usize| block[axis].saturating_add(step[axis]))).copied().unwrap_or(0)
    };
    // The middle of the 27 first: mostly it is enough.
    let own = count_at(13);
    own >= COMPANY || (0..27).filter(|offset| *offset != 13).map(count_at).sum::<u32>() + own >= COMPANY
}

struct CloudSink {
    kept: SurfacePoints,
    /// Points whose hashed index is below this are looked at.
    below: u64,
    has_normals: bool,
}

impl PointSink for CloudSink {
    fn take(&mut self, block: &PointBlock<'_>) {
        for index in 0..block.len() {
            if hashed(block.first_index + index as u64) > self.below {
                continue;
            }
            let point = block.point(index);
            if point.iter().all(|value| value.is_finite()) {
                self.kept.points.push(point);
                if self.has_normals {
                    self.kept.normals.push(block.normal(index).unwrap_or_else(Vector3::zeros));
                }
            }
        }
    }
}

fn cloud(source: &dyn ScanSource, looked_at: usize) -> Result<SurfacePoints, AlignError> {
    let facts = source.facts();
    // A count in a head is a hint only; a wrong one costs time or density, nothing else.
    let count = facts.point_count.unwrap_or(0) as f64;
    let share = if count > 0.0 { (looked_at as f64 / count).min(1.0) } else { 1.0 };
    let below = if share < 1.0 { (share * u64::MAX as f64) as u64 } else { u64::MAX };
    let mut sink = CloudSink { kept: SurfacePoints::default(), below, has_normals: facts.has_normals };
    for part in 0..source.part_count() {
        source.read_points(part, &mut sink)?;
    }
    Ok(sink.kept)
}

/// Finaliser of splitmix64 (G. Steele, D. Lea, C. Flood, OOPSLA 2014): neighbours in the file become unrelated.
fn hashed(index: u64) -> u64 {
    let mut value = index.wrapping_add(0x9E37_79B9_7F4A_7C15);
    value = (value ^ (value >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    value = (value ^ (value >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    value ^ (value >> 31)
}

#[derive(Default)]
struct AreaSink {
    area_mm2: f64,
}

impl TriangleSink for AreaSink {
    fn take(&mut self, triangles: &[Triangle]) {
        self.area_mm2 +=
            triangles.iter().map(doubled_area_vector).map(|area| finite_norm(&area) / 2.0).sum::<f64>();
    }
}

struct SampleSink {
    samples: SurfacePoints,
    per_mm2: f64,
    owed: f64,
    drawn: u64,
    most: usize,
}

impl TriangleSink for SampleSink {
    fn take(&mut self, triangles: &[Triangle]) {
        for triangle in triangles {
            let area = doubled_area_vector(triangle);
            let Some(normal) = area.try_normalize(1e-12).filter(|_| finite_norm(&area) > 0.0) else {
                continue;
            };
            self.owed += finite_norm(&area) / 2.0 * self.per_mm2;
            while self.owed >= 1.0 && self.samples.points.len() < self.most {
                self.owed -= 1.0;
                self.drawn += 1;
                self.samples.points.push(place_in(triangle, self.drawn));
                self.samples.normals.push(normal);
            }
        }
    }
}

fn doubled_area_vector(triangle: &Triangle) -> Vector3<f64> {
    (triangle[1] - triangle[0]).cross(&(triangle[2] - triangle[0]))
}

fn finite_norm(vector: &Vector3<f64>) -> f64 {
    Some(vector.norm()).filter(|norm| norm.is_finite()).unwrap_or(0.0)
}

/// The R2 sequence folded into the triangle.
fn place_in(triangle: &Triangle, number: u64) -> Point3<f64> {
    let (first, second) = (number as f64 * 0.754_877_666_246_692_7, number as f64 * 0.569_840_290_998_053_2);
    let (mut first, mut second) = (first.fract(), second.fract());
    if first + second > 1.0 {
        (first, second) = (1.0 - first, 1.0 - second);
    }
    triangle[0] + (triangle[1] - triangle[0]) * first + (triangle[2] - triangle[0]) * second
}

fn mesh_samples(source: &dyn ScanSource, looked_at: usize) -> Result<SurfacePoints, AlignError> {
    let mut area = AreaSink::default();
    for part in 0..source.triangle_part_count() {
        source.read_triangles(part, &mut area)?;
    }
    let per_mm2 = if area.area_mm2 > 0.0 { looked_at as f64 / area.area_mm2 } else { 0.0 };
    let mut sink =
        SampleSink { samples: SurfacePoints::default(), per_mm2, owed: 0.5, drawn: 0, most: looked_at + 1 };
    for part in 0..source.triangle_part_count() {
        source.read_triangles(part, &mut sink)?;
    }
    Ok(sink.samples)
}

/// Places of about `wanted` points, one for each cell of a cubic grid, in their order.
#[must_use]
pub fn spread_out(points: &[Point3<f64>], wanted: usize) -> Vec<usize> {
    if points.len() <= wanted {
        return (0..points.len()).collect();
    }
    let mut cell_mm = typical_extent_mm(points) / (wanted as f64).sqrt();
    let mut kept = (0..points.len()).collect();
    // The number of cells on a surface goes with 1/cell²: a few corrections land within a tenth.
    for _ in 0..4 {
        if !(cell_mm > 0.0 && cell_mm.is_finite()) {
            break;
        }
        kept = first_of_each_cell(points, cell_mm);
        let ratio = kept.len() as f64 / wanted as f64;
        if (0.9..=1.1).contains(&ratio) {
            break;
        }
        cell_mm *= ratio.sqrt().clamp(0.2, 5.0);
    }
    kept
}

/// Places of the first point in each cell of a cubic grid, in the points' order.
#[must_use]
pub fn first_of_each_cell(points: &[Point3<f64>], cell_mm: f64) -> Vec<usize> {
    let cell_of = |value: f64| ((value / cell_mm).floor() as i64 as u64) & 0x1F_FFFF;
    let mut keyed: Vec<(u64, u32)> = points
        .iter()
        .enumerate()
        .map(|(index, point)| {
            let key = cell_of(point.x) << 42 | cell_of(point.y) << 21 | cell_of(point.z);
            (key, u32::try_from(index).unwrap_or(u32::MAX))
        })
        .collect();
    keyed.sort_unstable();
    keyed.dedup_by_key(|entry| entry.0);
    let mut kept: Vec<usize> = keyed.into_iter().map(|(_, index)| index as usize).collect();
    kept.sort_unstable();
    kept
}

/// Root sum of squares of the three middle-90 % extents: strays do not matter. mm.
#[must_use]
pub fn typical_extent_mm(points: &[Point3<f64>]) -> f64 {
    let step = (points.len() / 20_000).max(1);
    let mut sum_sq = 0.0;
    for axis in 0..3 {
        let mut values: Vec<f64> = points.iter().step_by(step).map(|point| point[axis]).collect();
        values.sort_by(f64::total_cmp);
        let at = |share: f64| values.get((values.len() as f64 * share) as usize).copied().unwrap_or(0.0);
        sum_sq += (at(0.95) - at(0.05)).powi(2);
    }
    sum_sq.sqrt()
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;

    fn plate(count: usize, strays: usize) -> SurfacePoints {
        let mut random = ChaCha8Rng::seed_from_u64(3);
        let mut place = |height_mm: f64, up_mm: f64| {
            let (x, y) = (random.random_range(0.0..1500.0), random.random_range(0.0..1500.0));
            Point3::new(x, y, height_mm + up_mm * random.random_range(0.0..1.0))
        };
        let mut points: Vec<Point3<f64>> = (0..count).map(|_| place(0.0, 0.0)).collect();
        points.extend((0..strays).map(|_| place(60.0, 900.0)));
        SurfacePoints { points, normals: Vec::new() }
    }

    #[test]
    fn strays_of_a_dense_scan_are_left_out_and_its_surface_stays() {
        for count in [20_000, 300_000] {
            let kept = without_lonely(plate(count, count / 20)).points;
            let strays = kept.iter().filter(|point| point.z > 0.0).count();
            assert!(strays * 20 < count / 20, "{strays} of {}", count / 20);
            assert!(kept.len() - strays > count * 999 / 1000, "{}", kept.len());
        }
    }

    #[test]
    fn a_scan_that_is_dense_in_places_alone_loses_nothing() {
        // Nine points in ten on a strip of a 250th of the plate: all others are lonely.
        let mut uneven = plate(6_000, 0);
        let strip = plate(54_000, 0).points;
        uneven.points.extend(strip.iter().map(|point| Point3::new(point.x * 0.004, point.y, 0.0)));
        let count = uneven.points.len();
        assert_eq!(without_lonely(uneven).points.len(), count);
    }
}
