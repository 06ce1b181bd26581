//! What a section looked like, thinned for drawing.
//!
//! In: a station, fitted or not. Out: [`Profile`] in level section axes, mm.
//! Does not draw.

use super::reading::{Profile, ProfileArc, ProfilePoint, ProfileSkin};
use super::station::{Fitted, FittedSide, SIGNS};
use crate::geometry::SkinPatch;
use crate::section::{FlatSeam, Tilt};

/// Half the width drawn, and how deep, mm.
const DRAWN_HALF_MM: f64 = 32.0;
const DRAWN_DEPTH_MM: f64 = 16.0;
/// Half the length of seam whose points are drawn, mm.
const DRAWN_REACH_MM: f64 = 2.0;
/// Most points of a drawing.
const POINT_LIMIT: usize = 600;
/// Points this near to a fitted shape count as used, mm.
const USED_WITHIN_MM: f64 = 0.25;

/// The profile of a fitted station; sides in the order datum, other.
pub(super) fn profile_of(fitted: &Fitted, flat: &FlatSeam, datum: usize) -> Profile {
    let order = [datum, 1 - datum];
    Profile {
        points: points_of(fitted, flat),
        skins: order.map(|side| fitted.sides[side].as_ref().map(|fit| skin_of(fit, side))),
        arcs: order.map(|side| fitted.sides[side].as_ref().and_then(|fit| arc_of(fit, side))),
    }
}

/// The profile of a station that could not be fitted: points alone, in the axes of the plan's curve.
pub(super) fn bare_profile(flat: &FlatSeam, s_mm: f64) -> Profile {
    let nothing = Fitted { s_mm, tilt: Tilt::default(), sides: [None, None] };
    Profile { points: points_of(&nothing, flat), ..Profile::default() }
}

fn points_of(fitted: &Fitted, flat: &FlatSeam) -> Vec<ProfilePoint> {
    let slab = flat.slab(fitted.s_mm, DRAWN_REACH_MM);
    let stride = slab.len().div_ceil(POINT_LIMIT).max(1);
    slab.iter()
        .step_by(stride)
        .filter_map(|point| {
            let (u_mm, v_mm) = fitted.tilt.level(f64::from(point.x_mm), f64::from(point.z_mm));
            (u_mm.abs() <= DRAWN_HALF_MM && v_mm.abs() <= DRAWN_DEPTH_MM).then(|| ProfilePoint {
                u_mm: u_mm as f32,
                v_mm: v_mm as f32,
                is_used: is_used(fitted, u_mm, v_mm),
            })
        })
        .collect()
}

fn is_used(fitted: &Fitted, u_mm: f64, v_mm: f64) -> bool {
    (0..2).any(|side| {
        let Some(fit) = &fitted.sides[side] else { return false };
        let q_mm = SIGNS[side] * u_mm;
        let is_skin = (fit.band_from_mm..=fit.band_to_mm).contains(&q_mm)
            && (v_mm - fit.skin.height_mm(q_mm)).abs() < USED_WITHIN_MM;
        let is_hem = fit.arc.as_ref().is_some_and(|arc| {
            let (across, up) = (q_mm - arc.centre_q_mm, v_mm - arc.centre_z_mm);
            across <= 0.0
                && up >= -0.1 * arc.radius_mm
                && (across.hypot(up) - arc.radius_mm).abs() < USED_WITHIN_MM
        });
        is_skin || is_hem
    })
}

/// The parabola to draw for a patch. Of `q³` between 0 and `reach` it is `reach³ (48 x² - 18 x + 1)/32` with `x = q/reach`, which is
/// what the third Chebyshev polynomial leaves (economised power series): off by `reach³/32`, some 3 µm.
fn parabola_of(skin: &SkinPatch) -> [f64; 3] {
    let [third, square, reach] = [DRAWN_HALF_MM.powi(3), DRAWN_HALF_MM.powi(2), DRAWN_HALF_MM];
    [
        skin.c0 + skin.cubic * third / 32.0,
        skin.c1 - skin.cubic * square * 18.0 / 32.0,
        skin.c2 + skin.cubic * reach * 48.0 / 32.0,
    ]
}

fn skin_of(fit: &FittedSide, side: usize) -> ProfileSkin {
    let sign = SIGNS[side];
    let (near, far) = (sign * fit.band_from_mm, sign * fit.band_to_mm);
    let [constant, slope, bend] = parabola_of(&fit.skin);
    ProfileSkin {
        coefficients: [constant, sign * slope, bend],
        from_u_mm: near.min(far),
        to_u_mm: near.max(far),
    }
}

fn arc_of(fit: &FittedSide, side: usize) -> Option<ProfileArc> {
    let arc = fit.arc.as_ref()?;
    Some(ProfileArc {
        centre_u_mm: SIGNS[side] * arc.centre_q_mm,
        centre_v_mm: arc.centre_z_mm,
        radius_mm: arc.radius_mm,
        edge_u_mm: SIGNS[side] * arc.edge_mm,
        edge_v_mm: arc.centre_z_mm,
    })
}
