//! What the hems' arcs miss at their furthest points: hems that are no circle, or whose surface bends just behind them.
//!
//! In: a seam's fitted stations. Out: per side how far beyond (positive) or short of its arc the profile reaches, mm, as the whole seam
//! shows it.
//! Method: what each station's points say (`TangentArc::passed_mm`), and the median over the stations: noise differs from station to station,
//! shapes do not.
//! Does not move an edge.

use super::settings::MeasureSettings;
use super::station::{Fitted, SIGNS};
use crate::geometry::{SkinSample, median_in_place};
use crate::scan::{Spread, gather};
use crate::section::FlatSeam;

const FEWEST_STATIONS: usize = 3;

/// How far the profile passes each side's arc, mm; 0 where that is not seen.
pub(super) fn passed_arcs_mm(
    flat: &FlatSeam,
    fitted: &[Fitted],
    settings: &MeasureSettings,
    smoothing_mm: f64,
    spread: &dyn Spread,
) -> [f64; 2] {
    let all: Vec<[Option<f64>; 2]> = gather(spread, fitted.len(), |index| {
        [0, 1].map(|side| passed_mm(flat, &fitted[index], side, settings, smoothing_mm))
    });
    [0, 1].map(|side: usize| {
        let mut known: Vec<f64> = all.iter().filter_map(|sides| sides[side]).collect();
        if known.len() < FEWEST_STATIONS { 0.0 } else { median_in_place(&mut known).unwrap_or(0.0) }
    })
}

fn passed_mm(
    flat: &FlatSeam,
    station: &Fitted,
    side: usize,
    settings: &MeasureSettings,
    smoothing_mm: f64,
) -> Option<f64> {
    let fit = station.sides[side].as_ref()?;
    let arc = fit.arc.as_ref()?;
    let near_edge: Vec<SkinSample> = flat
        .slab(station.s_mm, settings.hem_reach_mm)
        .iter()
        .filter_map(|point| {
            let (u, v) = station.tilt.level(f64::from(point.x_mm), f64::from(point.z_mm));
            let q_mm = SIGNS[side] * u;
            let is_near =
                (q_mm - arc.edge_mm).abs() < arc.radius_mm && (v - arc.centre_z_mm).abs() < arc.radius_mm;
            is_near.then(|| SkinSample {
                q_mm,
                ds_mm: f64::from(point.s_mm) - station.s_mm,
                z_mm: v,
                weight: 1.0,
            })
        })
        .collect();
    arc.passed_mm(&near_edge, &fit.skin, smoothing_mm)
}
