//! What a scan has near one seam: the input of everything that measures.
//!
//! In: the collectors of all parts. Out: one [`SeamBand`] per seam, in plan order. Frame: Car; units: mm.
//! Shape: 16 bytes a point, sorted by distance along the plan's curve and then by coordinates, so that the order of
//! points in the file does not matter.

use nalgebra::{Point3, Vector3};

use crate::geometry::sort_along;

use super::collector::{Collector, PartialBand};
use super::corridors::Corridors;

/// A point near a seam, small because there are millions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandPoint {
    /// Foot on the plan's curve, mm from its first point.
    pub along_mm: f32,
    /// Offset from the band's anchor, Car frame, mm; to 0.1 µm within 2 m.
    pub offset_mm: [f32; 3],
}

impl BandPoint {
    /// Decides by the coordinates alone whether this is one of the one in `2^level` that stay.
    pub(super) fn is_kept_at(&self, level: u32) -> bool {
        if level == 0 {
            return true;
        }
        let [x, y, z] = self.offset_mm.map(|value| u64::from(value.to_bits()));
        // Mixing steps of the splitmix64 generator (Steele, Lea, Flood, OOPSLA 2014).
        let mut mixed = x ^ y.rotate_left(21) ^ z.rotate_left(42);
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (mixed ^ (mixed >> 31)).trailing_zeros() >= level
    }

    fn sort_key(&self) -> (u32, [u32; 3]) {
        // Shifts the bits so that they sort like the numbers, negative ones too (IEEE 754, total order).
        let ordered = |value: f32| {
            let bits = value.to_bits();
            if bits >> 31 == 1 { !bits } else { bits | 1 << 31 }
        };
        (ordered(self.along_mm), self.offset_mm.map(ordered))
    }
}

/// The points near one seam.
#[derive(Debug, Clone, PartialEq)]
pub struct SeamBand {
    /// Place of the seam in the plan.
    pub seam_index: usize,
    /// Origin of the points' offsets, Car frame, mm.
    pub anchor: Point3<f64>,
    /// Sorted by `along_mm`, then coordinates.
    pub points: Vec<BandPoint>,
    /// Points (or cut mesh samples) in the corridor, before thinning.
    pub points_in_corridor: u64,
    /// One point in `2^thinning` was kept.
    pub thinning: u32,
    pub(crate) normals: NormalVotes,
}

impl SeamBand {
    /// A point in the Car frame, mm.
    #[must_use]
    pub fn position(&self, point: &BandPoint) -> Point3<f64> {
        self.anchor + Vector3::from(point.offset_mm.map(f64::from))
    }

    /// The points whose foot on the plan's curve lies between two distances, mm.
    #[must_use]
    pub fn between(&self, from_mm: f64, to_mm: f64) -> &[BandPoint] {
        let first = self.points.partition_point(|point| f64::from(point.along_mm) < from_mm);
        let last = self.points.partition_point(|point| f64::from(point.along_mm) <= to_mm);
        &self.points[first..last.max(first)]
    }
}

/// Everything gathered from a scan.
#[derive(Debug, Clone, PartialEq)]
pub struct Gathered {
    /// One per seam, in plan order.
    pub bands: Vec<SeamBand>,
    pub points_seen: u64,
    /// Points with a coordinate that is infinite or not a number; they were left out.
    pub points_not_finite: u64,
    /// Where no point is near any seam: about how far the nearest of a sample of the scan's points is, mm.
    pub nearest_mm: Option<f64>,
}

/// Sums of scan normals per stretch of a seam, from which the outward side can be told.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct NormalVotes {
    sums: Vec<Vector3<f64>>,
}

/// Length of seam over which scan normals are added up, mm.
const VOTE_STRETCH_MM: f64 = 25.0;

impl NormalVotes {
    pub(super) fn new(length_mm: f64) -> Self {
        Self { sums: vec![Vector3::zeros(); (length_mm / VOTE_STRETCH_MM) as usize + 1] }
    }

    pub(super) fn add(&mut self, along_mm: f64, normal: &Vector3<f64>) {
        let place = ((along_mm / VOTE_STRETCH_MM).max(0.0) as usize).min(self.sums.len() - 1);
        if let Some(unit) = normal.try_normalize(1e-6) {
            self.sums[place] += unit;
        }
    }

    fn add_all(&mut self, other: &Self) {
        for (sum, more) in self.sums.iter_mut().zip(&other.sums) {
            *sum += more;
        }
    }

    /// The summed normals near a distance along the seam; zero where the scan has none.
    pub(crate) fn near(&self, along_mm: f64) -> Vector3<f64> {
        let place = ((along_mm / VOTE_STRETCH_MM).max(0.0) as usize).min(self.sums.len() - 1);
        self.sums[place]
    }
}

/// What all parts of a scan have near one seam, not yet put together.
#[derive(Debug)]
pub struct BandParts {
    seam_index: usize,
    anchor: Point3<f64>,
    parts: Vec<PartialBand>,
}

impl BandParts {
    /// Puts the parts together and sorts them; that takes time, and each seam can be done on its own.
    #[must_use]
    pub fn into_band(self) -> SeamBand {
        merge(self.seam_index, self.anchor, self.parts)
    }
}

/// Hands the collectors' points out to their seams, and sums up the counts; the bands are still to be made.
pub(super) fn by_seam(corridors: &Corridors, collectors: Vec<Collector<'_>>) -> (Vec<BandParts>, Gathered) {
    let points_seen = collectors.iter().map(|collector| collector.points_seen).sum();
    let points_not_finite = collectors.iter().map(|collector| collector.points_not_finite).sum();
    let nearest_mm = collectors.iter().map(|collector| collector.nearest_mm).fold(f64::INFINITY, f64::min);
    let mut seams: Vec<BandParts> = corridors
        .curves
        .iter()
        .enumerate()
        .map(|(seam_index, curve)| BandParts { seam_index, anchor: curve.anchor, parts: Vec::new() })
        .collect();
    for collector in collectors {
        for (seam, partial) in seams.iter_mut().zip(collector.partial) {
            seam.parts.push(partial);
        }
    }
    let is_empty = seams.iter().flat_map(|seam| &seam.parts).all(|part| part.in_corridor == 0);
    let nearest_mm = (is_empty && nearest_mm.is_finite()).then_some(nearest_mm);
    (seams, Gathered { bands: Vec::new(), points_seen, points_not_finite, nearest_mm })
}

fn merge(seam_index: usize, anchor: Point3<f64>, parts: Vec<PartialBand>) -> SeamBand {
    let mut level = parts.iter().map(|part| part.level).max().unwrap_or(0);
    let limit = parts.first().map_or(0, |part| part.limit);
    let points_in_corridor = parts.iter().map(|part| part.in_corridor).sum();
    let mut normals = NormalVotes::new(0.0);
    let mut points = Vec::with_capacity(parts.iter().map(|part| part.points.len()).sum());
    for (index, part) in parts.into_iter().enumerate() {
        if index == 0 {
            normals = part.votes;
        } else {
            normals.add_all(&part.votes);
        }
        points.extend(part.points.into_iter().filter(|point| point.is_kept_at(level)));
    }
    while points.len() > limit {
        level += 1;
        points.retain(|point| point.is_kept_at(level));
    }
    let by = |left: &BandPoint, right: &BandPoint| left.sort_key().cmp(&right.sort_key());
    sort_along(&mut points, |point| point.along_mm, by);
    SeamBand { seam_index, anchor, points, points_in_corridor, thinning: level, normals }
}
