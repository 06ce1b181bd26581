//! What the scanner can see of a section: views, shadows, and how far round a hem the light comes.
//!
//! In: a true section, view directions. Out: for a point with its normal, the views that see it.
//! Method: the line of sight is projected into the section plane (exact for a seam that runs straight on over a gap's
//! width) and tested against both panels' outlines as fine polygons.
//! Does not know structure below the gap, which is seen last and hides nothing.

use nalgebra::{Point2, Vector2, Vector3};

use super::settings::Scanner;
use super::true_section::TrueSection;

/// Outlines and view directions of one section.
#[derive(Debug, Clone)]
pub struct Sight {
    /// Unit directions to the scanner in (across, along, outward).
    views: Vec<Vector3<f64>>,
    least_cosine: f64,
    outlines: [Vec<Point2<f64>>; 2],
}

/// How much of the outer surface behind each hem can cast a shadow, mm.
const SHADOWING_SKIN_MM: f64 = 20.0;
/// Steps off the surface before looking for shadows, mm: more than the outline's polygon cuts off an arc of 4 mm.
const OFF_SURFACE_MM: f64 = 0.05;

impl Sight {
    #[must_use]
    pub fn new(section: &TrueSection, scanner: &Scanner) -> Self {
        let views = scanner
            .views
            .iter()
            .map(|view| {
                let (across, along) = (view.across_deg.to_radians().tan(), view.along_deg.to_radians().tan());
                Vector3::new(across, along, 1.0).normalize()
            })
            .collect();
        let outlines = [0, 1].map(|panel| {
            let own = section.profiles[panel].outline(SHADOWING_SKIN_MM);
            own.iter().map(|corner| section.in_section(panel, corner)).collect()
        });
        Self { views, least_cosine: scanner.incidence_limit_deg.to_radians().cos(), outlines }
    }

    #[must_use]
    pub fn view_count(&self) -> usize {
        self.views.len()
    }

    /// True where a view sees a place with this outward normal, both in section axes.
    #[must_use]
    pub fn sees(&self, view: usize, place: &Point2<f64>, normal: &Vector2<f64>) -> bool {
        let direction = self.views[view];
        let cosine = direction.x * normal.x + direction.z * normal.y;
        cosine > self.least_cosine && self.is_lit(view, &(place + normal * OFF_SURFACE_MM))
    }

    /// True where nothing stands between a place and the scanner of a view.
    #[must_use]
    pub fn is_lit(&self, view: usize, place: &Point2<f64>) -> bool {
        let ray = Vector2::new(self.views[view].x, self.views[view].z);
        self.outlines
            .iter()
            .all(|outline| outline.windows(2).all(|side| !ray_meets(place, &ray, &side[0], &side[1])))
    }

    /// The view with its direction in (across, along, outward).
    #[must_use]
    pub fn direction(&self, view: usize) -> Vector3<f64> {
        self.views[view]
    }

    /// How far round a panel's hem any view sees, from the hem's tangent point, rad; whole degrees.
    #[must_use]
    pub fn arc_seen_rad(&self, section: &TrueSection, panel: usize) -> f64 {
        let profile = &section.profiles[panel];
        let last_deg = profile.hem_turned_rad().to_degrees().floor() as u32;
        let seen_deg = (0..=last_deg).take_while(|degrees| {
            let q_mm = f64::from(*degrees).to_radians() * profile.hem_radius_mm();
            self.sees_profile(section, panel, q_mm)
        });
        f64::from(seen_deg.last().unwrap_or(0)).to_radians()
    }

    /// True where any view sees a panel's profile at an arc length.
    #[must_use]
    pub fn sees_profile(&self, section: &TrueSection, panel: usize, q_mm: f64) -> bool {
        let profile = &section.profiles[panel];
        let place = section.in_section(panel, &profile.point(q_mm));
        let normal = section.direction_in_section(panel, &profile.normal(q_mm));
        (0..self.views.len()).any(|view| self.sees(view, &place, &normal))
    }
}

fn ray_meets(origin: &Point2<f64>, ray: &Vector2<f64>, from: &Point2<f64>, to: &Point2<f64>) -> bool {
    let (from, to) = (from - origin, to - origin);
    let (side_from, side_to) = (ray.perp(&from), ray.perp(&to));
    if (side_from > 0.0) == (side_to > 0.0) {
        return false;
    }
    let share = side_from / (side_from - side_to);
    (from + (to - from) * share).dot(ray) > 0.0
}
