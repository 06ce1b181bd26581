//! What the stations of a seam tell each other: hem radius and curvature of the outer surface, never gap or flush.
//!
//! In: stations fitted on their own. Out: for each station and side a radius and a curvature. Units: mm.
//! Method: weighted median of the neighbours within 150 mm, weights from how far round each saw its hem.

use super::station::Fitted;

/// Neighbours within this distance share, mm.
const SHARE_REACH_MM: f64 = 150.0;
/// Arcs seen less far round than this do not tell their radius, rad (75°).
const RADIUS_NEEDS_RAD: f64 = 75.0 * std::f64::consts::PI / 180.0;

/// A value learnt from neighbours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shared {
    pub(super) value: f64,
    /// Standard uncertainty of the shared value.
    pub(super) u: f64,
    pub(super) count: usize,
}

/// The radius of one side's hem near a place.
pub(super) fn shared_radius(stations: &[Fitted], side: usize, s_mm: f64) -> Option<Shared> {
    let values: Vec<(f64, f64)> = near(stations, s_mm)
        .filter_map(|station| {
            let arc = station.sides[side].as_ref()?.arc.as_ref()?;
            (arc.seen_rad >= RADIUS_NEEDS_RAD)
                .then(|| (arc.radius_mm, 1.0 / (arc.radius_cofactor.powi(2) + 1e-6)))
        })
        .collect();
    weighted_median(values)
}

/// The curvature c2 of one side's outer surface near a place, 1/mm.
pub(super) fn shared_curvature(stations: &[Fitted], side: usize, s_mm: f64) -> Option<Shared> {
    let values: Vec<(f64, f64)> = near(stations, s_mm)
        .filter_map(|station| station.sides[side].as_ref())
        .map(|fit| (fit.skin.c2, fit.covered))
        .collect();
    weighted_median(values)
}

fn near(stations: &[Fitted], s_mm: f64) -> impl Iterator<Item = &Fitted> {
    stations.iter().filter(move |station| (station.s_mm - s_mm).abs() <= SHARE_REACH_MM)
}

/// Weighted mean of what lies within three robust deviations of the weighted median.
fn weighted_median(mut values: Vec<(f64, f64)>) -> Option<Shared> {
    values.sort_by(|left, right| left.0.total_cmp(&right.0));
    let half: f64 = values.iter().map(|(_, weight)| weight).sum::<f64>() / 2.0;
    let mut below = 0.0;
    let median = values.iter().find(|(_, weight)| {
        below += weight;
        below >= half
    })?;
    let mut deviations: Vec<f64> = values.iter().map(|(value, _)| (value - median.0).abs()).collect();
    let deviation = 1.4826 * crate::geometry::median_in_place(&mut deviations)?;
    let limit = 3.0 * deviation.max(1e-9 + 1e-6 * median.0.abs());
    let kept: Vec<&(f64, f64)> =
        values.iter().filter(|(value, _)| (value - median.0).abs() <= limit).collect();
    let total: f64 = kept.iter().map(|(_, weight)| weight).sum();
    let value = kept.iter().map(|(value, weight)| value * weight).sum::<f64>() / total;
    Some(Shared { value, u: deviation / (kept.len() as f64).sqrt(), count: kept.len() })
}
