//! What a surface whose curvature changes does to its continuation at mid-gap.
//!
//! In: a seam's fitted stations. Out: how far the flush may be off for that reason, mm.
//! Method: the fitted patch is of second order. A polynomial of third order is fitted to its residuals at many stations and
//! continued to mid-gap; what their scatter explains by chance is taken off the mean. The flush is not corrected: a third
//! order is hardly known beyond what was seen, so that all of it counts as uncertainty (JCGM 100:2008, 4.3.1).
//! Does not see a feature shorter than the band: that is `window`'s to find.

use super::settings::MeasureSettings;
use super::station::{Fitted, band_samples};
use crate::geometry::{NormalEquations, residual_mm};
use crate::section::FlatSeam;

/// At most this many stations are looked at.
const STATIONS: usize = 40;
/// Fewest of them.
const FEWEST_STATIONS: usize = 4;
/// So many neighbouring stations share their points and count as one: a fit reaches some 30 mm to both sides, stations are often
/// 20 mm apart.
const SHARED: f64 = 3.0;

/// Doubt of a seam's flush: the datum's continued height may be off one way and the other panel's another, mm.
pub(super) fn flush_form_u_mm(
    flat: &FlatSeam,
    fitted: &[Fitted],
    datum: usize,
    settings: &MeasureSettings,
) -> f64 {
    let step = fitted.len().div_ceil(STATIONS).max(1);
    let offs_mm: Vec<f64> = fitted
        .iter()
        .step_by(step)
        .filter_map(|station| {
            let off_mm = |side| height_off_mm(flat, station, side, settings);
            Some(off_mm(1 - datum)? - off_mm(datum)?)
        })
        .collect();
    if offs_mm.len() < FEWEST_STATIONS {
        return 0.0;
    }
    let count = offs_mm.len() as f64;
    let mean_mm = offs_mm.iter().sum::<f64>() / count;
    let variance_mm2 = offs_mm.iter().map(|off_mm| (off_mm - mean_mm).powi(2)).sum::<f64>() / (count - 1.0);
    let chance_mm2 = SHARED * variance_mm2 / count;
    (mean_mm.powi(2) - chance_mm2).max(0.0).sqrt()
}

/// How far one side's surface at mid-gap lies over its continued patch, as a third order says, mm.
fn height_off_mm(flat: &FlatSeam, station: &Fitted, side: usize, settings: &MeasureSettings) -> Option<f64> {
    let fit = station.sides[side].as_ref()?;
    let middle_mm = f64::midpoint(fit.band_from_mm, fit.band_to_mm);
    let half_mm = 0.5 * (fit.band_to_mm - fit.band_from_mm);
    if half_mm <= 0.0 {
        return None;
    }
    let limit_mm = 6.0 * fit.skin.sigma_mm.max(1e-4);
    let powers = |q_mm: f64| {
        let x = (q_mm - middle_mm) / half_mm;
        [1.0, x, x * x, x * x * x]
    };
    let mut equations = NormalEquations::<4>::default();
    for sample in band_samples(flat, station, side, (fit.band_from_mm, fit.band_to_mm), settings) {
        let off_mm = residual_mm(&fit.skin, &sample);
        if off_mm.abs() < limit_mm {
            equations.add(powers(sample.q_mm), off_mm, sample.weight);
        }
    }
    let factors = equations.solve()?;
    Some(factors.iter().zip(powers(0.0)).map(|(factor, power)| factor * power).sum())
}
