//! A curve as a table of frames, one a millimetre, for laying out millions of points.
//!
//! In: a [`Curve`] with outward normals. Out: seam coordinates (along, across, height) of points, mm.
//! Method: frames are tabulated at equal steps and interpolated linearly; the foot is refined up to twice with the local
//! tangent, until it stands still. The frames turn by less than 0.05 rad over a step on any seam bend of more than 20 mm radius.
//! Does not search: a point's distance along must be known to a few millimetres.

use nalgebra::{Point3, Vector3};

use super::flat::FlatPoint;
use crate::geometry::{Curve, CurveFrame};

/// How far the table reaches beyond both ends, mm.
const OVERHANG_MM: f64 = 25.0;

/// The table of frames.
#[derive(Debug, Clone)]
pub struct Track {
    /// One a millimetre; what is read together lies together.
    frames: Vec<CurveFrame>,
    length_mm: f64,
}

/// A foot that moves less than this stands still, mm: a tenth of what a 32-bit distance along a seam resolves. Across and outward the
/// frame may be as much behind, which changes them by that times its turn per mm: below 1e-6 mm.
const FOOT_STILL_MM: f64 = 5e-6;

impl Track {
    /// Tabulates a curve.
    #[must_use]
    pub fn of(curve: &Curve) -> Self {
        let length_mm = curve.length_mm();
        let count = (length_mm + 2.0 * OVERHANG_MM).ceil() as usize + 2;
        let frames = (0..count).map(|index| curve.frame_at(index as f64 - OVERHANG_MM)).collect();
        Self { frames, length_mm }
    }

    /// Length of the curve without the overhang, mm.
    #[must_use]
    pub const fn length_mm(&self) -> f64 {
        self.length_mm
    }

    /// The frame at a distance along, axes of unit length.
    #[must_use]
    pub fn frame_at(&self, along_mm: f64) -> CurveFrame {
        let stretch = self.stretch(along_mm);
        let along = stretch.along().normalize();
        let outward = stretch.outward();
        CurveFrame {
            origin: stretch.origin(),
            along,
            outward: (outward - along * outward.dot(&along)).normalize(),
        }
    }

    /// Seam coordinates of a point whose distance along is known roughly; `None` off the table's ends.
    #[must_use]
    pub fn flatten(&self, point: &Point3<f64>, rough_along_mm: f64) -> Option<FlatPoint> {
        let mut along_mm = rough_along_mm;
        let mut foot = self.foot(along_mm);
        for _ in 0..3 {
            let step_mm = (point - foot.origin).dot(&foot.along);
            along_mm += step_mm;
            if step_mm.abs() < FOOT_STILL_MM {
                break;
            }
            foot = self.foot(along_mm);
        }
        if along_mm < -OVERHANG_MM || along_mm > self.length_mm + OVERHANG_MM {
            return None;
        }
        let outward = foot.stretch.outward();
        let offset = point - foot.origin;
        Some(FlatPoint {
            s_mm: along_mm as f32,
            x_mm: offset.dot(&foot.along.cross(&outward)) as f32,
            z_mm: offset.dot(&outward) as f32,
        })
    }

    #[inline]
    fn foot(&self, along_mm: f64) -> Foot<'_> {
        let stretch = self.stretch(along_mm);
        Foot { origin: stretch.origin(), along: stretch.along(), stretch }
    }

    #[inline]
    fn stretch(&self, along_mm: f64) -> Stretch<'_> {
        let place = (along_mm + OVERHANG_MM).clamp(0.0, (self.frames.len() - 2) as f64);
        let index = place as usize;
        let pair = &self.frames[index..index + 2];
        Stretch { low: &pair[0], high: &pair[1], share: along_mm + OVERHANG_MM - index as f64 }
    }
}

/// A place on the curve and its direction there.
struct Foot<'a> {
    origin: Point3<f64>,
    along: Vector3<f64>,
    stretch: Stretch<'a>,
}

/// Between two frames of the table; beyond its ends the axes stay and the origin goes on.
struct Stretch<'a> {
    low: &'a CurveFrame,
    high: &'a CurveFrame,
    share: f64,
}

impl Stretch<'_> {
    #[inline]
    fn origin(&self) -> Point3<f64> {
        self.low.origin + (self.high.origin - self.low.origin) * self.share
    }

    #[inline]
    fn along(&self) -> Vector3<f64> {
        self.mix(&self.low.along, &self.high.along)
    }

    #[inline]
    fn outward(&self) -> Vector3<f64> {
        self.mix(&self.low.outward, &self.high.outward)
    }

    #[inline]
    fn mix(&self, low: &Vector3<f64>, high: &Vector3<f64>) -> Vector3<f64> {
        let share = self.share.clamp(0.0, 1.0);
        low * (1.0 - share) + high * share
    }
}
