//! The window through which a section is seen: one scale for both axes, scan points, frame and scale bar.
//!
//! In: a profile and how much of it to show. Out: places in the picture. Units: mm in, picture units out.
//! Does not draw dimensions (`section` does).

use super::ink::Ink;
use super::picture::{Anchor, Area, Picture, Place, Stroke};
use super::section::SectionSettings;
use crate::measure::{Profile, ProfilePoint};
use crate::units::LengthUnit;

const MARGIN: f64 = 14.0;
const HEAD: f64 = 52.0;
/// Room above the surface for dimensions, picture units.
const DIMENSION_ROOM: f64 = 46.0;
const FOOT: f64 = 30.0;
/// Least and greatest height of the window, as shares of its width.
const HEIGHT_SHARES: [f64; 2] = [0.28, 0.62];
/// How deep below the surface a section is shown at most, mm.
const DEEPEST_MM: f64 = 14.0;

pub(super) struct View {
    pub area: Area,
    /// Mid-gap, mm across.
    pub middle_mm: f64,
    per_mm: f64,
    top_v_mm: f64,
    reach_mm: f64,
}

impl View {
    pub fn of(profile: &Profile, settings: &SectionSettings) -> Self {
        let middle_mm = match profile.arcs {
            [Some(one), Some(other)] => (one.edge_u_mm + other.edge_u_mm) / 2.0,
            _ => 0.0,
        };
        let width = settings.width - 2.0 * MARGIN;
        let per_mm = width / (2.0 * settings.reach_mm);
        let (mut low_mm, mut high_mm) = (-1.0f64, 1.0f64);
        for point in &profile.points {
            if (f64::from(point.u_mm) - middle_mm).abs() <= settings.reach_mm {
                low_mm = low_mm.min(f64::from(point.v_mm));
                high_mm = high_mm.max(f64::from(point.v_mm));
            }
        }
        let low_mm = low_mm.max(-DEEPEST_MM) - 1.0;
        let top_v_mm = high_mm.min(DEEPEST_MM) + DIMENSION_ROOM / per_mm;
        let height =
            ((top_v_mm - low_mm) * per_mm + 24.0).clamp(width * HEIGHT_SHARES[0], width * HEIGHT_SHARES[1]);
        let area = Area::new(MARGIN, HEAD, width, height);
        Self { area, middle_mm, per_mm, top_v_mm, reach_mm: settings.reach_mm }
    }

    pub fn height(&self) -> f64 {
        self.area.bottom() + FOOT
    }

    pub fn place(&self, u_mm: f64, v_mm: f64) -> Place {
        let centre = self.area.x + self.area.width / 2.0;
        [centre + (u_mm - self.middle_mm) * self.per_mm, self.area.y + (self.top_v_mm - v_mm) * self.per_mm]
    }

    /// Least and greatest place across that is shown, mm.
    pub fn span_mm(&self) -> (f64, f64) {
        (self.middle_mm - self.reach_mm, self.middle_mm + self.reach_mm)
    }

    /// Height of the gap's dimension line.
    pub fn dimension_y(&self) -> f64 {
        self.area.y + 26.0
    }

    /// A height clear of both hems and their edge points, inside the window.
    pub fn below_edges(&self, profile: &Profile) -> f64 {
        let lowest = profile
            .arcs
            .iter()
            .flatten()
            .map(|arc| self.place(arc.edge_u_mm, arc.edge_v_mm - 0.6 * arc.radius_mm)[1])
            .fold(self.place(0.0, 0.0)[1] + 24.0, f64::max);
        lowest.min(self.area.bottom() - 24.0)
    }

    pub fn draw_points(&self, picture: &mut Picture, profile: &Profile) {
        for is_used in [false, true] {
            let (ink, size) = if is_used { (Ink::GoodLine, 2.2) } else { (Ink::Good, 1.8) };
            let dots = profile
                .points
                .iter()
                .filter(|point| point.is_used == is_used)
                .map(|point| self.point_place(point))
                .filter(|[x, y]| {
                    *x > self.area.x && *x < self.area.right() && *y > self.area.y && *y < self.area.bottom()
                })
                .collect();
            picture.dust(dots, Stroke::new(ink, size));
        }
    }

    fn point_place(&self, point: &ProfilePoint) -> Place {
        self.place(f64::from(point.u_mm), f64::from(point.v_mm))
    }

    /// A thin base line, and the outward side.
    pub fn draw_frame(&self, picture: &mut Picture) {
        let base = self.area.bottom();
        picture.line([self.area.x, base], [self.area.right(), base], Stroke::new(Ink::Hair, 0.8));
    }

    /// A bar of five millimetres, or a quarter of an inch.
    pub fn draw_scale_bar(&self, picture: &mut Picture, unit: LengthUnit) {
        let (length_mm, name) =
            if unit == LengthUnit::Inch { (6.35, "1/4 in".to_owned()) } else { (5.0, "5 mm".to_owned()) };
        let (y, left) = (self.area.bottom() + 14.0, self.area.x + 10.0);
        let right = left + length_mm * self.per_mm;
        let line = Stroke::new(Ink::Text, 1.0);
        picture.line([left, y], [right, y], line);
        for end in [left, right] {
            picture.line([end, y - 4.0], [end, y + 4.0], line);
        }
        picture.text([right + 7.0, y + 4.0], 11.0, Anchor::Start, Ink::Text, name);
    }
}
