//! What the stations of a seam tell each other: hem radius and curvature of the outer surface, never gap or flush.
//!
//! In: stations fitted on their own. Out: for each station and side a radius and a curvature. Units: mm.
//! Method: weighted median of the neighbours within 150 mm, weights from how far round each saw its hem. Neighbours that are
//! near each other share points and noise: how well a radius is known follows from how long a stretch they cover.

use super::station::Fitted;
use crate::geometry::median_in_place;

/// Neighbours within this distance share, mm.
const SHARE_REACH_MM: f64 = 150.0;
/// Arcs seen less far round than this do not tell their radius, rad (75°).
const RADIUS_NEEDS_RAD: f64 = 75.0 * std::f64::consts::PI / 180.0;

/// Hems this far apart have errors of their own, mm: on rehearsed scans of three scanner classes the mean over 26, 56, 90 and
/// 260 mm scattered as that of 1.5, 4, 5 and 12 (seed 301).
const HEM_APART_MM: f64 = 18.0;
/// The same for surfaces, of which a station sees 30 mm.
const SURFACE_APART_MM: f64 = 24.0;
/// A fit's own error is that much smaller than the real one, as in the budget.
const CORRELATION_FACTOR: f64 = super::uncertainty::CORRELATION_FACTOR;

/// A value learnt from neighbours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shared {
    pub(super) value: f64,
    /// Standard uncertainty of the shared value.
    pub(super) u: f64,
    pub(super) degrees_of_freedom: f64,
}

/// One station's own value.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Told {
    s_mm: f64,
    value: f64,
    weight: f64,
    fit_u: f64,
}

/// The radius of one side's hem near a place.
pub(super) fn shared_radius(stations: &[Fitted], side: usize, s_mm: f64) -> Option<Shared> {
    let values = near(stations, s_mm).filter_map(|station| {
        let arc = station.sides[side].as_ref()?.arc.as_ref()?;
        (arc.seen_rad >= RADIUS_NEEDS_RAD).then(|| Told {
            s_mm: station.s_mm,
            value: arc.radius_mm,
            weight: 1.0 / (arc.radius_cofactor.powi(2) + 1e-6),
            fit_u: arc.sigma_mm * arc.radius_cofactor,
        })
    });
    agreed(values.collect(), HEM_APART_MM)
}

/// The curvature c2 of one side's outer surface near a place, 1/mm. Its uncertainty is not told here: `surface_noise` knows it.
pub(super) fn shared_curvature(stations: &[Fitted], side: usize, s_mm: f64) -> Option<f64> {
    let values = near(stations, s_mm).filter_map(|station| {
        let fit = station.sides[side].as_ref()?;
        Some(Told { s_mm: station.s_mm, value: fit.skin.c2, weight: fit.covered, fit_u: 0.0 })
    });
    agreed(values.collect(), SURFACE_APART_MM).map(|shared| shared.value)
}

/// How many surfaces with errors of their own agree on the curvature near a place.
pub(super) fn surfaces_on_their_own(stations: &[Fitted], side: usize, s_mm: f64) -> f64 {
    let places: Vec<f64> = near(stations, s_mm)
        .filter(|station| station.sides[side].is_some())
        .map(|station| station.s_mm)
        .collect();
    on_their_own(&places, SURFACE_APART_MM)
}

fn near(stations: &[Fitted], s_mm: f64) -> impl Iterator<Item = &Fitted> {
    stations.iter().filter(move |station| (station.s_mm - s_mm).abs() <= SHARE_REACH_MM)
}

/// How many of the places count, where those nearer to each other than `apart_mm` count in part; at least one.
fn on_their_own(places_mm: &[f64], apart_mm: f64) -> f64 {
    let first_mm = places_mm.iter().copied().fold(f64::INFINITY, f64::min);
    let last_mm = places_mm.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    ((last_mm - first_mm) / apart_mm).min(places_mm.len() as f64).max(1.0)
}

/// Weighted mean of what lies within three robust deviations of the weighted median.
fn agreed(mut told: Vec<Told>, apart_mm: f64) -> Option<Shared> {
    told.sort_by(|left, right| left.value.total_cmp(&right.value));
    let half: f64 = told.iter().map(|one| one.weight).sum::<f64>() / 2.0;
    let mut below = 0.0;
    let median = told
        .iter()
        .find(|one| {
            below += one.weight;
            below >= half
        })?
        .value;
    let mut deviations: Vec<f64> = told.iter().map(|one| (one.value - median).abs()).collect();
    let deviation = 1.4826 * median_in_place(&mut deviations)?;
    let limit = 3.0 * deviation.max(1e-9 + 1e-6 * median.abs());
    let kept: Vec<Told> = told.into_iter().filter(|one| (one.value - median).abs() <= limit).collect();
    let total: f64 = kept.iter().map(|one| one.weight).sum();
    let value = kept.iter().map(|one| one.value * one.weight).sum::<f64>() / total;
    let places: Vec<f64> = kept.iter().map(|one| one.s_mm).collect();
    let count = on_their_own(&places, apart_mm);
    // What the fits say counts as one observation more: over a short stretch there is hardly a scatter to be seen.
    let fit_variance = kept.iter().map(|one| one.fit_u.powi(2)).sum::<f64>() / kept.len() as f64;
    let variance = (count * deviation.powi(2) + CORRELATION_FACTOR.powi(2) * fit_variance) / count;
    Some(Shared { value, u: (variance / count).sqrt(), degrees_of_freedom: count })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(spacing_mm: f64, count: usize) -> Vec<Told> {
        (0..count)
            .map(|index| Told {
                s_mm: spacing_mm * index as f64,
                value: [1.9, 2.0, 2.1][index % 3],
                weight: 1.0,
                fit_u: 0.02,
            })
            .collect()
    }

    #[test]
    fn neighbours_that_share_points_count_in_part() {
        let far = agreed(told(18.0, 21), 18.0).unwrap();
        assert!((far.degrees_of_freedom - 20.0).abs() < 1e-12, "{far:?}");
        let near = agreed(told(1.8, 21), 18.0).unwrap();
        assert!((near.degrees_of_freedom - 2.0).abs() < 1e-12, "{near:?}");
        // The same values, a tenth of the stretch: √10 as uncertain, and more for what is hardly seen of the scatter.
        assert!(near.u > 10_f64.sqrt() * far.u, "{near:?} {far:?}");
    }

    #[test]
    fn one_station_alone_knows_what_its_fit_says() {
        let alone = agreed(told(5.0, 1), 18.0).unwrap();
        assert!((alone.u - CORRELATION_FACTOR * 0.02).abs() < 1e-12, "{alone:?}");
        assert!(agreed(Vec::new(), 18.0).is_none());
    }
}
