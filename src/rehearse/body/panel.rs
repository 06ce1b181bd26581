//! One panel: a blank in surface coordinates, bent round its hem.
//!
//! In: sides (seam lines with half their gap, free borders), corner radius, hem, a rigid move. Out: points in space.
//! Method: `depth(a, b)` is how far inside the panel's outline a place is; sides meet in corners of `corner_mm` radius.
//! What lies deeper than the hem radius is outer surface; the rest of the blank is wrapped round the hem, then goes on as
//! flange. The hem is tangent to the outer surface and square to the outline, corners included.
//! The rigid move carries surface, hem and flange together.

use nalgebra::{Isometry3, Point3, Vector2, Vector3};

use super::surface::{BodySurface, Patch, Relief};
use crate::rehearse::along::Along;

/// A line on the body, as a graph over the other surface coordinate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Line {
    /// `b = b0 + slope·a + bow·a²`: runs from nose to rear.
    Along { b0_mm: f64, slope: f64, bow_per_mm: f64 },
    /// `a = a0 + slope·|b| smoothed + bow·b²`: runs from left to right.
    Across { a0_mm: f64, bow_per_mm: f64 },
}

impl Line {
    /// The place on the line at the running coordinate.
    #[must_use]
    pub fn at(&self, run_mm: f64) -> Vector2<f64> {
        match *self {
            Self::Along { b0_mm, slope, bow_per_mm } => {
                Vector2::new(run_mm, b0_mm + slope * run_mm + bow_per_mm * run_mm * run_mm)
            }
            Self::Across { a0_mm, bow_per_mm } => Vector2::new(a0_mm + bow_per_mm * run_mm * run_mm, run_mm),
        }
    }

    /// The running coordinate of a place.
    #[must_use]
    pub fn run_mm(&self, place: &Vector2<f64>) -> f64 {
        match self {
            Self::Along { .. } => place.x,
            Self::Across { .. } => place.y,
        }
    }

    /// First-order distance from the line, positive towards larger b (or larger a).
    #[must_use]
    pub fn distance_mm(&self, place: &Vector2<f64>) -> f64 {
        match *self {
            Self::Along { slope, bow_per_mm, .. } => {
                let steep = slope + 2.0 * bow_per_mm * place.x;
                (place.y - self.at(place.x).y) / steep.hypot(1.0)
            }
            Self::Across { bow_per_mm, .. } => {
                let steep = 2.0 * bow_per_mm * place.y;
                (place.x - self.at(place.y).x) / steep.hypot(1.0)
            }
        }
    }

    /// Where two lines of different kinds cross, by fixed-point steps.
    #[must_use]
    pub fn crossing(&self, other: &Self) -> Vector2<f64> {
        let (along, across) = if matches!(self, Self::Along { .. }) { (self, other) } else { (other, self) };
        let mut place = Vector2::zeros();
        for _ in 0..100 {
            place = along.at(across.at(place.y).x);
        }
        place
    }
}

/// One side of a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelSide {
    pub line: Line,
    /// +1 where the panel lies on the line's positive side.
    pub sign: f64,
    /// Gap by the line's running coordinate; `None` for a free border.
    pub gap_mm: Option<Along>,
}

/// A panel of the body.
#[derive(Debug, Clone, PartialEq)]
pub struct BodyPanel {
    pub id: String,
    pub sides: Vec<PanelSide>,
    pub corner_mm: f64,
    pub hem_radius_mm: f64,
    pub hem_turn_rad: f64,
    pub flange_mm: f64,
    /// Rigid move of the whole panel, hems included. Car frame, mm.
    pub moved: Isometry3<f64>,
    /// Shape error of this panel alone.
    pub reliefs: Vec<Relief>,
}

/// A place of a panel in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PanelPoint {
    pub position: Point3<f64>,
    pub normal: Vector3<f64>,
    /// The outer surface's normal at the foot, and the direction from the panel to its outline.
    pub skin_normal: Vector3<f64>,
    pub towards_edge: Vector3<f64>,
    /// Angle round the hem, rad; 0 on the outer surface, the full turn on the flange.
    pub hem_rad: f64,
}

impl BodyPanel {
    /// How far inside the outline a place is, mm.
    #[must_use]
    pub fn depth_mm(&self, place: &Vector2<f64>) -> f64 {
        let mut depth_mm = f64::INFINITY;
        for side in &self.sides {
            let half_gap_mm = side.gap_mm.as_ref().map_or(0.0, |gap| 0.5 * gap.at(side.line.run_mm(place)));
            let next_mm = side.sign * side.line.distance_mm(place) - half_gap_mm;
            depth_mm = if depth_mm < self.corner_mm && next_mm < self.corner_mm {
                self.corner_mm - (self.corner_mm - depth_mm).hypot(self.corner_mm - next_mm)
            } else {
                depth_mm.min(next_mm)
            };
        }
        depth_mm
    }

    fn inwards(&self, place: &Vector2<f64>) -> Vector2<f64> {
        let h = 1e-3;
        let difference = |step: Vector2<f64>| self.depth_mm(&(place + step)) - self.depth_mm(&(place - step));
        Vector2::new(difference(Vector2::new(h, 0.0)), difference(Vector2::new(0.0, h)))
            .try_normalize(1e-12)
            .unwrap_or_else(Vector2::x)
    }

    /// The outer surface, continued beyond the outline, moved with the panel.
    #[must_use]
    pub fn skin(&self, surface: &BodySurface, place: &Vector2<f64>) -> Patch {
        let patch = surface.patch(place.x, place.y, &self.reliefs);
        Patch {
            point: self.moved * patch.point,
            along_a: self.moved * patch.along_a,
            along_b: self.moved * patch.along_b,
        }
    }

    /// How much blank lies outside the hem's tangent line, mm.
    #[must_use]
    pub fn wrap_mm(&self) -> f64 {
        self.hem_radius_mm * self.hem_turn_rad + self.flange_mm
    }

    /// The foot on the hem's tangent line of a place outside it.
    fn foot(&self, place: &Vector2<f64>) -> Vector2<f64> {
        let mut foot = *place;
        for _ in 0..4 {
            foot += self.inwards(&foot) * (self.hem_radius_mm - self.depth_mm(&foot));
        }
        foot
    }

    /// The point in space of a place of the blank; `None` outside it.
    #[must_use]
    pub fn point(&self, surface: &BodySurface, place: &Vector2<f64>) -> Option<PanelPoint> {
        let outside_mm = self.hem_radius_mm - self.depth_mm(place);
        if outside_mm > self.wrap_mm() {
            return None;
        }
        if outside_mm <= 0.0 {
            let patch = self.skin(surface, place);
            let normal = patch.normal();
            return Some(PanelPoint {
                position: patch.point,
                normal,
                skin_normal: normal,
                towards_edge: patch.along_a,
                hem_rad: 0.0,
            });
        }
        Some(self.hem_point(surface, &self.foot(place), outside_mm))
    }

    /// The point `wrapped_mm` beyond a foot on the hem's tangent line.
    #[must_use]
    pub fn hem_point(&self, surface: &BodySurface, foot: &Vector2<f64>, wrapped_mm: f64) -> PanelPoint {
        let patch = self.skin(surface, foot);
        let skin_normal = patch.normal();
        let inwards = self.inwards(foot);
        let run = patch.along_a * -inwards.y + patch.along_b * inwards.x;
        let out = run.cross(&skin_normal).normalize();
        let reference = patch.along_a * inwards.x + patch.along_b * inwards.y;
        let out = if out.dot(&reference) > 0.0 { -out } else { out };
        let radius_mm = self.hem_radius_mm;
        let hem_rad = (wrapped_mm / radius_mm).min(self.hem_turn_rad);
        let (sine, cosine) = hem_rad.sin_cos();
        let flange_mm = wrapped_mm - radius_mm * hem_rad;
        let offset = out * (radius_mm * sine + flange_mm * cosine)
            - skin_normal * (radius_mm * (1.0 - cosine) + flange_mm * sine);
        PanelPoint {
            position: patch.point + offset,
            normal: out * sine + skin_normal * cosine,
            skin_normal,
            towards_edge: out,
            hem_rad,
        }
    }

    /// The foot on the hem's tangent line beside a place on one of the panel's seam lines.
    #[must_use]
    pub fn foot_beside(&self, place: &Vector2<f64>) -> Vector2<f64> {
        self.foot(place)
    }

    /// Gap at the side that is nearest to a place; infinite at a free border.
    #[must_use]
    pub fn nearest_gap_mm(&self, place: &Vector2<f64>) -> f64 {
        let distance = |side: &&PanelSide| side.sign * side.line.distance_mm(place);
        let nearest = self.sides.iter().min_by(|one, two| distance(one).total_cmp(&distance(two)));
        nearest
            .and_then(|side| side.gap_mm.as_ref().map(|gap| gap.at(side.line.run_mm(place))))
            .unwrap_or(f64::INFINITY)
    }
}
