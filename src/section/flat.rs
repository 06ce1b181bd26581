//! A seam laid out flat, and the small turn that levels one section of it.
//!
//! In: a band and a track. Out: points (along, across, height), sorted along; slabs of them. Units: mm.

use super::cells::CellGrid;
use super::track::Track;
use crate::geometry::{Curve, CurveFrame, sort_along};
use crate::seam::SeamBand;

/// A point in seam coordinates, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlatPoint {
    /// Along the curve.
    pub s_mm: f32,
    /// Across, from the left-hand panel to the right-hand one.
    pub x_mm: f32,
    /// Outward.
    pub z_mm: f32,
}

/// A seam's points in the coordinates of one track.
#[derive(Debug, Clone)]
pub struct FlatSeam {
    pub track: Track,
    /// Sorted by `s_mm`.
    pub points: Vec<FlatPoint>,
    /// Means of the points in small cells.
    pub cells: CellGrid,
}

impl FlatSeam {
    /// Lays a band out along the plan's own curve.
    #[must_use]
    pub fn along_plan(band: &SeamBand, curve: &Curve) -> Self {
        Self::new(band, Track::of(curve), |along_mm| along_mm)
    }

    /// Lays a band out along a track; `rough` turns the plan's distances into the track's, to a few millimetres.
    #[must_use]
    pub fn new(band: &SeamBand, track: Track, rough: impl Fn(f64) -> f64) -> Self {
        let flatten = |point| track.flatten(&band.position(point), rough(f64::from(point.along_mm)));
        let mut points: Vec<FlatPoint> = band.points.iter().filter_map(flatten).collect();
        // Nearly sorted already; ties are broken by place so that the input's order cannot matter.
        let by = |left: &FlatPoint, right: &FlatPoint| {
            let across = left.x_mm.total_cmp(&right.x_mm).then(left.z_mm.total_cmp(&right.z_mm));
            left.s_mm.total_cmp(&right.s_mm).then(across)
        };
        sort_along(&mut points, |point| point.s_mm, by);
        let cells = CellGrid::of(&points, track.length_mm());
        Self { track, points, cells }
    }

    /// The points within a distance of a station, mm.
    #[must_use]
    pub fn slab(&self, s_mm: f64, half_mm: f64) -> &[FlatPoint] {
        let first = self.points.partition_point(|point| f64::from(point.s_mm) < s_mm - half_mm);
        let last = self.points.partition_point(|point| f64::from(point.s_mm) <= s_mm + half_mm);
        &self.points[first..last.max(first)]
    }
}

/// A shift and a turn within a section: from the track's axes to axes at mid-gap, level with the datum panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tilt {
    /// Mid-gap in the track's axes, mm.
    x_mm: f64,
    z_mm: f64,
    /// Slope of the datum panel at mid-gap in the track's axes, rad, and its sine and cosine.
    angle_rad: f64,
    sine: f64,
    cosine: f64,
}

impl Default for Tilt {
    fn default() -> Self {
        Self { x_mm: 0.0, z_mm: 0.0, angle_rad: 0.0, sine: 0.0, cosine: 1.0 }
    }
}

impl Tilt {
    /// Track axes to level axes.
    #[inline]
    #[must_use]
    pub fn level(&self, x_mm: f64, z_mm: f64) -> (f64, f64) {
        let (across, up) = (x_mm - self.x_mm, z_mm - self.z_mm);
        (self.cosine * across + self.sine * up, self.cosine * up - self.sine * across)
    }

    /// The farthest across, in the track's axes, that anything can be that lies in level axes within `u_mm` across and
    /// `v_mm` up or down, mm.
    #[must_use]
    pub fn farthest_across_mm(&self, u_mm: f64, v_mm: f64) -> f64 {
        self.x_mm.abs() + u_mm * self.cosine.abs() + v_mm * self.sine.abs()
    }

    /// Moves the origin to a place given in level axes and turns further by an angle.
    pub fn refine(&mut self, u_mm: f64, v_mm: f64, slope: f64) {
        self.x_mm += self.cosine * u_mm - self.sine * v_mm;
        self.z_mm += self.sine * u_mm + self.cosine * v_mm;
        self.angle_rad += slope.atan();
        (self.sine, self.cosine) = self.angle_rad.sin_cos();
    }

    /// The section frame in the Car frame.
    #[must_use]
    pub fn frame(&self, track_frame: &CurveFrame) -> CurveFrame {
        let across = track_frame.across();
        CurveFrame {
            origin: track_frame.origin + across * self.x_mm + track_frame.outward * self.z_mm,
            along: track_frame.along,
            outward: track_frame.outward * self.cosine - across * self.sine,
        }
    }
}
