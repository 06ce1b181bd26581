//! The uncertainty budget of gap and flush.
//!
//! In: a seam's values in station order, each station's fit, the settings. Out: named components, mm.
//! Method (JCGM 100:2008, 4 and 5): the local part from differences between neighbouring stations (type A: fourth
//! differences cancel any smooth course of the seam and leave the noise), never less than what the fit itself says; the part
//! common to the whole scan as stated (type B); the parts of smoothing and of an edge seen only in part from their models.
//! Residual-based standard errors alone are several times too small, because scan noise is correlated along the surface; from
//! station to station they do tell where a scan is noisier or has fewer points, and the seam's noise is scaled by them.
//! Does not judge.

use super::reading::{Component, Estimate, UncertaintySource};
use super::shared::Shared;
use super::smoothing::Smoothing;
use super::station::FittedSide;
use crate::geometry::median_in_place;

/// Fewest fourth differences that make a robust standard deviation.
const FEWEST_DIFFERENCES: usize = 6;
/// Fit-based standard errors are multiplied by this where there are too few stations for differences: the ratio of real
/// scatter to fit error on practice scans with a hand-held scanner's noise.
pub(super) const CORRELATION_FACTOR: f64 = 5.0;
/// Share of the scanner's common error that reaches the flush: both outer surfaces are seen by the same views, opposite
/// hems are not, but each panel's surface has long waves of its own. Found by trial as the calibration of the surface
/// noise is, on the same seeds.
const COMMON_SHARE_OF_FLUSH: f64 = 0.7;
/// What the surface model leaves on rehearsed scans without noise, with crowned and tilted panels, mm.
const SURFACE_MODEL_MM: f64 = 0.0004;
/// Scatter about a hem's arc that is not taken for noise, mm: far under that of any scanner.
const HEM_MODEL_MM: f64 = 0.002;
/// How well the middle is known where points merely end, mm: half-width 2 mm, rectangular.
const MIDDLE_U_MM: f64 = 1.155;
/// Neighbouring stations share the noise at their common border, so that differences show a little less than there is.
const BORDER_FACTOR: f64 = 1.15;

/// How well a radius is known that nobody saw, mm.
const RADIUS_UNTOLD_U_MM: f64 = 0.1;
/// What smoothing does to a sharp hem beyond the first order, as a standard uncertainty: of that order, times s²/r². By trial on hems of
/// 0.5 and 0.6 mm (ordinary scanner, seeds 441 to 444).
const NEXT_ORDER: f64 = 3.0;
/// No fitted hem is taken for sharper than this, mm.
const SHARPEST_MM: f64 = 0.1;
/// More than estimates of equal noise differ by.
const NOISIER: f64 = 1.3;

/// Noise of a seam's values as the differences between neighbours show it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LocalNoise {
    pub(super) u_mm: f64,
    pub(super) degrees_of_freedom: f64,
    /// This station's own fit error over that of the seam's middle one; more than zero.
    pub(super) fit_ratio: f64,
}

impl LocalNoise {
    /// The noise of a station whose fit is `ratio` times as uncertain as the middle one's.
    pub(super) fn times(self, ratio: f64) -> Self {
        Self { u_mm: self.u_mm * ratio, fit_ratio: ratio, ..self }
    }

    /// The seam's noise, without what the station's fit says.
    pub(super) fn of_seam(self) -> Self {
        Self { u_mm: self.u_mm / self.fit_ratio, fit_ratio: 1.0, ..self }
    }
}

/// True where a fit is so much more uncertain than the seam's middle one that the noise there may also be of another kind.
pub(super) fn is_noisier(fit_ratio: f64) -> bool {
    fit_ratio > NOISIER
}

/// Noise from fourth differences of values `lag` stations apart; `None` where there are too few. Each value has `ratios` times
/// the noise that is found.
///
/// A fourth difference of independent values of variance σ² has variance 70 σ² (1, -4, 6, -4, 1).
pub(super) fn noise_from_differences(
    values: &[Option<f64>],
    ratios: &[f64],
    lag: usize,
) -> Option<LocalNoise> {
    const WEIGHTS: [f64; 5] = [1.0, -4.0, 6.0, -4.0, 1.0];
    let lag = lag.max(1);
    let mut sizes: Vec<f64> = (0..values.len().saturating_sub(4 * lag))
        .filter_map(|first| {
            let mut sums = (0.0, 0.0);
            for (step, weight) in WEIGHTS.iter().enumerate() {
                let place = first + step * lag;
                sums.0 += weight * values[place]?;
                sums.1 += (weight * ratios[place]).powi(2);
            }
            Some(sums.0.abs() / sums.1.sqrt())
        })
        .collect();
    if sizes.len() < FEWEST_DIFFERENCES {
        return None;
    }
    let degrees_of_freedom = (sizes.len() as f64 / lag as f64 / 2.0).max(2.0);
    Some(LocalNoise { u_mm: 1.4826 * median_in_place(&mut sizes)?, degrees_of_freedom, fit_ratio: 1.0 })
}

/// The errors of a seam's fits, mm, over that of the middle one; 1 where there is none, or no noise.
pub(super) fn fit_ratios(fit_errors_mm: &[Option<f64>]) -> Vec<f64> {
    let known = |error_mm: &Option<f64>| error_mm.filter(|error_mm| *error_mm > 0.0);
    let typical_mm = median_in_place(&mut fit_errors_mm.iter().filter_map(known).collect::<Vec<f64>>());
    let ratio = |error_mm: &Option<f64>| Some(known(error_mm)? / typical_mm?);
    fit_errors_mm.iter().map(|error_mm| ratio(error_mm).unwrap_or(1.0)).collect()
}

/// What the budget of one station is made from.
pub(super) struct Evidence<'a> {
    pub(super) sides: [&'a FittedSide; 2],
    pub(super) gap_noise: Option<LocalNoise>,
    pub(super) flush_noise: Option<LocalNoise>,
    pub(super) accuracy_mm: f64,
    pub(super) smoothing: Smoothing,
    /// Each side's radius where it was shared or given.
    pub(super) radii: [Option<Shared>; 2],
    /// What the unseen part of flanges that lean out may add to the gap, mm.
    pub(super) unseen_flange_u_mm: f64,
    /// What a changing curvature of the surfaces, as far as it is not corrected, may do to the flush, mm.
    pub(super) form_u_mm: f64,
    /// How far each side's hems pass the arcs that stand for them, mm.
    pub(super) hem_form_mm: [f64; 2],
    /// False where an edge was not seen, so that the middle of the gap is only roughly known.
    pub(super) is_middle_seen: bool,
}

/// Standard error of the gap as the fits alone say, mm.
fn fit_error_of_gap(sides: &[&FittedSide; 2]) -> f64 {
    let of_side = |side: &&FittedSide| side.arc.as_ref().map_or(0.0, |arc| arc.sigma_mm * arc.edge_cofactor);
    sides.iter().map(of_side).fold(0.0, f64::hypot)
}

/// Scatter of one side beside the gap as far as it is noise, where no body line or ledge takes part in it, mm.
fn hem_scatter_mm(side: &FittedSide) -> Option<f64> {
    Some(side.arc.as_ref()?.sigma_mm.hypot(HEM_MODEL_MM))
}

/// What a gap's error is proportional to, as far as it is noise, mm.
pub(super) fn noise_error_of_gap(sides: &[&FittedSide; 2]) -> Option<f64> {
    let of_side = |side: &FittedSide| Some(hem_scatter_mm(side)? * side.arc.as_ref()?.edge_cofactor);
    Some(of_side(sides[0])?.hypot(of_side(sides[1])?))
}

/// The same for a flush: the scatter, and how many points the surfaces have.
pub(super) fn noise_error_of_flush(sides: &[&FittedSide; 2]) -> Option<f64> {
    let of_side = |side: &FittedSide| Some(hem_scatter_mm(side)? / (side.skin.used as f64).max(1.0).sqrt());
    Some(of_side(sides[0])?.hypot(of_side(sides[1])?))
}

/// Standard error of the flush as the fits alone say, mm.
fn fit_error_of_flush(sides: &[&FittedSide; 2]) -> f64 {
    // The height at mid-gap of a straight line through a band, continued over the hem: about twice the mean's error.
    let of_side = |side: &&FittedSide| 2.0 * side.skin.sigma_mm / (side.skin.used as f64).max(1.0).sqrt();
    sides.iter().map(of_side).fold(0.0, f64::hypot)
}

fn noise_component(noise: Option<LocalNoise>, fit_error_mm: f64) -> Component {
    let (u_mm, degrees_of_freedom) = match noise {
        Some(local) => ((BORDER_FACTOR * local.u_mm).max(fit_error_mm), local.degrees_of_freedom),
        None => (CORRELATION_FACTOR * fit_error_mm, 4.0),
    };
    Component { source: UncertaintySource::ScanNoise, u_mm, degrees_of_freedom }
}

const fn stated(source: UncertaintySource, u_mm: f64) -> Component {
    Component { source, u_mm, degrees_of_freedom: f64::INFINITY }
}

/// One component from several causes, each with its degrees of freedom (Welch–Satterthwaite); `None` where there is none.
fn together(source: UncertaintySource, causes: &[(f64, f64)]) -> Option<Component> {
    let components = causes.iter().map(|(u_mm, degrees_of_freedom)| Component {
        source,
        u_mm: *u_mm,
        degrees_of_freedom: *degrees_of_freedom,
    });
    let Estimate { u_mm, degrees_of_freedom, .. } = Estimate::from_components(0.0, components.collect());
    (u_mm > 0.0).then_some(Component { source, u_mm, degrees_of_freedom })
}

/// Components of the gap.
pub(super) fn gap_components(evidence: &Evidence<'_>) -> Vec<Component> {
    let mut components = vec![
        noise_component(evidence.gap_noise, fit_error_of_gap(&evidence.sides)),
        stated(UncertaintySource::ScannerAccuracy, evidence.accuracy_mm),
    ];
    let [known_mm, modelled_mm] = smoothing_doubts_mm(evidence);
    let form_mm = evidence.hem_form_mm.into_iter().fold(modelled_mm, f64::hypot);
    components.extend(together(UncertaintySource::Model, &[(form_mm, f64::INFINITY)]));
    let smoothing = (known_mm, evidence.smoothing.degrees_of_freedom);
    components.extend(together(UncertaintySource::Smoothing, &[smoothing]));
    let [left, right] = [0, 1].map(|side| edge_seen_doubt_mm(evidence, side));
    let flange = (evidence.unseen_flange_u_mm, f64::INFINITY);
    components.extend(together(UncertaintySource::EdgeSeen, &[left, right, flange]));
    components
}

/// Components of the flush.
pub(super) fn flush_components(evidence: &Evidence<'_>) -> Vec<Component> {
    let mut components = vec![
        noise_component(evidence.flush_noise, fit_error_of_flush(&evidence.sides)),
        stated(UncertaintySource::ScannerAccuracy, COMMON_SHARE_OF_FLUSH * evidence.accuracy_mm),
        stated(UncertaintySource::Model, SURFACE_MODEL_MM.hypot(evidence.form_u_mm)),
    ];
    if !evidence.is_middle_seen {
        let [left, right] = evidence.sides.map(|side| side.skin.slope(0.0));
        components.push(stated(UncertaintySource::EdgeSeen, (left + right).abs() * MIDDLE_U_MM));
    }
    components
}

/// How wrong the gap may be because the smoothing is known only so well, and because it is not small against a sharp hem, mm each:
/// smoothing widens a gap by 0.36 s²/r an edge, and what comes next in s²/r² is not modelled. Both edges err alike.
fn smoothing_doubts_mm(evidence: &Evidence<'_>) -> [f64; 2] {
    let Smoothing { variance_mm2, u_mm2, .. } = evidence.smoothing;
    let radii_mm =
        || evidence.sides.iter().filter_map(|side| Some(side.arc.as_ref()?.radius_mm.max(SHARPEST_MM)));
    let known_mm: f64 = radii_mm().map(|radius_mm| 0.36 * u_mm2 / radius_mm).sum();
    let next = |radius_mm: f64| NEXT_ORDER * variance_mm2 / radius_mm.powi(2);
    let modelled_mm: f64 =
        radii_mm().map(|radius_mm| 0.36 * variance_mm2 / radius_mm * next(radius_mm)).sum();
    [known_mm, modelled_mm]
}

/// What a radius that is off by its uncertainty moves the edge, mm, and how many degrees of freedom that has.
fn edge_seen_doubt_mm(evidence: &Evidence<'_>, side: usize) -> (f64, f64) {
    let Some(arc) = &evidence.sides[side].arc else { return (0.0, f64::INFINITY) };
    let (radius_u_mm, degrees_of_freedom) = evidence.radii[side]
        .map_or((RADIUS_UNTOLD_U_MM, f64::INFINITY), |shared| (shared.u, shared.degrees_of_freedom));
    let seen_rad = arc.seen_rad;
    // de/dr of a fit to the directions from 12° to the end of the arc: minus the regression of (sin + cos - 1) on sin.
    let steps = 40;
    let mut sums = (0.0, 0.0);
    for step in 0..=steps {
        let angle_rad = 0.21 + (seen_rad.clamp(0.4, 1.66) - 0.21) * f64::from(step) / f64::from(steps);
        let sine = angle_rad.sin();
        sums.0 += sine * (sine + angle_rad.cos() - 1.0);
        sums.1 += sine * sine;
    }
    (radius_u_mm * sums.0 / sums.1, degrees_of_freedom)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fits_are_held_against_the_middle_one() {
        assert_eq!(fit_ratios(&[Some(0.001), Some(0.002), Some(0.008), None]), [0.5, 1.0, 4.0, 1.0]);
        assert_eq!(fit_ratios(&[Some(0.0), Some(0.0)]), [1.0, 1.0]);
    }

    #[test]
    fn differences_find_the_noise_of_the_middle_station_through_stations_that_are_noisier() {
        // Alternating signs: every fourth difference is 16 times the size, or mixes both sizes.
        let ratios: Vec<f64> = (0..40).map(|index| if index < 25 { 1.0 } else { 5.0 }).collect();
        let sign = |index: usize| if index.is_multiple_of(2) { 1.0 } else { -1.0 };
        let values: Vec<Option<f64>> =
            ratios.iter().enumerate().map(|(index, ratio)| Some(0.01 * ratio * sign(index))).collect();
        let noise = noise_from_differences(&values, &ratios, 1).unwrap();
        assert!((noise.u_mm - 1.4826 * 0.16 / 70.0_f64.sqrt()).abs() < 1e-12, "{}", noise.u_mm);
        assert!((noise.times(5.0).of_seam().u_mm - noise.u_mm).abs() < 1e-15);
    }
}
