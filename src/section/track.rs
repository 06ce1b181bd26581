//! A curve as a table of frames, one a millimetre, for laying out millions of points.
//!
//! In: a [`Curve`] with outward normals. Out: seam coordinates (along, across, height) of points, mm.
//! Method: frames are tabulated at equal steps and interpolated linearly; the foot is refined twice with the local
//! tangent. The frames turn by less than 0.05 rad over a step on any seam bend of more than 20 mm radius.
//! Does not search: a point's distance along must be known to a few millimetres.

use nalgebra::{Point3, Vector3};

use super::flat::FlatPoint;
use crate::geometry::{Curve, CurveFrame};

/// How far the table reaches beyond both ends, mm.
const OVERHANG_MM: f64 = 25.0;

/// The table of frames.
#[derive(Debug, Clone)]
pub struct Track {
    origins: Vec<Point3<f64>>,
    along: Vec<Vector3<f64>>,
    outward: Vec<Vector3<f64>>,
    length_mm: f64,
}

impl Track {
    /// Tabulates a curve.
    #[must_use]
    pub fn of(curve: &Curve) -> Self {
        let length_mm = curve.length_mm();
        let count = (length_mm + 2.0 * OVERHANG_MM).ceil() as usize + 2;
        let frames: Vec<CurveFrame> =
            (0..count).map(|index| curve.frame_at(index as f64 - OVERHANG_MM)).collect();
        Self {
            origins: frames.iter().map(|frame| frame.origin).collect(),
            along: frames.iter().map(|frame| frame.along).collect(),
            outward: frames.iter().map(|frame| frame.outward).collect(),
            length_mm,
        }
    }

    /// Length of the curve without the overhang, mm.
    #[must_use]
    pub const fn length_mm(&self) -> f64 {
        self.length_mm
    }

    /// The frame at a distance along, axes of unit length.
    #[must_use]
    pub fn frame_at(&self, along_mm: f64) -> CurveFrame {
        let (index, share) = self.place(along_mm);
        let along = mix(&self.along, index, share).normalize();
        let outward = mix(&self.outward, index, share);
        CurveFrame {
            origin: self.origin(index, share),
            along,
            outward: (outward - along * outward.dot(&along)).normalize(),
        }
    }

    /// Seam coordinates of a point whose distance along is known roughly; `None` off the table's ends.
    #[must_use]
    pub fn flatten(&self, point: &Point3<f64>, rough_along_mm: f64) -> Option<FlatPoint> {
        let mut along_mm = rough_along_mm;
        for _ in 0..3 {
            let (index, share) = self.place(along_mm);
            along_mm += (point - self.origin(index, share)).dot(&mix(&self.along, index, share));
        }
        if along_mm < -OVERHANG_MM || along_mm > self.length_mm + OVERHANG_MM {
            return None;
        }
        let (index, share) = self.place(along_mm);
        let tangent = mix(&self.along, index, share);
        let outward = mix(&self.outward, index, share);
        let offset = point - self.origin(index, share);
        Some(FlatPoint {
            s_mm: along_mm as f32,
            x_mm: offset.dot(&tangent.cross(&outward)) as f32,
            z_mm: offset.dot(&outward) as f32,
        })
    }

    fn place(&self, along_mm: f64) -> (usize, f64) {
        let place = (along_mm + OVERHANG_MM).clamp(0.0, (self.origins.len() - 2) as f64);
        (place as usize, along_mm + OVERHANG_MM - (place as usize) as f64)
    }

    fn origin(&self, index: usize, share: f64) -> Point3<f64> {
        let lower = self.origins[index];
        lower + (self.origins[index + 1] - lower) * share
    }
}

fn mix(vectors: &[Vector3<f64>], index: usize, share: f64) -> Vector3<f64> {
    let share = share.clamp(0.0, 1.0);
    vectors[index] * (1.0 - share) + vectors[index + 1] * share
}
