//! One panel's true section: a chain of arcs and lines without kinks, in closed form.
//!
//! In: [`ProfileWish`]. Out: points and normals by arc length, the furthest point, crossings, nearest points.
//! Frame: the panel lies at negative `xi` and its edge points towards positive `xi`; `v` is outward; mid-gap is `xi = 0`.
//! `q` is the arc length from the hem's tangent point: negative on the outer surface, positive round the hem.
//! Method: every piece has constant curvature, so a point is a chord formula (own derivation) and exact to rounding.
//! Does not know the other panel.

use nalgebra::{Point2, Vector2};

use super::settings::{Crease, PanelShape};

/// What the profile must satisfy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProfileWish {
    /// Furthest reach of the profile towards the other panel.
    pub edge_xi_mm: f64,
    /// Height and rise of the continued outer surface at mid-gap.
    pub height_mm: f64,
    pub rise_rad: f64,
    /// Curvature of the outer surface, positive for a crown.
    pub crown_per_mm: f64,
    pub hem_radius_mm: f64,
    pub hem_turn_rad: f64,
    pub flange_mm: f64,
    pub crease: Option<Crease>,
    pub width_mm: f64,
}

impl ProfileWish {
    /// The wish of a panel whose edge is at `edge_xi_mm`; level and at height 0 at mid-gap.
    #[must_use]
    pub fn new(shape: &PanelShape, edge_xi_mm: f64, width_mm: f64) -> Self {
        Self {
            edge_xi_mm,
            height_mm: 0.0,
            rise_rad: 0.0,
            crown_per_mm: shape.crown_radius_mm.map_or(0.0, f64::recip),
            hem_radius_mm: shape.hem_radius_mm,
            hem_turn_rad: shape.hem_turn_deg.to_radians(),
            flange_mm: shape.flange_mm,
            crease: shape.crease,
            width_mm,
        }
    }
}

/// A run of constant curvature (positive turns left, towards outward).
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    start: Point2<f64>,
    heading_rad: f64,
    curvature_per_mm: f64,
    length_mm: f64,
    /// Arc length `q` at the start.
    from_q_mm: f64,
}

/// A whole profile from the far end of the outer surface to the end of the flange.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelProfile {
    pieces: Vec<Piece>,
    hem_radius_mm: f64,
    hem_turned_rad: f64,
}

/// The furthest point is placed to this, mm: rounding of coordinates of some 100 mm is 1e-14.
const EDGE_PLACED_MM: f64 = 1e-12;

impl Piece {
    fn point(&self, length_mm: f64) -> Point2<f64> {
        let half = 0.5 * self.curvature_per_mm * length_mm;
        let chord_mm =
            length_mm * if half.abs() < 1e-5 { 1.0 - half * half / 6.0 } else { half.sin() / half };
        let (sine, cosine) = (self.heading_rad + half).sin_cos();
        self.start + Vector2::new(cosine, sine) * chord_mm
    }

    fn heading(&self, length_mm: f64) -> f64 {
        self.heading_rad + self.curvature_per_mm * length_mm
    }

    /// Length to the nearest point of this piece.
    fn nearest(&self, to: &Point2<f64>) -> f64 {
        let (sine, cosine) = self.heading_rad.sin_cos();
        let offset = to - self.start;
        let length_mm = if self.curvature_per_mm.abs() < 1e-9 {
            offset.dot(&Vector2::new(cosine, sine))
        } else {
            // Seen from the centre, the angle from the start to the direction of the point.
            let centre = Vector2::new(-sine, cosine) / self.curvature_per_mm;
            let (from, towards) = (-centre, offset - centre);
            from.perp(&towards).atan2(from.dot(&towards)) / self.curvature_per_mm
        };
        length_mm.clamp(0.0, self.length_mm)
    }
}

impl PanelProfile {
    /// Builds the profile whose furthest point lies at the wished place.
    #[must_use]
    pub fn new(wish: &ProfileWish) -> Self {
        let mut hem_start_mm = wish.edge_xi_mm - wish.hem_radius_mm;
        let mut profile = Self::with_hem_at(wish, hem_start_mm);
        for _ in 0..50 {
            let miss_mm = profile.edge().1.x - wish.edge_xi_mm;
            if miss_mm.abs() < EDGE_PLACED_MM {
                break;
            }
            hem_start_mm -= miss_mm;
            profile = Self::with_hem_at(wish, hem_start_mm);
        }
        profile
    }

    /// `hem_start_mm`: arc length of the outer surface from mid-gap to the hem's tangent point, negative on the panel.
    fn with_hem_at(wish: &ProfileWish, hem_start_mm: f64) -> Self {
        let skin = Piece {
            start: Point2::new(0.0, wish.height_mm),
            heading_rad: wish.rise_rad,
            curvature_per_mm: -wish.crown_per_mm,
            length_mm: 0.0,
            from_q_mm: -hem_start_mm,
        };
        let hem_heading_rad = skin.heading(hem_start_mm);
        let turned_rad = hem_heading_rad - (wish.rise_rad - wish.hem_turn_rad);
        let hem = Piece {
            start: skin.point(hem_start_mm),
            heading_rad: hem_heading_rad,
            curvature_per_mm: -1.0 / wish.hem_radius_mm,
            length_mm: wish.hem_radius_mm * turned_rad,
            from_q_mm: 0.0,
        };
        let flange = Piece {
            start: hem.point(hem.length_mm),
            heading_rad: hem.heading(hem.length_mm),
            curvature_per_mm: 0.0,
            length_mm: wish.flange_mm,
            from_q_mm: hem.length_mm,
        };
        let mut pieces = skin_pieces(&hem, wish);
        pieces.extend([hem, flange]);
        Self { pieces, hem_radius_mm: wish.hem_radius_mm, hem_turned_rad: turned_rad }
    }

    /// Arc lengths of the far end of the outer surface and of the end of the flange.
    #[must_use]
    pub fn span(&self) -> (f64, f64) {
        let last = &self.pieces[self.pieces.len() - 1];
        (self.pieces[0].from_q_mm, last.from_q_mm + last.length_mm)
    }

    fn piece_at(&self, q_mm: f64) -> &Piece {
        let after = self.pieces.partition_point(|piece| piece.from_q_mm <= q_mm);
        &self.pieces[after.saturating_sub(1)]
    }

    /// The point at an arc length, mm; beyond the ends the outer pieces go on.
    #[must_use]
    pub fn point(&self, q_mm: f64) -> Point2<f64> {
        let piece = self.piece_at(q_mm);
        piece.point(q_mm - piece.from_q_mm)
    }

    /// The outward unit normal at an arc length.
    #[must_use]
    pub fn normal(&self, q_mm: f64) -> Vector2<f64> {
        let piece = self.piece_at(q_mm);
        let (sine, cosine) = piece.heading(q_mm - piece.from_q_mm).sin_cos();
        Vector2::new(-sine, cosine)
    }

    /// True where a Gaussian of this reach round `q` meets more than one piece.
    #[must_use]
    pub fn bends_near(&self, q_mm: f64, reach_mm: f64) -> bool {
        let piece = self.piece_at(q_mm);
        piece.curvature_per_mm.abs() > 0.02
            || q_mm - piece.from_q_mm < reach_mm
            || piece.from_q_mm + piece.length_mm - q_mm < reach_mm
    }

    /// Centre of the hem's arc.
    #[must_use]
    pub fn hem_centre(&self) -> Point2<f64> {
        self.point(0.0) - self.normal(0.0) * self.hem_radius_mm
    }

    #[must_use]
    pub const fn hem_radius_mm(&self) -> f64 {
        self.hem_radius_mm
    }

    /// How far the hem turns from its tangent point, rad.
    #[must_use]
    pub const fn hem_turned_rad(&self) -> f64 {
        self.hem_turned_rad
    }

    /// Arc length and place of the point that reaches furthest towards the other panel.
    #[must_use]
    pub fn edge(&self) -> (f64, Point2<f64>) {
        let hem = &self.pieces[self.pieces.len() - 2];
        // The arc heads straight inwards after turning by its heading plus a quarter turn.
        let to_edge_mm = (hem.heading_rad + std::f64::consts::FRAC_PI_2) * self.hem_radius_mm;
        let on_arc_mm = to_edge_mm.clamp(0.0, hem.length_mm);
        let flange_end_mm = self.span().1;
        let (on_arc, at_end) = (hem.point(on_arc_mm), self.point(flange_end_mm));
        if at_end.x > on_arc.x { (flange_end_mm, at_end) } else { (on_arc_mm, on_arc) }
    }

    /// Furthest reach of the profile at a height, or `None` where the profile does not come to that height.
    #[must_use]
    pub fn reach_at_height(&self, v_mm: f64) -> Option<f64> {
        let mut furthest: Option<f64> = None;
        for piece in &self.pieces {
            for step in 0..CROSSING_STEPS {
                let share = |index: usize| piece.length_mm * index as f64 / CROSSING_STEPS as f64;
                if let Some(xi_mm) = crossing(piece, share(step), share(step + 1), v_mm) {
                    furthest = Some(furthest.map_or(xi_mm, |best| best.max(xi_mm)));
                }
            }
        }
        furthest
    }

    /// Height of the outer surface, continued over the hem with its own curvature, at a place across.
    #[must_use]
    pub fn skin_height(&self, xi_mm: f64) -> f64 {
        let skins = &self.pieces[..self.pieces.len() - 2];
        let last = skins.len() - 1;
        let piece = skins[..last].iter().find(|piece| piece.point(piece.length_mm).x > xi_mm);
        let piece = piece.unwrap_or(&skins[last]);
        let mut length_mm = (xi_mm - piece.start.x) / piece.heading_rad.cos();
        for _ in 0..20 {
            let miss_mm = piece.point(length_mm).x - xi_mm;
            length_mm -= miss_mm / piece.heading(length_mm).cos();
            if miss_mm.abs() < EDGE_PLACED_MM {
                break;
            }
        }
        piece.point(length_mm).y
    }

    /// Arc length of the point of the profile that is nearest to a place.
    #[must_use]
    pub fn nearest(&self, to: &Point2<f64>) -> f64 {
        let mut best = (f64::INFINITY, 0.0);
        for piece in &self.pieces {
            let length_mm = piece.nearest(to);
            let distance_sq_mm2 = (piece.point(length_mm) - to).norm_squared();
            if distance_sq_mm2 < best.0 {
                best = (distance_sq_mm2, piece.from_q_mm + length_mm);
            }
        }
        best.1
    }

    /// The section as the scanner's software smooths it: the profile averaged along itself with a Gaussian.
    #[must_use]
    pub fn smoothed_point(&self, q_mm: f64, sigma_mm: f64) -> Point2<f64> {
        if sigma_mm <= 0.0 || !self.bends_near(q_mm, 4.0 * sigma_mm) {
            return self.point(q_mm);
        }
        // The trapezoid rule at half a sigma is exact to rounding for a Gaussian; 4 sigma leave out 6e-5 of it.
        let (mut sum, mut weights) = (Vector2::zeros(), 0.0);
        for step in -8..=8_i32 {
            let offset = 0.5 * f64::from(step);
            let weight = (-0.5 * offset * offset).exp();
            sum += self.point(q_mm + offset * sigma_mm).coords * weight;
            weights += weight;
        }
        Point2::from(sum / weights)
    }

    /// Arcs and lines as circles and chords for line-of-sight tests: the corners of a fine polygon from the flange's
    /// end to `skin_mm` behind the hem.
    #[must_use]
    pub fn outline(&self, skin_mm: f64) -> Vec<Point2<f64>> {
        let arc_mm = self.hem_radius_mm * self.hem_turned_rad;
        let mut outline = vec![self.point(self.span().1)];
        outline.extend(
            (0..=ARC_CORNERS).rev().map(|corner| self.point(arc_mm * corner as f64 / ARC_CORNERS as f64)),
        );
        outline.extend(self.skin_corners(skin_mm).map(|back_mm| self.point(-back_mm)));
        outline
    }

    /// How far behind the hem the outline has corners: some at fixed shares, and at both ends and the middle of a crease, since a chord over
    /// a groove would hide it.
    fn skin_corners(&self, skin_mm: f64) -> impl Iterator<Item = f64> {
        let farthest_mm = skin_mm.min(-self.span().0);
        let mut corners_mm: Vec<f64> =
            [0.25, 0.5, 1.0].iter().map(|share| (skin_mm * share).min(farthest_mm)).collect();
        let skins = &self.pieces[..self.pieces.len() - 2];
        if let [_, crease, _] = skins {
            let of_crease = [0.0, 0.5, 1.0].map(|share| -(crease.from_q_mm + crease.length_mm * share));
            corners_mm.extend(of_crease.into_iter().filter(|back_mm| *back_mm < farthest_mm));
            corners_mm.sort_by(f64::total_cmp);
        }
        corners_mm.into_iter()
    }
}

/// Parts into which a piece is cut so that no part crosses a height twice.
const CROSSING_STEPS: usize = 16;
/// Corners of the polygon that stands for a hem in line-of-sight tests: 12 over 180° leave 1 % of the radius.
const ARC_CORNERS: usize = 12;

/// Outer surface pieces from the far end to the hem.
fn skin_pieces(hem: &Piece, wish: &ProfileWish) -> Vec<Piece> {
    let skin = Piece { curvature_per_mm: -wish.crown_per_mm, ..*hem };
    let backed = |from: &Piece, to_mm: f64, length_mm: f64, curvature_per_mm: f64| {
        let backwards = Piece { curvature_per_mm, ..*from };
        Piece {
            start: backwards.point(-length_mm),
            heading_rad: backwards.heading(-length_mm),
            curvature_per_mm,
            length_mm,
            from_q_mm: to_mm - length_mm,
        }
    };
    let Some(crease) = wish.crease.filter(|crease| crease.from_hem_mm < wish.width_mm) else {
        return vec![backed(&skin, 0.0, wish.width_mm, -wish.crown_per_mm)];
    };
    let inner = backed(&skin, 0.0, crease.from_hem_mm, -wish.crown_per_mm);
    let bend_mm = (crease.radius_mm * crease.turn_deg.to_radians()).abs().max(1e-6);
    let bend = backed(&inner, inner.from_q_mm, bend_mm, -crease.turn_deg.to_radians() / bend_mm);
    let rest_mm = (wish.width_mm - crease.from_hem_mm).max(1e-6);
    let outer = backed(&bend, bend.from_q_mm, rest_mm, -wish.crown_per_mm);
    vec![outer, bend, inner]
}

/// Where a part of a piece crosses a height, by halving.
fn crossing(piece: &Piece, from_mm: f64, to_mm: f64, v_mm: f64) -> Option<f64> {
    let height = |length_mm: f64| piece.point(length_mm).y - v_mm;
    let (mut low_mm, mut high_mm) = (from_mm, to_mm);
    let low_is_above = height(low_mm) > 0.0;
    if low_is_above == (height(high_mm) > 0.0) {
        return None;
    }
    for _ in 0..60 {
        let middle_mm = 0.5 * (low_mm + high_mm);
        if (height(middle_mm) > 0.0) == low_is_above {
            low_mm = middle_mm;
        } else {
            high_mm = middle_mm;
        }
    }
    Some(piece.point(low_mm).x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    fn wish() -> ProfileWish {
        ProfileWish::new(&PanelShape { crown_radius_mm: None, ..PanelShape::default() }, -2.0, 60.0)
    }

    #[test]
    fn a_flat_panel_with_a_full_hem_has_the_points_known_by_hand() {
        // Edge at -2, radius 2: hem starts at (-4, 0), edge point (-2, -2), return flange at height -4.
        let profile = PanelProfile::new(&wish());
        assert!((profile.point(0.0) - Point2::new(-4.0, 0.0)).norm() < 1e-12);
        assert!((profile.edge().1 - Point2::new(-2.0, -2.0)).norm() < 1e-12);
        assert!((profile.point(2.0 * PI + 3.0) - Point2::new(-7.0, -4.0)).norm() < 1e-12);
        assert!((profile.point(-10.0) - Point2::new(-14.0, 0.0)).norm() < 1e-12);
        assert!((profile.reach_at_height(-2.0).unwrap() + 2.0).abs() < 1e-7);
    }

    #[test]
    fn the_outline_follows_a_groove() {
        let crease = Some(Crease { from_hem_mm: 8.0, turn_deg: -20.0, radius_mm: 3.0 });
        let profile = PanelProfile::new(&ProfileWish { crease, ..wish() });
        for side in profile.outline(20.0).windows(2) {
            let middle = Point2::from((side[0].coords + side[1].coords) / 2.0);
            let on_profile = profile.point(profile.nearest(&middle));
            // What line-of-sight tests allow for.
            assert!((middle - on_profile).norm() < 0.05, "{middle}");
        }
    }

    #[test]
    fn the_furthest_point_lies_where_it_was_asked_to_for_every_shape() {
        for turn_deg in [90.0_f64, 120.0, 180.0] {
            for rise_rad in [-0.05, 0.0, 0.05] {
                for crown_per_mm in [-0.003, 0.0, 0.003] {
                    let profile = PanelProfile::new(&ProfileWish {
                        rise_rad,
                        crown_per_mm,
                        hem_turn_rad: turn_deg.to_radians(),
                        height_mm: 0.7,
                        ..wish()
                    });
                    let length_mm = 20.0 + profile.span().1;
                    let furthest = (0..=40_000)
                        .map(|step| profile.point(-20.0 + length_mm * f64::from(step) / 40_000.0).x)
                        .fold(f64::NEG_INFINITY, f64::max);
                    // Steps of 0.85 µm on an arc of 2 mm miss its furthest point by less than 1e-6 mm.
                    assert!((furthest + 2.0).abs() < 1e-6, "{turn_deg} {rise_rad} {crown_per_mm} {furthest}");
                }
            }
        }
    }

    #[test]
    fn the_chain_has_no_kink() {
        let crease = Crease { from_hem_mm: 15.0, turn_deg: 8.0, radius_mm: 1.0 };
        let profile = PanelProfile::new(&ProfileWish { crease: Some(crease), crown_per_mm: 0.001, ..wish() });
        let (from_mm, to_mm) = profile.span();
        let mut q_mm = from_mm;
        while q_mm < to_mm - 0.001 {
            let step = profile.point(q_mm + 0.001) - profile.point(q_mm);
            assert!((step.norm() - 0.001).abs() < 1e-9);
            assert!(step.dot(&profile.normal(q_mm)).abs() < 1e-6);
            q_mm += 0.001;
        }
    }

    #[test]
    fn smoothing_pulls_the_edge_back_as_theory_says() {
        // A full circle shrinks by 1 − exp(−σ²/2r²); half a circle of 1 mm is wide enough for σ = 0.2 at its middle.
        let profile = PanelProfile::new(&ProfileWish { hem_radius_mm: 1.0, ..wish() });
        let pulled_mm = profile.edge().1.x - profile.smoothed_point(profile.edge().0, 0.2).x;
        let theory_mm = 1.0 - (-0.5_f64 * 0.04).exp();
        assert!((pulled_mm - theory_mm).abs() < 1e-5, "{pulled_mm} {theory_mm}");
    }
}
