//! The corridors round all seams of a plan, ready to be asked about points.
//!
//! In: a plan and where the car stands in the scanner's frame. Out: for a point, the seams whose curve passes within
//! 45 mm, with the exact foot on each. Units: mm. Frame: points Scanner, feet along the plan's curves.
//! Method: the curves are carried into the scanner's frame, so that dropped points are never transformed; from the coarse
//! cell's sample the foot is reached by a jump along the tangent and a short walk downhill.
//! Does not hold points.

use nalgebra::{Point3, Vector3};

use super::band::{self, BandParts, Gathered};
use super::collector::Collector;
use super::near_cells::{Candidate, NearCells};
use crate::frames::{Car, Scanner};
use crate::geometry::RigidTransform;
use crate::plan::Plan;

/// How far from its curve a seam's points are gathered, mm (common practice for set-backs of up to 40 mm).
pub const CORRIDOR_HALF_WIDTH_MM: f64 = 45.0;
/// How far beyond the ends of its curve a seam's points are gathered, mm.
pub(super) const END_MARGIN_MM: f64 = 20.0;

/// One seam's curve in the scanner's frame.
#[derive(Debug)]
pub(super) struct ScannerCurve {
    pub(super) positions: Vec<Point3<f64>>,
    pub(super) tangents: Vec<Vector3<f64>>,
    pub(super) distances_mm: Vec<f64>,
    /// True where the plan does not say which side is outside, so that normals of the scan are worth keeping.
    pub(super) wants_normals: bool,
    /// Origin of the compact coordinates, Car frame.
    pub(super) anchor: Point3<f64>,
}

/// All corridors of a plan; shared by the collectors of all parts.
#[derive(Debug)]
pub struct Corridors {
    pub(super) curves: Vec<ScannerCurve>,
    pub(super) cells: NearCells,
    pub(super) car_from_scanner: RigidTransform<Car, Scanner>,
}

impl Corridors {
    /// Lays corridors of ±45 mm round the plan's curves.
    #[must_use]
    pub fn new(plan: &Plan, scanner_from_car: RigidTransform<Scanner, Car>) -> Self {
        let curves: Vec<ScannerCurve> = plan
            .seams
            .iter()
            .map(|seam| {
                let samples = seam.curve.positions();
                let tangents = (0..samples.len())
                    .map(|index| scanner_from_car.vector(&seam.curve.sample_frame(index).along))
                    .collect();
                ScannerCurve {
                    positions: samples.iter().map(|sample| scanner_from_car.point(sample)).collect(),
                    tangents,
                    distances_mm: seam.curve.distances_mm().to_vec(),
                    wants_normals: !seam.curve.has_given_normals(),
                    anchor: samples[samples.len() / 2],
                }
            })
            .collect();
        let samples: Vec<Vec<Point3<f64>>> = curves.iter().map(|curve| curve.positions.clone()).collect();
        let reach_mm = CORRIDOR_HALF_WIDTH_MM.hypot(END_MARGIN_MM);
        Self {
            cells: NearCells::new(&samples, reach_mm),
            curves,
            car_from_scanner: scanner_from_car.inverse(),
        }
    }

    /// An empty collector, for one part of a scan.
    #[must_use]
    pub fn collector(&self) -> Collector<'_> {
        Collector::new(self)
    }

    /// Hands out what the collectors found to the seams; give them in part order. The bands of the second value are
    /// still to be made from the first.
    #[must_use]
    pub fn by_seam(&self, collectors: Vec<Collector<'_>>) -> (Vec<BandParts>, Gathered) {
        band::by_seam(self, collectors)
    }

    /// Puts together what the collectors found; give them in part order.
    #[must_use]
    pub fn bands(&self, collectors: Vec<Collector<'_>>) -> Gathered {
        let (parts, counted) = self.by_seam(collectors);
        Gathered { bands: parts.into_iter().map(BandParts::into_band).collect(), ..counted }
    }

    /// The foot of a point on one candidate seam, mm along it, if the point is in the corridor.
    pub(super) fn foot(&self, point: &Point3<f64>, candidate: Candidate) -> Option<f64> {
        let curve = &self.curves[candidate.seam as usize];
        let sample = curve.walk_to_nearest(point, candidate.sample as usize);
        let offset = point - curve.positions[sample];
        let ahead_mm = offset.dot(&curve.tangents[sample]);
        let across_sq_mm2 = offset.norm_squared() - ahead_mm * ahead_mm;
        let last = curve.positions.len() - 1;
        let slack_mm = if sample == 0 || sample == last { END_MARGIN_MM } else { f64::INFINITY };
        let is_near =
            across_sq_mm2 <= CORRIDOR_HALF_WIDTH_MM * CORRIDOR_HALF_WIDTH_MM && ahead_mm.abs() <= slack_mm;
        is_near.then(|| curve.distances_mm[sample] + ahead_mm)
    }

    /// Distance from a point to the nearest curve sample of all seams, mm; slow, for messages only.
    pub(super) fn distance_mm(&self, point: &Point3<f64>) -> f64 {
        let samples = self.curves.iter().flat_map(|curve| curve.positions.iter().step_by(8));
        samples.map(|sample| (point - sample).norm_squared()).fold(f64::INFINITY, f64::min).sqrt()
    }
}

impl ScannerCurve {
    pub(super) fn walk_to_nearest(&self, point: &Point3<f64>, start: usize) -> usize {
        let last = self.positions.len() - 1;
        let distance_sq = |index: usize| (point - self.positions[index]).norm_squared();
        let step_mm = self.distances_mm[last] / last as f64;
        let jump = (point - self.positions[start]).dot(&self.tangents[start]) / step_mm;
        let mut here = (start as f64 + jump).round().clamp(0.0, last as f64) as usize;
        let mut best = distance_sq(here);
        if distance_sq(start) < best {
            here = start;
            best = distance_sq(start);
        }
        loop {
            let after = (here + 1).min(last);
            let before = here.saturating_sub(1);
            let (ahead, behind) = (distance_sq(after), distance_sq(before));
            let (next, distance) = if ahead < behind { (after, ahead) } else { (before, behind) };
            if distance >= best {
                return here;
            }
            (here, best) = (next, distance);
        }
    }
}
