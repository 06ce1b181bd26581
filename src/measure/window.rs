//! How far from its edge a panel's outer surface is one smooth piece.
//!
//! In: stations fitted once. Out: per side the longest band, mm, that runs across no crease, trim line or step.
//! Method: for bands from long to short, the residuals of all stations' parabolas are pooled in strips by distance from the
//! edge; a band is accepted where no strip's mean stands off by more than 12 µm and four of its standard errors. Pooling
//! beats the noise; a feature that runs along the seam does not average out. A band is no use where the surface between it and the hem does not
//! lie on its continuation.
//! Does not see features that cross the seam.

use super::settings::MeasureSettings;
use super::station::{BAND_MARGIN_MM, Fitted, RADIUS_UNKNOWN_MM, band_samples};
use crate::geometry::{SkinPatch, SkinSample, TangentArc, fit_skin_patch, residual_mm};
use crate::section::FlatSeam;

/// Bands tried, mm, from long to short.
pub(super) const BANDS_MM: [f64; 9] = [40.0, 30.0, 25.0, 20.0, 15.0, 12.0, 10.0, 8.0, 6.0];
/// What a strip's mean may stand off, mm.
const STRIP_LIMIT_MM: f64 = 0.012;
/// What the surface between hem and band may stand off the band's continuation, mm: pressing a hem leaves some hundredths there.
const BEFORE_LIMIT_MM: f64 = 0.05;
/// The outer surface is plain this far past a hem's tangent point, mm: some one smoothing width.
const PAST_HEM_MM: f64 = 0.6;
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

/// The longest smooth band of one side, up to a length; `None` where even the shortest is not smooth.
pub(super) fn choose_band_mm(
    flat: &FlatSeam,
    stations: &[Fitted],
    side: usize,
    longest_mm: f64,
    settings: &MeasureSettings,
) -> Option<f64> {
    let step = stations.len().div_ceil(POOLED_STATIONS).max(1);
    let pooled: Vec<&Fitted> = stations.iter().step_by(step).collect();
    let accepted = BANDS_MM
        .into_iter()
        .filter(|band_mm| *band_mm <= longest_mm)
        .find(|band_mm| is_smooth(flat, &pooled, side, *band_mm, settings))?;
    Some(if accepted < longest_mm { shortened_late_mm(accepted) } else { accepted })
}

/// A smooth band less what the test may have noticed late, mm.
pub(super) fn shortened_late_mm(smooth_mm: f64) -> f64 {
    if smooth_mm < LATE_BELOW_MM { (smooth_mm - LATE_BY_MM).max(5.0) } else { smooth_mm }
}

/// True unless the surface between hem and band, where it is seen, stands off what the fits say of it.
pub(super) fn is_joined(
    flat: &FlatSeam,
    stations: &[Fitted],
    side: usize,
    settings: &MeasureSettings,
) -> bool {
    let mut before = Strip::default();
    for station in stations {
        let Some(fit) = &station.sides[side] else { continue };
        let from_mm =
            fit.arc.as_ref().map_or(fit.band_from_mm - BAND_MARGIN_MM, |arc| arc.edge_mm + arc.radius_mm)
                + PAST_HEM_MM;
        for sample in band_samples(flat, station, side, (from_mm, fit.band_from_mm), settings) {
            before.add(residual_mm(&fit.skin, &sample));
        }
    }
    // Where cells scatter by more than the limit, edges are rounded off by as much.
    before.is_smooth(BEFORE_LIMIT_MM.max(before.scatter_mm()))
}

/// One side's surface over a band.
struct Looked {
    from_mm: f64,
    samples: Vec<SkinSample>,
    skin: SkinPatch,
}

fn look(
    flat: &FlatSeam,
    station: &Fitted,
    side: usize,
    band_mm: f64,
    settings: &MeasureSettings,
) -> Option<Looked> {
    let fit = station.sides[side].as_ref()?;
    let largest_mm = fit.largest_radius_mm.max(RADIUS_UNKNOWN_MM);
    let past_hem_mm = |arc: &TangentArc| arc.edge_mm + arc.radius_mm.min(largest_mm) + BAND_MARGIN_MM;
    let from_mm = fit.arc.as_ref().map_or(fit.band_from_mm, past_hem_mm);
    let samples = band_samples(flat, station, side, (from_mm, from_mm + band_mm), settings);
    let skin = fit_skin_patch(&samples, None)?;
    Some(Looked { from_mm, samples, skin })
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
        let Some(Looked { from_mm, samples, skin }) = look(flat, station, side, band_mm, settings) else {
            continue;
        };
        for sample in &samples {
            let place = ((sample.q_mm - from_mm) as usize).min(band_mm as usize);
            strips[place].add(residual_mm(&skin, sample));
        }
    }
    strips.iter().all(|strip| strip.is_smooth(STRIP_LIMIT_MM))
}

impl Strip {
    fn add(&mut self, off_mm: f64) {
        // Strays and holes' rims are not features; a crease stands off by less at first.
        if off_mm.abs() < 1.0 {
            self.sum_mm += off_mm;
            self.square_sum_mm2 += off_mm * off_mm;
            self.count += 1.0;
        } else {
            self.far += 1.0;
        }
    }

    fn is_smooth(&self, limit_mm: f64) -> bool {
        if self.count + self.far < 10.0 {
            return true;
        }
        // Where most stand far off, another surface has begun.
        if self.far > self.count {
            return false;
        }
        let mean_mm = self.sum_mm / self.count;
        // Neighbouring cells share their noise: about one in six is on its own.
        mean_mm.abs() <= limit_mm.max(4.0 * self.scatter_mm() * (6.0 / self.count).sqrt())
    }

    /// Standard deviation; 0 where there is nothing.
    fn scatter_mm(&self) -> f64 {
        let count = self.count.max(1.0);
        (self.square_sum_mm2 / count - (self.sum_mm / count).powi(2)).max(0.0).sqrt()
    }
}
