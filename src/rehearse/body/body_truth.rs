//! Gap and flush at a station of a body, from the moved panels' exact surfaces.
//!
//! In: two panels, the seam's line, a station's point and the seam's direction. Out: edge gap, mid-gap flush, section frame.
//! Definitions as in `measure`: plane across the true middle of the gap, through the plan's station; levelled on the
//! datum panel's surface at mid-gap; edges are the furthest points of the section; surfaces continue as themselves.
//! Method: the furthest point of a hem is where its normal lies in the section's across direction, which gives its angle in
//! closed form; places in the plane by secant steps; frame and angles are renewed until they stand still. The hem's
//! normal is taken as radial: the outer surface's twist along the seam (below 1e-3 per hem radius) turns it by less than
//! 1e-3 rad, which moves the furthest reach by its square, below 1e-6 mm.

use nalgebra::{Point3, Vector2, Vector3};

use super::panel::{BodyPanel, Line, PanelPoint};
use super::surface::BodySurface;

/// What is true at a station. Pairs: datum panel, other panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BodyReading {
    pub gap_mm: f64,
    pub flush_mm: f64,
    /// On the datum panel's continued surface at mid-gap.
    pub origin: Point3<f64>,
    pub along: Vector3<f64>,
    pub outward: Vector3<f64>,
    pub edges: [Point3<f64>; 2],
}

/// Renewals of the section frame; each gains two to three digits.
const ROUNDS: usize = 7;

/// The true reading at a station; `run_mm` is the place on the seam's line near it.
#[must_use]
pub fn read_body(
    surface: &BodySurface,
    panels: [&BodyPanel; 2],
    line: &Line,
    run_mm: f64,
    station: &Point3<f64>,
    direction: &Vector3<f64>,
) -> BodyReading {
    let edge_at = |panel: &BodyPanel, run_mm: f64, hem_rad: f64| {
        let foot = panel.foot_beside(&line.at(run_mm));
        panel.hem_point(surface, &foot, panel.hem_radius_mm * hem_rad).position
    };
    let start = panels[0].skin(surface, &line.at(run_mm));
    let mut along = *direction;
    let mut outward = start.normal();
    let mut reading = BodyReading {
        gap_mm: 0.0,
        flush_mm: 0.0,
        origin: start.point,
        along,
        outward,
        edges: [start.point; 2],
    };
    let mut hem_rads = [std::f64::consts::FRAC_PI_2; 2];
    for _ in 0..ROUNDS {
        outward = (outward - along * outward.dot(&along)).normalize();
        let rough = [0, 1].map(|panel| edge_at(panels[panel], run_mm, std::f64::consts::FRAC_PI_2));
        let across = along.cross(&outward);
        let across = if (rough[1] - rough[0]).dot(&across) < 0.0 { -across } else { across };
        let found = [0, 1].map(|panel| {
            let hem_rad = hem_rads[panel];
            let run_mm =
                in_plane(run_mm, |run_mm| (edge_at(panels[panel], run_mm, hem_rad) - station).dot(&along));
            (edge_at(panels[panel], run_mm, hem_rad), run_mm, hem_rad)
        });
        hem_rads = [0, 1].map(|panel| {
            let foot = panels[panel].foot_beside(&line.at(found[panel].1));
            let wrapped_mm = panels[panel].hem_radius_mm * found[panel].2;
            furthest_rad(&panels[panel].hem_point(surface, &foot, wrapped_mm), &outward)
        });
        let [datum, other] = found.map(|(point, _, _)| point);
        let middle = nalgebra::center(&datum, &other);
        let reach_mm = (middle - station).dot(&across);
        let section = Section { station, along: &along, across: &across, reach_mm };
        let skins = panels.map(|panel| skin_in_section(surface, panel, &line.at(run_mm), &section));
        let normal = skins[0].1;
        reading = BodyReading {
            gap_mm: (other - datum).dot(&across),
            flush_mm: (skins[1].0 - skins[0].0).dot(&outward),
            origin: skins[0].0,
            along,
            outward,
            edges: [datum, other],
        };
        outward = normal;
        let mid_at = |step_mm: f64| {
            let ends = [0, 1].map(|panel| edge_at(panels[panel], found[panel].1 + step_mm, found[panel].2));
            nalgebra::center(&ends[0], &ends[1])
        };
        let ahead = (mid_at(1.0) - mid_at(-1.0)).normalize();
        along = if ahead.dot(direction) < 0.0 { -ahead } else { ahead };
    }
    reading
}

/// The running coordinate at which a function is zero, by secant steps; its slope is near ±1.
fn in_plane(start_mm: f64, miss_mm: impl Fn(f64) -> f64) -> f64 {
    let (mut before, mut now) = (start_mm - 0.5, start_mm);
    let (mut miss_before, mut miss_now) = (miss_mm(before), miss_mm(now));
    for _ in 0..12 {
        if miss_now.abs() < 1e-10 || miss_now == miss_before {
            break;
        }
        let next = now - miss_now * (now - before) / (miss_now - miss_before);
        (before, miss_before) = (now, miss_now);
        now = next;
        miss_now = miss_mm(now);
    }
    now
}

/// The angle round the hem at which its normal has no part along the section's outward axis.
fn furthest_rad(point: &PanelPoint, outward: &Vector3<f64>) -> f64 {
    point.skin_normal.dot(outward).atan2(-point.towards_edge.dot(outward))
}

/// A place in a section: the plane through a station, and a reach across it.
struct Section<'a> {
    station: &'a Point3<f64>,
    along: &'a Vector3<f64>,
    across: &'a Vector3<f64>,
    reach_mm: f64,
}

/// Point and normal of a panel's continued surface in the section, at a reach across.
fn skin_in_section(
    surface: &BodySurface,
    panel: &BodyPanel,
    start: &Vector2<f64>,
    section: &Section<'_>,
) -> (Point3<f64>, Vector3<f64>) {
    let Section { station, along, across, reach_mm } = section;
    let mut place = *start;
    for _ in 0..12 {
        let patch = panel.skin(surface, &place);
        let offset = patch.point - *station;
        let miss = Vector2::new(offset.dot(along), offset.dot(across) - reach_mm);
        let slopes = nalgebra::Matrix2::new(
            patch.along_a.dot(along),
            patch.along_b.dot(along),
            patch.along_a.dot(across),
            patch.along_b.dot(across),
        );
        let Some(inverse) = slopes.try_inverse() else { break };
        place -= inverse * miss;
        if miss.norm() < 1e-11 {
            break;
        }
    }
    let patch = panel.skin(surface, &place);
    (patch.point, patch.normal())
}
