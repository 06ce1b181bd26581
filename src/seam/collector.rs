//! Takes one part of a scan and keeps what lies near a seam.
//!
//! In: blocks of points or runs of triangles, Scanner frame, mm. Out (by `Corridors::bands`): compact points, Car frame.
//! Memory: a corridor that is far denser than useful is thinned by a rule on the coordinates alone (a hash), so that the
//! same points are kept whatever their order and however the scan is parted.
//! Counts what it drops for being not finite, and remembers how near the scan came if nothing is near.

use nalgebra::Point3;

use super::band::{BandPoint, NormalVotes};
use super::corridors::Corridors;
use crate::scan::{PassedOver, PointBlock, PointSink, Sieve};

/// Points per mm of seam beyond which more do not help: ten per mm² over a corridor of 90 mm.
const USEFUL_POINTS_PER_MM: f64 = 900.0;

/// So many blocks of a part, and then one in so many, say how far they are from the seams, in case that nothing is near: slow,
/// and for a message only.
const BLOCKS_ALL_NOTED: u64 = 32;
const BLOCKS_PER_NOTE: u64 = 32;

/// What one part of a scan has near one seam.
#[derive(Debug)]
pub(super) struct PartialBand {
    pub(super) points: Vec<BandPoint>,
    pub(super) votes: NormalVotes,
    /// Points in the corridor, thinned away or not.
    pub(super) in_corridor: u64,
    /// One point in `2^level` is kept.
    pub(super) level: u32,
    pub(super) limit: usize,
}

/// Collects from one part of a scan. Give its blocks to it, then hand it to [`Corridors::bands`].
#[derive(Debug)]
pub struct Collector<'a> {
    pub(super) corridors: &'a Corridors,
    pub(super) partial: Vec<PartialBand>,
    pub(super) points_seen: u64,
    pub(super) points_not_finite: u64,
    pub(super) nearest_mm: f64,
    blocks_seen: u64,
}

impl<'a> Collector<'a> {
    pub(super) fn new(corridors: &'a Corridors) -> Self {
        let partial = corridors
            .curves
            .iter()
            .map(|curve| {
                let length_mm = curve.distances_mm.last().copied().unwrap_or(0.0);
                PartialBand {
                    points: Vec::new(),
                    votes: NormalVotes::new(length_mm),
                    in_corridor: 0,
                    level: 0,
                    limit: ((length_mm + 40.0) * USEFUL_POINTS_PER_MM) as usize,
                }
            })
            .collect();
        Self {
            corridors,
            partial,
            points_seen: 0,
            points_not_finite: 0,
            nearest_mm: f64::INFINITY,
            blocks_seen: 0,
        }
    }

    /// Tests a point of a near cell exactly and keeps it for each seam that it is near.
    pub(super) fn keep_if_near(&mut self, point: &Point3<f64>, cell: usize, normal: Option<[f32; 3]>) {
        for candidate in self.corridors.cells.candidates(cell) {
            let Some(along_mm) = self.corridors.foot(point, *candidate) else { continue };
            let curve = &self.corridors.curves[candidate.seam as usize];
            let partial = &mut self.partial[candidate.seam as usize];
            let offset = self.corridors.car_from_scanner.point(point) - curve.anchor;
            partial.keep(BandPoint {
                along_mm: along_mm as f32,
                offset_mm: offset.map(|value| value as f32).into(),
            });
            if let (true, Some(normal)) = (curve.wants_normals, normal) {
                let [x, y, z] = normal.map(f64::from);
                let turned = self.corridors.car_from_scanner.vector(&nalgebra::Vector3::new(x, y, z));
                partial.votes.add(along_mm, &turned);
            }
        }
    }

    /// Remembers how far one point of some blocks is from the seams, as long as nothing is near.
    pub(super) fn note_distance(&mut self, point: &Point3<f64>) {
        self.blocks_seen += 1;
        let is_due = self.blocks_seen <= BLOCKS_ALL_NOTED || self.blocks_seen.is_multiple_of(BLOCKS_PER_NOTE);
        let is_wanted = is_due && self.partial.iter().all(|partial| partial.in_corridor == 0);
        if is_wanted && point.iter().all(|value| value.is_finite()) {
            self.nearest_mm = self.nearest_mm.min(self.corridors.distance_mm(point));
        }
    }
}

impl PointSink for Collector<'_> {
    fn take(&mut self, block: &PointBlock<'_>) {
        if block.is_empty() {
            return;
        }
        self.points_seen += block.len() as u64;
        let sieve = self.corridors.cells.sieve();
        let coordinates = block.x_mm.iter().zip(block.y_mm).zip(block.z_mm);
        let mut not_finite = 0;
        for (index, ((x_mm, y_mm), z_mm)) in coordinates.enumerate() {
            not_finite += u64::from(!(x_mm + y_mm + z_mm).is_finite());
            if let Some(cell) = sieve.cell([*x_mm, *y_mm, *z_mm]) {
                let normal = block.normals.and_then(|normals| normals.get(index)).copied();
                self.keep_if_near(&Point3::new(*x_mm, *y_mm, *z_mm), cell, normal);
            }
        }
        self.points_not_finite += not_finite;
        self.note_distance(&block.point(0));
    }

    fn sieve(&self) -> Option<&Sieve> {
        Some(self.corridors.cells.sieve())
    }

    fn wants_normals(&self) -> bool {
        self.corridors.curves.iter().any(|curve| curve.wants_normals)
    }

    fn pass_over(&mut self, run: &PassedOver<'_>) {
        self.points_seen += run.count;
        self.points_not_finite += run.not_finite;
        if let Some(first) = run.examples.first() {
            self.note_distance(first);
        }
    }
}

impl PartialBand {
    pub(super) fn keep(&mut self, point: BandPoint) {
        self.in_corridor += 1;
        if point.is_kept_at(self.level) {
            self.points.push(point);
            while self.points.len() > self.limit {
                self.level += 1;
                let level = self.level;
                self.points.retain(|kept| kept.is_kept_at(level));
            }
        }
    }
}
