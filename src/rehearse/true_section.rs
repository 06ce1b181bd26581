//! The true section of a seam: two profiles that face each other across mid-gap, and the measurands between them.
//!
//! In: the shape of a seam and a distance along the true curve. Out: both profiles and the true values.
//! Frame: `u` across from the left panel to the right one, `v` outward, origin on the true curve. The datum panel's
//! outer surface, continued, passes through the origin and is level there, and both edges are as far from it: the
//! frame *is* the levelled, centred section frame in which gap and flush are defined, so edge gap and mid-gap flush are
//! the settings' own values, exactly. Panels are swept along the curve by its frames, and the plane through a station
//! across the tangent holds exactly that station's profiles, however the curve bends and the gap tapers.
//! Does not round, and shares nothing with measuring.

use nalgebra::{Point2, Vector2};

use super::profile::{PanelProfile, ProfileWish};
use super::settings::SeamShape;
use crate::plan::{FlushMethod, GapMethod, Seam, Side};

/// Both panels' profiles at one place of a seam. Index 0: datum panel, 1: other panel.
#[derive(Debug, Clone)]
pub struct TrueSection {
    pub profiles: [PanelProfile; 2],
    /// Sign that turns a panel's own `xi` into `u`: +1 for the left panel, −1 for the right one.
    pub xi_sign: [f64; 2],
    gap_mm: f64,
    flush_mm: f64,
}

impl TrueSection {
    /// The section at a distance along the true curve.
    #[must_use]
    pub fn new(seam: &Seam, shape: &SeamShape, along_mm: f64) -> Self {
        let gap_mm =
            shape.gap_mm.as_ref().map_or(seam.gap.tolerance.nominal_mm, |gap_mm| gap_mm.at(along_mm));
        let flush_mm =
            shape.flush_mm.as_ref().map_or(seam.flush.tolerance.nominal_mm, |flush_mm| flush_mm.at(along_mm));
        let datum = ProfileWish::new(&shape.datum, -0.5 * gap_mm, shape.width_mm);
        let other = ProfileWish {
            height_mm: flush_mm,
            rise_rad: shape.tilt_deg.at(along_mm).to_radians(),
            ..ProfileWish::new(&shape.other, -0.5 * gap_mm, shape.width_mm)
        };
        let datum_sign = if seam.datum_side == Side::Left { 1.0 } else { -1.0 };
        Self {
            profiles: [PanelProfile::new(&datum), PanelProfile::new(&other)],
            xi_sign: [datum_sign, -datum_sign],
            gap_mm,
            flush_mm,
        }
    }

    /// A panel's own point in section axes (u, v).
    #[must_use]
    pub fn in_section(&self, panel: usize, own: &Point2<f64>) -> Point2<f64> {
        Point2::new(own.x * self.xi_sign[panel], own.y)
    }

    /// A panel's own direction in section axes.
    #[must_use]
    pub fn direction_in_section(&self, panel: usize, own: &Vector2<f64>) -> Vector2<f64> {
        Vector2::new(own.x * self.xi_sign[panel], own.y)
    }

    /// The true gap by a method; `None` where a panel does not come to the asked depth.
    #[must_use]
    pub fn gap_mm(&self, method: GapMethod) -> Option<f64> {
        match method {
            GapMethod::Edge => Some(self.gap_mm),
            GapMethod::Shortest => Some(self.shortest_mm()),
            GapMethod::Depth { depth_mm } => {
                let [datum, other] = [0, 1].map(|panel| self.profiles[panel].reach_at_height(-depth_mm));
                Some(-datum? - other?)
            }
        }
    }

    /// The true flush by a method.
    ///
    /// Straightedge: the edge lies along the chord of the datum's outer surface (continued over its hem) from below
    /// the edge point back to `rest`, moved out until it touches: on a crown that is the parallel tangent, in a hollow
    /// the chord itself. The other panel is read at `reach` past its own edge point, along the straightedge.
    #[must_use]
    pub fn flush_mm(&self, method: FlushMethod) -> f64 {
        match method {
            FlushMethod::MidGap => self.flush_mm,
            FlushMethod::Straightedge { rest_mm, reach_mm } => self.straightedge_mm(rest_mm, reach_mm),
        }
    }

    /// Least distance between the profiles: nearest points by turns, from several starts.
    fn shortest_mm(&self) -> f64 {
        let flip = |own: &Point2<f64>| Point2::new(-own.x, own.y);
        let (edge_q_mm, _) = self.profiles[0].edge();
        let starts = [-2.0, 0.0, 0.25, 0.5, 0.75, 1.0, 1.5];
        let distances_mm = starts.map(|share: f64| {
            let mut place = self.profiles[0].point(share * edge_q_mm);
            let mut distance_mm = f64::INFINITY;
            for _ in 0..ALTERNATIONS {
                let facing = flip(&self.profiles[1].point(self.profiles[1].nearest(&flip(&place))));
                place = self.profiles[0].point(self.profiles[0].nearest(&facing));
                let next_mm = (facing - place).norm();
                if distance_mm - next_mm < 1e-14 {
                    break;
                }
                distance_mm = next_mm;
            }
            distance_mm
        });
        distances_mm.into_iter().fold(f64::INFINITY, f64::min)
    }

    fn straightedge_mm(&self, rest_mm: f64, reach_mm: f64) -> f64 {
        let datum_edge_mm = self.profiles[0].edge().1.x;
        let other_edge_mm = self.profiles[1].edge().1.x;
        let near = Point2::new(datum_edge_mm, self.profiles[0].skin_height(datum_edge_mm));
        let far_xi_mm = datum_edge_mm - rest_mm;
        let far = Point2::new(far_xi_mm, self.profiles[0].skin_height(far_xi_mm));
        let along = (near - far).normalize();
        let out = Vector2::new(-along.y, along.x);
        let mut lift_mm = 0.0_f64;
        for step in 0..=STRAIGHTEDGE_STEPS {
            let xi_mm = far_xi_mm + rest_mm * step as f64 / STRAIGHTEDGE_STEPS as f64;
            let touch = Point2::new(xi_mm, self.profiles[0].skin_height(xi_mm));
            lift_mm = lift_mm.max((touch - near).dot(&out));
        }
        // The other panel's own xi runs the other way; its surface at `reach` behind its edge.
        let read_xi_mm = other_edge_mm - reach_mm;
        let read = Point2::new(-read_xi_mm, self.profiles[1].skin_height(read_xi_mm));
        (read - near).dot(&out) - lift_mm
    }
}

/// Turns of nearest points; they stop much earlier unless the profiles run parallel.
const ALTERNATIONS: usize = 2000;
/// Places at which a straightedge may touch; 1/1000 of 50 mm on a radius of 300 mm misses the highest by 1e-6 mm.
const STRAIGHTEDGE_STEPS: usize = 1000;
