//! The scanner at work on one seam: rows of points across, one after the other.
//!
//! In: a seam with its true shape and curve, scanner, faults. Out: points with normals, row by row, into a sink.
//! Frame: Car before the scan's rigid displacement; mm. Order: rows along the curve, datum panel before other panel.
//! Method: row and column places are a lattice of the asked spacing, each jittered by up to a quarter of it (a mesh is
//! not jittered); each point is seen by one of the views that can see it, chosen at random.
//! Normals are the section's: the small lean along the seam of a panel whose gap tapers is left out.

use nalgebra::{Point2, Point3, Vector2, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::holes::Holes;
use super::noise::{NoiseField, mix};
use super::settings::{Rehearsal, SeamShape};
use super::sight::Sight;
use super::true_section::TrueSection;
use crate::geometry::{Curve, CurveFrame};
use crate::plan::Seam;

/// One scanned point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScannedPoint {
    pub position: Point3<f64>,
    pub normal: Vector3<f64>,
    /// Where on the panels it was taken, unless it belongs to neither.
    pub site: Option<Site>,
}

/// A point's place in the lattice of one seam.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Site {
    pub row: usize,
    /// 0: datum panel, 1: other panel.
    pub panel: usize,
    /// Steps from the hem's tangent point, positive round the hem.
    pub column: i64,
}

/// One seam under the scanner.
pub struct Sweep<'a> {
    seam: &'a Seam,
    shape: &'a SeamShape,
    settings: &'a Rehearsal,
    curve: &'a Curve,
    holes: &'a Holes,
    /// Points of other seams' true curves; what is nearer to one of them is that seam's to scan.
    rivals: Vec<Point3<f64>>,
    view_offsets: &'a [Vector3<f64>],
    fields: [[NoiseField; 2]; 2],
    random: ChaCha8Rng,
}

/// Behind this much of the outer surface nothing is shadowed by the other panel, mm: it would have to stand as high.
const NEVER_SHADOWED_MM: f64 = 25.0;
/// Depth over which flying points scatter, mm.
const FLYER_REACH_MM: f64 = 8.0;
/// Height over which stray points scatter, to either side of the surface, mm.
const STRAY_HEIGHT_MM: f64 = 10.0;
/// Jitter to either side, as a share of the spacing.
const JITTER: f64 = 0.25;

impl<'a> Sweep<'a> {
    /// Prepares the sweep. `seed` is this seam's own; `view_offsets` are shared by all seams.
    #[must_use]
    pub fn new(
        (seam, curve): (&'a Seam, &'a Curve),
        settings: &'a Rehearsal,
        holes: &'a Holes,
        rivals: Vec<Point3<f64>>,
        view_offsets: &'a [Vector3<f64>],
        seed: u64,
    ) -> Self {
        let scanner = &settings.scanner;
        let fields = [1, 2].map(|panel| {
            [
                NoiseField::new(mix(seed ^ panel), scanner.correlated_noise_mm, scanner.correlated_length_mm),
                NoiseField::new(mix(seed ^ (panel + 8)), scanner.long_noise_mm, scanner.long_length_mm),
            ]
        });
        let random = ChaCha8Rng::seed_from_u64(mix(seed));
        let shape = settings.shape_of(&seam.id.0);
        Self { seam, shape, settings, curve, holes, rivals, view_offsets, fields, random }
    }

    /// Scans the whole seam.
    pub fn run(mut self, sink: &mut dyn FnMut(&ScannedPoint)) {
        let spacing_mm = self.settings.scanner.spacing_mm;
        let row_count = (self.curve.length_mm() / spacing_mm).floor() as usize + 1;
        for row in 0..row_count {
            let along_mm = row as f64 * spacing_mm + self.jitter_mm();
            let along_mm = along_mm.clamp(0.0, self.curve.length_mm());
            self.scan_row(row, along_mm, sink);
        }
    }

    fn jitter_mm(&mut self) -> f64 {
        if self.settings.output.mesh {
            return 0.0;
        }
        self.random.random_range(-JITTER..JITTER) * self.settings.scanner.spacing_mm
    }

    fn scan_row(&mut self, row: usize, along_mm: f64, sink: &mut dyn FnMut(&ScannedPoint)) {
        let section = TrueSection::new(self.seam, self.shape, along_mm);
        let sight = Sight::new(&section, &self.settings.scanner);
        let frame = self.curve.frame_at(along_mm);
        let reach_mm = self.shape.width_mm + 20.0;
        let rivals: Vec<Point3<f64>> = self
            .rivals
            .iter()
            .filter(|rival| (*rival - frame.origin).norm() < 2.0 * reach_mm)
            .copied()
            .collect();
        let spacing_mm = self.settings.scanner.spacing_mm;
        for panel in 0..2 {
            let (from_mm, to_mm) = section.profiles[panel].span();
            let columns = (from_mm / spacing_mm).ceil() as i64..=(to_mm / spacing_mm).floor() as i64;
            for column in columns {
                let q_mm = column as f64 * spacing_mm + self.jitter_mm();
                if self.holes.cover(panel, along_mm, q_mm) {
                    continue;
                }
                let Some(mut point) = self.scan_place(&section, &sight, &frame, panel, q_mm) else {
                    continue;
                };
                let across_mm = (point.position - frame.origin).dot(&frame.across());
                point.position += frame.outward * self.shape.lift_mm(panel, across_mm, along_mm);
                if is_nearer_to_rival(&point.position, &frame.origin, &rivals) {
                    continue;
                }
                point.site = Some(Site { row, panel, column });
                sink(&self.spoil(point, &frame, &sight, q_mm));
            }
        }
        self.scan_structure(&sight, &frame, sink);
    }

    fn scan_place(
        &mut self,
        section: &TrueSection,
        sight: &Sight,
        frame: &CurveFrame,
        panel: usize,
        q_mm: f64,
    ) -> Option<ScannedPoint> {
        let profile = &section.profiles[panel];
        let place = section.in_section(panel, &profile.point(q_mm));
        let normal = section.direction_in_section(panel, &profile.normal(q_mm));
        let view = self.choose_view(sight, &place, &normal, q_mm)?;
        let smoothed = profile.smoothed_point(q_mm, self.settings.scanner.smoothing_mm);
        let smoothed = section.in_section(panel, &smoothed);
        let exact = in_space(frame, &smoothed);
        let normal = frame.across() * normal.x + frame.outward * normal.y;
        let [short, long] = &self.fields[panel];
        let white_mm = match self.settings.scanner.white_noise_mm {
            0.0 => 0.0,
            sd_mm => sd_mm * self.random.sample::<f64, _>(StandardNormal),
        };
        let noise_mm = short.at(&exact) + long.at(&exact) + white_mm;
        Some(ScannedPoint {
            position: exact + normal * noise_mm + self.view_offsets[view],
            normal,
            site: None,
        })
    }

    fn choose_view(
        &mut self,
        sight: &Sight,
        place: &Point2<f64>,
        normal: &Vector2<f64>,
        q_mm: f64,
    ) -> Option<usize> {
        if q_mm < -NEVER_SHADOWED_MM && normal.y > 0.95 {
            return Some(self.random.random_range(0..sight.view_count().max(1)));
        }
        let first = if self.settings.output.mesh {
            0
        } else {
            self.random.random_range(0..sight.view_count().max(1))
        };
        (0..sight.view_count())
            .map(|step| (first + step) % sight.view_count())
            .find(|view| sight.sees(*view, place, normal))
    }

    /// Turns a point into a stray or a flyer, rarely.
    fn spoil(&mut self, point: ScannedPoint, frame: &CurveFrame, sight: &Sight, q_mm: f64) -> ScannedPoint {
        let faults = &self.settings.faults;
        if faults.stray_share > 0.0 && self.random.random_bool(faults.stray_share.min(1.0)) {
            let across_mm = self.random.random_range(-1.0..1.0) * self.shape.width_mm;
            let height_mm = self.random.random_range(-1.0..1.0) * STRAY_HEIGHT_MM;
            let position = in_space(frame, &Point2::new(across_mm, height_mm));
            return ScannedPoint { position, site: None, ..point };
        }
        let is_hem = q_mm > 0.0;
        if is_hem && faults.flyer_share > 0.0 && self.random.random_bool(faults.flyer_share.min(1.0)) {
            let view = self.random.random_range(0..sight.view_count().max(1));
            let direction = sight.direction(view);
            let in_car =
                frame.across() * direction.x + frame.along * direction.y + frame.outward * direction.z;
            let away_mm = self.random.random_range(0.0..FLYER_REACH_MM);
            return ScannedPoint { position: point.position - in_car * away_mm, site: None, ..point };
        }
        point
    }

    /// The structure that shows through the gap.
    fn scan_structure(&mut self, sight: &Sight, frame: &CurveFrame, sink: &mut dyn FnMut(&ScannedPoint)) {
        let Some(depth_mm) = self.settings.faults.structure_depth_mm else { return };
        let spacing_mm = self.settings.scanner.spacing_mm;
        let half_count = (20.0 / spacing_mm) as i64;
        for column in -half_count..=half_count {
            let place = Point2::new(column as f64 * spacing_mm + self.jitter_mm(), -depth_mm);
            if (0..sight.view_count()).any(|view| sight.is_lit(view, &place)) {
                let noise_mm =
                    self.settings.scanner.white_noise_mm * self.random.sample::<f64, _>(StandardNormal);
                let position = in_space(frame, &place) + frame.outward * noise_mm;
                sink(&ScannedPoint { position, normal: frame.outward, site: None });
            }
        }
    }
}

fn in_space(frame: &CurveFrame, place: &Point2<f64>) -> Point3<f64> {
    frame.origin + frame.across() * place.x + frame.outward * place.y
}

fn is_nearer_to_rival(position: &Point3<f64>, own: &Point3<f64>, rivals: &[Point3<f64>]) -> bool {
    let own_sq_mm2 = (position - own).norm_squared();
    rivals.iter().any(|rival| (position - rival).norm_squared() < own_sq_mm2)
}
