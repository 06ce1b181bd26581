//! How far from its edge a panel's outer surface is one smooth piece.
//!
//! In: stations fitted once. Out: per side the longest band, mm, that runs across no crease, trim line or step.
//! Method: for bands from long to short, the residuals of all stations' parabolas are pooled in strips by distance from the
//! edge; a band is accepted where no strip's mean stands off by more than 12 µm and four of its standard errors. Pooling
//! beats the noise; a feature that runs along the seam does not average out.
//! Does not see features that cross the seam.

use super::settings::MeasureSettings;
use super::station::{BAND_MARGIN_MM, Fitted, RADIUS_UNKNOWN_MM, band_samples};
use crate::geometry::{TangentArc, fit_skin_patch, residual_mm};
use crate::section::FlatSeam;

/// Bands tried, mm, from long to short.
pub(super) const BANDS_MM: [f64; 9] = [40.0, 30.0, 25.0, 20.0, 15.0, 12.0, 10.0, 8.0, 6.0];
/// What a strip's mean may stand off, mm.
const STRIP_LIMIT_MM: f64 = 0.012;
/// At most this many stations are pooled.
const POOLED_STATIONS: usize = 40;
/// Below this length a band is shortened further, because the test notices a crease a little late, mm.
const LATE_BELOW_MM: f64 = 20.0;
const LATE_BY_MM: f64 = 2.5;

/// Residuals of one strip along the seam, all stations together.
#[derive(Debug, Clone, Copy, Default)]
struct Strip {
    sum_mm: f64,
    square_sum_mm2: f64,
    count: f64,
    /// Cells more than a millimetre off.
    far: f64,
}

/// The longest smooth band of one side; `None` where even the shortest is not smooth.
pub(super) fn choose_band_mm(
    flat: &FlatSeam,
    stations: &[Fitted],
    side: usize,
    settings: &MeasureSettings,
) -> Option<f64> {
    let step = stations.len().div_ceil(POOLED_STATIONS).max(1);
    let pooled: Vec<&Fitted> = stations.iter().step_by(step).collect();
    let accepted = BANDS_MM
        .into_iter()
        .filter(|band_mm| *band_mm <= settings.set_back_mm)
        .find(|band_mm| is_smooth(flat, &pooled, side, *band_mm, settings))?;
    Some(shortened_late_mm(accepted))
}

/// A smooth band less what the test may have noticed late, mm.
pub(super) fn shortened_late_mm(smooth_mm: f64) -> f64 {
    if smooth_mm < LATE_BELOW_MM { (smooth_mm - LATE_BY_MM).max(5.0) } else { smooth_mm }
}

fn is_smooth(
    flat: &FlatSeam,
    stations: &[&Fitted],
    side: usize,
    band_mm: f64,
    settings: &MeasureSettings,
) -> bool {
    let mut strips = vec![Strip::default(); band_mm as usize + 1];
    for station in stations {
        let Some(fit) = &station.sides[side] else { continue };
        let past_hem_mm =
            |arc: &TangentArc| arc.edge_mm + arc.radius_mm.min(RADIUS_UNKNOWN_MM) + BAND_MARGIN_MM;
        let from_mm = fit.arc.as_ref().map_or(fit.band_from_mm, past_hem_mm);
        let samples = band_samples(flat, station, side, (from_mm, from_mm + band_mm), settings);
        let Some(skin) = fit_skin_patch(&samples, None) else { continue };
        for sample in &samples {
            let off_mm = residual_mm(&skin, sample);
            let strip = &mut strips[((sample.q_mm - from_mm) as usize).min(band_mm as usize)];
            // Strays and holes' rims are not features; a crease stands off by less at first.
            if off_mm.abs() < 1.0 {
                strip.sum_mm += off_mm;
                strip.square_sum_mm2 += off_mm * off_mm;
                strip.count += 1.0;
            } else {
                strip.far += 1.0;
            }
        }
    }
    strips.iter().all(Strip::is_smooth)
}

impl Strip {
    fn is_smooth(&self) -> bool {
        if self.count + self.far < 10.0 {
            return true;
        }
        // Where most stand far off, another surface has begun.
        if self.far > self.count {
            return false;
        }
        let mean_mm = self.sum_mm / self.count;
        let variance_mm2 = (self.square_sum_mm2 / self.count - mean_mm * mean_mm).max(0.0);
        // Neighbouring cells share their noise: about one in six is on its own.
        mean_mm.abs() <= STRIP_LIMIT_MM.max(4.0 * (6.0 * variance_mm2 / self.count).sqrt())
    }
}
