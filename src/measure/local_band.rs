//! Stations beside which the outer surface is not one smooth piece although it is along most of the seam.
//!
//! In: a seam's fitted stations. Out: for each station and side a shorter band where the fitted one runs over a ledge, a dent's
//! rim or a body line that comes near at an angle; and what is left of such a feature in the flush, mm.
//! Method: the median residual of tiles, 4 mm across and half the slab along. How large tiles are by noise is told by the
//! seam itself (robust scale of all its tiles), so that noise and waves common to the seam shorten nothing. Where a tile
//! stands off by six times that, shorter bands are fitted until none does. Where no shorter band helps the band stays: a line that runs
//! across the seam lifts both panels alike. What the strips next to both hems differ by is then the doubt of the flush.
//! Does not see what runs along the whole seam: that is `window`'s to find.

use super::settings::MeasureSettings;
use super::station::{Fitted, FittedSide, band_samples};
use super::window::{BANDS_MM, shortened_late_mm};
use crate::geometry::{SkinPatch, SkinSample, fit_skin_patch, median_in_place, residual_mm};
use crate::scan::{Spread, gather};
use crate::section::FlatSeam;

/// Width of a tile across the seam, mm.
const TILE_MM: f64 = 4.0;
/// Fewest cells whose median says anything.
const FEWEST_CELLS: usize = 6;
/// A tile stands off at so many robust deviations of the seam's tiles; fifty thousand tiles of noise hold none.
const SIGMAS: f64 = 6.0;
/// And by this much, mm: less moves the continued surface by less than the scanner's accuracy.
const LEAST_MM: f64 = 0.02;

/// One station beside which a surface is uneven.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct LocalBand {
    /// Shorter bands, left and right side, mm; `None` where the fitted one stays.
    pub(super) bands_mm: [Option<f64>; 2],
}

/// How far tiles of one side stand off by noise, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct TileLimits([f64; 2]);

impl TileLimits {
    /// From all tiles of a seam.
    pub(super) fn of(
        flat: &FlatSeam,
        fitted: &[Fitted],
        settings: &MeasureSettings,
        spread: &dyn Spread,
    ) -> Self {
        let sizes: Vec<[Vec<f64>; 2]> = gather(spread, fitted.len(), |index| {
            [0, 1].map(|side| {
                let station = &fitted[index];
                let Some(fit) = &station.sides[side] else { return Vec::new() };
                let samples = samples_of(flat, station, side, fit, settings);
                tiles_mm(&samples, &fit.skin, fit.band_from_mm).iter().map(|off_mm| off_mm.abs()).collect()
            })
        });
        Self([0, 1].map(|side: usize| {
            let mut all: Vec<f64> = sizes.iter().flat_map(|sides| sides[side].iter().copied()).collect();
            let scale_mm = 1.4826 * median_in_place(&mut all).unwrap_or(0.0);
            LEAST_MM.max(SIGMAS * scale_mm)
        }))
    }
}

/// Shorter bands for stations where a tile stands off.
pub(super) fn local_bands(
    flat: &FlatSeam,
    fitted: &[Fitted],
    limits: &TileLimits,
    settings: &MeasureSettings,
    spread: &dyn Spread,
) -> Vec<LocalBand> {
    gather(spread, fitted.len(), |index| LocalBand {
        bands_mm: [0, 1].map(|side| shorter_mm(flat, &fitted[index], side, limits.0[side], settings)),
    })
}

fn shorter_mm(
    flat: &FlatSeam,
    station: &Fitted,
    side: usize,
    limit_mm: f64,
    settings: &MeasureSettings,
) -> Option<f64> {
    let fit = station.sides[side].as_ref()?;
    let samples = samples_of(flat, station, side, fit, settings);
    let is_even = |samples: &[SkinSample], skin: &SkinPatch| {
        tiles_mm(samples, skin, fit.band_from_mm).iter().all(|off_mm| off_mm.abs() <= limit_mm)
    };
    if is_even(&samples, &fit.skin) {
        return None;
    }
    let length_mm = fit.band_to_mm - fit.band_from_mm;
    BANDS_MM.into_iter().filter(|band_mm| *band_mm < length_mm).find_map(|band_mm| {
        let near: Vec<SkinSample> =
            samples.iter().filter(|sample| sample.q_mm <= fit.band_from_mm + band_mm).copied().collect();
        let skin = fit_skin_patch(&near, Some(fit.skin.c2))?;
        is_even(&near, &skin).then(|| shortened_late_mm(band_mm))
    })
}

/// What an unevenness that no band avoids leaves in a station's flush, mm; zero where there is none.
pub(super) fn left_in_flush_mm(
    flat: &FlatSeam,
    station: &Fitted,
    limits: &TileLimits,
    settings: &MeasureSettings,
) -> f64 {
    let near = |side: usize| -> Option<(f64, bool)> {
        let fit = station.sides[side].as_ref()?;
        let samples = samples_of(flat, station, side, fit, settings);
        let is_uneven = tiles_mm(&samples, &fit.skin, fit.band_from_mm)
            .iter()
            .any(|off_mm| off_mm.abs() > limits.0[side]);
        let mut offs_mm: Vec<f64> = samples
            .iter()
            .filter(|sample| sample.q_mm < fit.band_from_mm + TILE_MM)
            .map(|sample| residual_mm(&fit.skin, sample))
            .collect();
        Some((median_in_place(&mut offs_mm).unwrap_or(0.0), is_uneven))
    };
    match [near(0), near(1)] {
        [Some((left_mm, left)), Some((right_mm, right))] if left || right => (left_mm - right_mm).abs(),
        _ => 0.0,
    }
}

fn samples_of(
    flat: &FlatSeam,
    station: &Fitted,
    side: usize,
    fit: &FittedSide,
    settings: &MeasureSettings,
) -> Vec<SkinSample> {
    band_samples(flat, station, side, (fit.band_from_mm, fit.band_to_mm), settings)
}

/// Median height over the patch of each tile that has enough cells, mm.
fn tiles_mm(samples: &[SkinSample], skin: &SkinPatch, from_mm: f64) -> Vec<f64> {
    let mut tiles: Vec<Vec<f64>> = Vec::new();
    for sample in samples {
        let number =
            2 * ((sample.q_mm - from_mm).max(0.0) / TILE_MM) as usize + usize::from(sample.ds_mm > 0.0);
        if tiles.len() <= number {
            tiles.resize(number + 1, Vec::new());
        }
        tiles[number].push(residual_mm(skin, sample));
    }
    tiles
        .iter_mut()
        .filter(|tile| tile.len() >= FEWEST_CELLS)
        .filter_map(|tile| median_in_place(tile))
        .collect()
}
