//! A surface whose curvature changes beside the seam: the cubic of its profile, shared along the seam.
//!
//! In: a seam's fitted stations. Out: the same with the cubic put into their outer surfaces where the scan proves it, and what
//! is left of the doubt in the flush, mm.
//! Method: the fitted patch is of second order; a panel that is flat in its middle and rounds over towards its edge leaves a
//! cubic in the residuals, which the patch, continued to mid-gap, misses by 0.02 to 0.06 mm. At each station the residuals
//! give that cubic, orthogonal to what the patch has fitted. One station's is mostly noise; the mean over the seam is not, and its
//! uncertainty comes from the scatter between stations, of which neighbours that share points count as one. Whether there is
//! a cubic at all is asked of the seam as a whole, both sides together: either none, or heights at mid-gap of a stated size
//! (a spike and a slab, Mitchell and Beauchamp, JASA 83, 1988, with Student's likelihood, because scatter is learnt from
//! few stretches; both from memory). Where that is more likely than not the mean is put in, shrunk by its posterior; where it is
//! not, nothing changes. The posterior's variance is the doubt (JCGM 100:2008, 4.3.1).
//! Edges, and with them the gap, stay as they were fitted. Does not see a feature shorter than the band: that is `window`'s to
//! find; nor a cubic that changes its sign along the seam.

use super::settings::MeasureSettings;
use super::station::{Fitted, FittedSide, band_samples};
use crate::geometry::{NormalEquations, median_in_place, residual_mm};
use crate::scan::{Spread, gather};
use crate::section::FlatSeam;

/// Fewest stations that have a mean and a scatter.
const FEWEST_STATIONS: usize = 4;
/// Fewest stretches of the seam on their own that prove anything.
const FEWEST_STRETCHES: f64 = 3.0;
/// Fewest cells that tell one station's cubic.
const FEWEST_SAMPLES: usize = 40;
/// Stations nearer to each other than this share points or noise, mm: a fit reaches 15 mm to both sides.
const SHARED_MM: f64 = 33.0;
/// Stations further than this many robust deviations from the median are left out of the mean.
const KEPT_SIGMAS: f64 = 4.0;
/// How many seams in a hundred have panels that need the cubic, before anything is seen; and by how much the continued height
/// is then off, as a standard deviation, mm. Chosen on rehearsed scans of seeds 0 to 5 and 2900 to 2905.
const PRIOR_SHARE: f64 = 0.2;
const PRIOR_MM: f64 = 0.03;
/// A cubic is put in where it is more likely than this.
const PROVED: f64 = 0.5;
/// No mean is known better than this, mm: rounding.
const LEAST_U_MM: f64 = 1e-7;

/// Stations with the shared cubic in their surfaces.
pub(super) struct Formed {
    pub(super) fitted: Vec<Fitted>,
    /// Standard uncertainty of each station's flush that the surfaces' form leaves, mm.
    pub(super) flush_u_mm: Vec<f64>,
}

/// One station's cubic on one side: what stands in the residuals is `per_mm2 (bow[0] + bow[1] q + bow[2] q² + q³)`.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cubic {
    per_mm2: f64,
    bow: [f64; 3],
}

/// The cubic of one side, shared along the seam.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Pooled {
    per_mm2: f64,
    u_per_mm2: f64,
    /// Stretches of the seam that are on their own.
    stretches: f64,
    /// Height at mid-gap of a cubic of one, mm³.
    lever_mm3: f64,
}

/// Whether the seam's surfaces have a cubic, and how much of each side's mean is believed if so.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Verdict {
    probability: f64,
    kept_share: [f64; 2],
}

/// Puts the seam's shared cubic into its stations' surfaces, as far as it is proved.
pub(super) fn with_shared_form(
    flat: &FlatSeam,
    mut fitted: Vec<Fitted>,
    (datum, station_spacing_mm): (usize, f64),
    settings: &MeasureSettings,
    spread: &dyn Spread,
) -> Formed {
    let cubics: Vec<[Option<Cubic>; 2]> = gather(spread, fitted.len(), |index| {
        [0, 1].map(|side| cubic_of(flat, &fitted[index], side, settings))
    });
    let places: Vec<f64> = fitted.iter().map(|station| station.s_mm).collect();
    let pooled = [0, 1].map(|side| {
        let own: Vec<Option<Cubic>> = cubics.iter().map(|pair| pair[side]).collect();
        pool(&own, &places, station_spacing_mm)
    });
    let [Some(left), Some(right)] = pooled else {
        let flush_u_mm = vec![0.0; fitted.len()];
        return Formed { fitted, flush_u_mm };
    };
    let pooled = [left, right];
    let verdict = judge(&pooled);
    let is_proved = verdict.probability > PROVED;
    let mut flush_u_mm = Vec::with_capacity(fitted.len());
    for (station, own) in fitted.iter_mut().zip(&cubics) {
        let mut bows = [None; 2];
        for side in 0..2 {
            let Some(fit) = &mut station.sides[side] else { continue };
            let bow = own[side].map_or_else(|| even_bow(fit), |cubic| cubic.bow);
            if is_proved {
                let per_mm2 = verdict.probability * verdict.kept_share[side] * pooled[side].per_mm2;
                fit.skin = fit.skin.with_cubic(per_mm2, bow);
            }
            bows[side] = Some(bow[0]);
        }
        let levers_mm3 = [0, 1].map(|side| bows[side].unwrap_or(pooled[side].lever_mm3));
        flush_u_mm.push(left_u_mm(&pooled, &verdict, datum, levers_mm3));
    }
    Formed { fitted, flush_u_mm }
}

/// The cubic in the residuals of one side of a station.
fn cubic_of(flat: &FlatSeam, station: &Fitted, side: usize, settings: &MeasureSettings) -> Option<Cubic> {
    let fit = station.sides[side].as_ref()?;
    let (middle_mm, half_mm) = band_of(fit)?;
    let limit_mm = 6.0 * fit.skin.sigma_mm.max(1e-4);
    let (mut whole, mut second_order) = (NormalEquations::<6>::default(), NormalEquations::<5>::default());
    let mut count = 0;
    for sample in band_samples(flat, station, side, (fit.band_from_mm, fit.band_to_mm), settings) {
        let off_mm = residual_mm(&fit.skin, &sample);
        if off_mm.abs() < limit_mm {
            let (x, y) = ((sample.q_mm - middle_mm) / half_mm, sample.ds_mm / settings.surface_reach_mm);
            let cube = x * x * x;
            whole.add([1.0, x, x * x, y, x * y, cube], off_mm, sample.weight);
            second_order.add([1.0, x, x * x, y, x * y], cube, sample.weight);
            count += 1;
        }
    }
    if count < FEWEST_SAMPLES {
        return None;
    }
    let [.., off_mm] = whole.solve()?;
    let [constant, slope, bend, ..] = second_order.solve()?;
    Some(Cubic { per_mm2: off_mm / half_mm.powi(3), bow: bow(middle_mm, half_mm, [constant, slope, bend]) })
}

/// Middle and half-width of a side's band, mm.
fn band_of(fit: &FittedSide) -> Option<(f64, f64)> {
    let half_mm = 0.5 * (fit.band_to_mm - fit.band_from_mm);
    (half_mm > 0.0).then(|| (f64::midpoint(fit.band_from_mm, fit.band_to_mm), half_mm))
}

/// `(x³ - share · (1, x, x²)) half³` with `x = (q - middle)/half`, in powers of `q`, less its `q³`.
fn bow(middle_mm: f64, half_mm: f64, [constant, slope, bend]: [f64; 3]) -> [f64; 3] {
    let place = middle_mm / half_mm;
    [
        half_mm.powi(3) * (slope * place - constant - bend * place.powi(2) - place.powi(3)),
        half_mm.powi(2) * (2.0 * bend * place + 3.0 * place.powi(2) - slope),
        -half_mm * (bend + 3.0 * place),
    ]
}

/// The bow of a band that is evenly covered: of `x³` a parabola takes `0.6 x`.
fn even_bow(fit: &FittedSide) -> [f64; 3] {
    band_of(fit).map_or([0.0; 3], |(middle_mm, half_mm)| bow(middle_mm, half_mm, [0.0, 0.6, 0.0]))
}

/// The mean of one side's cubics and how well it is known.
fn pool(cubics: &[Option<Cubic>], places_mm: &[f64], station_spacing_mm: f64) -> Option<Pooled> {
    let found = || cubics.iter().zip(places_mm).filter_map(|(cubic, place)| Some((cubic.as_ref()?, *place)));
    let mut levers: Vec<f64> = found().map(|(cubic, _)| cubic.bow[0]).collect();
    let mut values: Vec<f64> = found().map(|(cubic, _)| cubic.per_mm2).collect();
    let median = median_in_place(&mut values)?;
    let mut deviations: Vec<f64> = values.iter().map(|value| (value - median).abs()).collect();
    let limit = KEPT_SIGMAS * 1.4826 * median_in_place(&mut deviations)?;
    let kept: Vec<(f64, f64)> = found()
        .filter(|(cubic, _)| (cubic.per_mm2 - median).abs() <= limit)
        .map(|(cubic, place)| (place, cubic.per_mm2))
        .collect();
    if kept.len() < FEWEST_STATIONS {
        return None;
    }
    let count = kept.len() as f64;
    let shared = (SHARED_MM / station_spacing_mm).max(1.0);
    let mean_of = |pick: &dyn Fn(&(f64, f64)) -> f64| kept.iter().map(pick).sum::<f64>() / count;
    let (centre_mm, per_mm2) = (mean_of(&|pair| pair.0), mean_of(&|pair| pair.1));
    // A change along the seam is no scatter.
    let square = mean_of(&|pair| (pair.0 - centre_mm).powi(2));
    let along = mean_of(&|pair| (pair.0 - centre_mm) * pair.1) / square.max(1e-12);
    let scatter = mean_of(&|pair| (pair.1 - per_mm2 - along * (pair.0 - centre_mm)).powi(2)) * count
        / (count - 2.0 * shared).max(0.2 * count);
    let stretches = count / shared;
    let u_per_mm2 = (scatter / stretches).sqrt();
    Some(Pooled { per_mm2, u_per_mm2, stretches, lever_mm3: median_in_place(&mut levers)? })
}

/// How likely it is that the surfaces have a cubic, and how much of its means to keep.
fn judge(pooled: &[Pooled; 2]) -> Verdict {
    let prior_mm2 = PRIOR_MM * PRIOR_MM;
    let u_mm2 = pooled.map(|side| (side.u_per_mm2 * side.lever_mm3).abs().max(LEAST_U_MM).powi(2));
    let mut log_odds = (PRIOR_SHARE / (1.0 - PRIOR_SHARE)).ln();
    for (side, u_mm2) in pooled.iter().zip(u_mm2) {
        let off_mm2 = (side.per_mm2 * side.lever_mm3).powi(2);
        let freedom = (side.stretches - 2.0).max(1.0);
        let power = 0.5 * (freedom + 1.0);
        let slab_mm2 = u_mm2 + prior_mm2;
        log_odds += 0.5 * (u_mm2 / slab_mm2).ln()
            + power * ((off_mm2 / (freedom * u_mm2)).ln_1p() - (off_mm2 / (freedom * slab_mm2)).ln_1p());
    }
    let is_enough = pooled.iter().all(|side| side.stretches >= FEWEST_STRETCHES);
    Verdict {
        probability: if is_enough { 1.0 / (1.0 + (-log_odds).exp()) } else { PRIOR_SHARE },
        kept_share: u_mm2.map(|u_mm2| prior_mm2 / (prior_mm2 + u_mm2)),
    }
}

/// What stays open in a station's flush: the means' own uncertainty where there is a cubic, and that there may be none where one
/// was put in, or one where none was.
fn left_u_mm(pooled: &[Pooled; 2], verdict: &Verdict, datum: usize, levers_mm3: [f64; 2]) -> f64 {
    let signs = if datum == 0 { [-1.0, 1.0] } else { [1.0, -1.0] };
    let Verdict { probability, kept_share } = verdict;
    let (mut means_mm2, mut off_mm) = (0.0, 0.0);
    for side in 0..2 {
        means_mm2 += kept_share[side] * (pooled[side].u_per_mm2 * levers_mm3[side]).powi(2);
        off_mm += signs[side] * kept_share[side] * pooled[side].per_mm2 * levers_mm3[side];
    }
    let put_in = if *probability > PROVED { *probability } else { 0.0 };
    let open = probability * (1.0 - put_in).powi(2) + (1.0 - probability) * put_in.powi(2);
    (probability * means_mm2 + open * off_mm * off_mm).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{SkinSample, fit_skin_patch};

    /// A patch of second order with the residuals' cubic put in is a fit of third order: exact for a cubic surface.
    #[test]
    fn a_cubic_surface_is_continued_to_mid_gap_without_error() {
        let height_mm = |q_mm: f64| 0.3 - 0.02 * q_mm - 2e-6 * q_mm.powi(3);
        let (from_mm, to_mm) = (5.0, 41.0);
        let samples: Vec<SkinSample> = (0..=72)
            .map(|step| {
                let q_mm = from_mm + 0.5 * f64::from(step);
                SkinSample { q_mm, ds_mm: f64::from(step % 7) - 3.0, z_mm: height_mm(q_mm), weight: 1.0 }
            })
            .collect();
        let skin = fit_skin_patch(&samples, None).unwrap();
        // Some 0.02 mm: what the second order misses.
        assert!((skin.height_mm(0.0) - height_mm(0.0)).abs() > 0.01, "{}", skin.height_mm(0.0));
        let (middle_mm, half_mm) = (0.5 * (from_mm + to_mm), 0.5 * (to_mm - from_mm));
        let even = bow(middle_mm, half_mm, [0.0, 0.6, 0.0]);
        let corrected = skin.with_cubic(-2e-6, even);
        // The strip's samples are not quite an even cover, and the patch's q⁴ goes with its bend.
        assert!((corrected.height_mm(0.0) - height_mm(0.0)).abs() < 1.5e-3, "{}", corrected.height_mm(0.0));
    }

    /// Deterministic scatter of unit variance, the same sum of sines for all.
    fn scattered(mean_mm: f64, scatter_mm: f64, count: usize, phase: f64) -> Vec<Option<Cubic>> {
        let lever_mm3 = -1e4;
        (0..count)
            .map(|index| {
                let wave = (1.7 * index as f64 + phase).sin() + (0.61 * index as f64 + 2.0 * phase).sin();
                Some(Cubic { per_mm2: (mean_mm + scatter_mm * wave) / lever_mm3, bow: [lever_mm3, 0.0, 0.0] })
            })
            .collect()
    }

    fn judged(mean_mm: f64, count: usize) -> ([Pooled; 2], Verdict) {
        let places: Vec<f64> = (0..count).map(|index| 10.0 * index as f64).collect();
        let pooled = [0.3, 1.9].map(|phase| {
            // What hand-held noise leaves at one station: 0.03 mm.
            pool(&scattered(mean_mm, 0.03, count, phase), &places, 10.0).unwrap()
        });
        (pooled, judge(&pooled))
    }

    #[test]
    fn what_a_long_seam_shows_plainly_is_proved_and_kept_almost_whole() {
        let (pooled, verdict) = judged(0.025, 70);
        assert!(verdict.probability > 0.99, "{verdict:?}");
        assert!(verdict.kept_share.iter().all(|share| *share > 0.9), "{verdict:?}");
        // Both heights off the same way cancel in the flush; what is left is about the means' own uncertainty.
        let u_mm = left_u_mm(&pooled, &verdict, 0, [-1e4, -1e4]);
        assert!(u_mm > 0.004 && u_mm < 0.015, "{u_mm}");
    }

    #[test]
    fn what_scatter_explains_is_not_proved_and_a_few_stations_prove_nothing() {
        let (_, verdict) = judged(0.0, 28);
        assert!(verdict.probability < PRIOR_SHARE, "{verdict:?}");
        let (_, verdict) = judged(0.2, 9);
        assert!((verdict.probability - PRIOR_SHARE).abs() < 1e-12, "{verdict:?}");
    }
}
