//! The sections of all stations in a few bytes each, from which the script draws the one that is pointed at.
//!
//! In: profiles. Out: base64 of little-endian records, one after another in station order, seams in plan order:
//! `u16` number of points not used and of points used by the fits; for each point `i16` across and `i16` outward in
//! steps of 0.005 mm; then for the datum panel and the other one ten `f32`: the outer surface's three coefficients and
//! its two ends, the hem's centre, radius and edge point (NaN where not fitted). mm.
//! Points are thinned so that all sections together stay within a budget. Does not draw.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use crate::judge::JudgedSeam;
use crate::measure::{Profile, ProfilePoint};

/// One step of a coordinate, mm.
const STEP_MM: f64 = 0.005;
/// How far from mid-gap points are kept, mm: what a drawing shows.
const REACH_MM: f32 = 16.0;
/// All points of a page together, and of one section.
const POINT_BUDGET: usize = 200_000;
const MOST_POINTS: usize = 140;

pub(super) fn section_data(judged: &[JudgedSeam]) -> String {
    let stations = || judged.iter().flat_map(|seam| &seam.stations);
    let most = (POINT_BUDGET / stations().count().max(1)).min(MOST_POINTS);
    let mut bytes = Vec::new();
    for station in stations() {
        write_profile(&mut bytes, &station.reading.profile, most);
    }
    STANDARD.encode(bytes)
}

fn write_profile(bytes: &mut Vec<u8>, profile: &Profile, most: usize) {
    let near: Vec<&ProfilePoint> = profile
        .points
        .iter()
        .filter(|point| point.u_mm.abs() <= REACH_MM && point.v_mm.abs() <= REACH_MM)
        .collect();
    let step = near.len().div_ceil(most.max(1)).max(1);
    let pick = |is_used: bool| near.iter().filter(move |point| point.is_used == is_used).step_by(step);
    for is_used in [false, true] {
        bytes.extend((pick(is_used).count() as u16).to_le_bytes());
    }
    for point in pick(false).chain(pick(true)) {
        for value_mm in [point.u_mm, point.v_mm] {
            // The reach above keeps every value within an i16.
            bytes.extend(((f64::from(value_mm) / STEP_MM).round() as i16).to_le_bytes());
        }
    }
    for (skin, arc) in profile.skins.iter().zip(&profile.arcs) {
        let skin = skin.as_ref().map_or([f64::NAN; 5], |skin| {
            let [constant, slope, bend] = skin.coefficients;
            [constant, slope, bend, skin.from_u_mm, skin.to_u_mm]
        });
        let arc = arc.as_ref().map_or([f64::NAN; 5], |arc| {
            [arc.centre_u_mm, arc.centre_v_mm, arc.radius_mm, arc.edge_u_mm, arc.edge_v_mm]
        });
        bytes.extend(skin.into_iter().chain(arc).flat_map(|value| (value as f32).to_le_bytes()));
    }
}
