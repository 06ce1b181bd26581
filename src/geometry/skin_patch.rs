//! A robust low-order patch through an outer surface seen from its edge.
//!
//! In: samples (q, ds, z): distance from mid-gap into the panel, distance along the seam, height; mm; any order.
//! Out: `z = c0 + c1 q + c2 q² + c2³ q⁴ + c3 ds + c4 q ds`, where the quartic term makes the parabola follow a circle
//! (the next term of its series), so that a curved panel can be continued to mid-gap without bias; `cubic q³` is added where
//! others know it, and never fitted here.
//! Method: Tukey's biweight by reweighted normal equations, scale from the median absolute residual (Rousseeuw and Leroy,
//! Robust Regression and Outlier Detection, 1987).
//! Does not choose the band: see `measure::window`.

use super::normal_equations::{NormalEquations, median_in_place, tukey_weight};

/// One sample of an outer surface, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SkinSample {
    pub q_mm: f64,
    pub ds_mm: f64,
    pub z_mm: f64,
    pub weight: f64,
}

/// The fitted patch; see the module head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SkinPatch {
    pub c0: f64,
    pub c1: f64,
    pub c2: f64,
    pub c3: f64,
    pub c4: f64,
    /// Of `q³`, 1/mm²; zero from a fit.
    pub cubic: f64,
    /// Robust standard deviation of the residuals, mm.
    pub sigma_mm: f64,
    /// Samples with more than a tenth of full weight.
    pub used: usize,
}

/// How long the biweight's tail is, in robust standard deviations (95 % efficiency at the normal is 4.685).
const TUKEY_SIGMAS: f64 = 5.0;
/// Least scale of residuals, mm: noise-free data must not reject itself over rounding of stored coordinates.
const LEAST_SIGMA_MM: f64 = 5e-4;
/// Rounds of reweighting; the weights stand still well before.
const ROUNDS: usize = 6;
/// Fewest samples for a patch of five unknowns.
const FEWEST_SAMPLES: usize = 12;
/// Samples that scatter more than this about a patch are not of one surface, mm.
const ONE_SURFACE_MM: f64 = 1.0;
/// A surface ends where the next column of samples lies off by more than this and by more than 45°, mm; columns are this wide, mm.
const JUMP_MM: f64 = 3.0;
const COLUMN_MM: f64 = 1.0;

impl SkinPatch {
    /// Height at a distance from mid-gap, at the station (`ds = 0`), mm.
    #[must_use]
    pub fn height_mm(&self, q_mm: f64) -> f64 {
        self.c0 + self.c1 * q_mm + bend(self.c2, q_mm) + self.cubic * q_mm.powi(3)
    }

    /// Slope dz/dq at a distance from mid-gap, at the station.
    #[must_use]
    pub fn slope(&self, q_mm: f64) -> f64 {
        let circle = 4.0 * self.c2.powi(3) * q_mm.powi(3);
        self.c1 + 2.0 * self.c2 * q_mm + circle + 3.0 * self.cubic * q_mm * q_mm
    }

    /// The patch with `per_mm2 (bow[0] + bow[1] q + bow[2] q² + q³)` added.
    #[must_use]
    pub fn with_cubic(&self, per_mm2: f64, bow: [f64; 3]) -> Self {
        Self {
            c0: self.c0 + per_mm2 * bow[0],
            c1: self.c1 + per_mm2 * bow[1],
            c2: self.c2 + per_mm2 * bow[2],
            cubic: self.cubic + per_mm2,
            ..*self
        }
    }

    /// What the patch adds at a place off the station along the seam, mm.
    #[must_use]
    pub fn along_term_mm(&self, q_mm: f64, ds_mm: f64) -> f64 {
        (self.c3 + self.c4 * q_mm) * ds_mm
    }
}

fn bend(c2: f64, q_mm: f64) -> f64 {
    let square = q_mm * q_mm;
    c2 * square + c2.powi(3) * square * square
}

/// Fits a patch. `curvature` fixes c2 (1/mm) where the neighbours gave it; without, it is fitted too. Where samples lie on more than one
/// surface (structure far under a panel's end), the one at the least `q` is fitted.
///
/// `None` where there are too few samples or they do not determine the patch.
#[must_use]
pub fn fit_skin_patch(samples: &[SkinSample], curvature: Option<f64>) -> Option<SkinPatch> {
    let whole = fit_samples(samples, curvature)?;
    if whole.sigma_mm <= ONE_SURFACE_MM {
        return Some(whole);
    }
    match end_of_first_surface_mm(samples) {
        Some(end_mm) => {
            let first: Vec<SkinSample> =
                samples.iter().filter(|sample| sample.q_mm < end_mm).copied().collect();
            fit_samples(&first, curvature)
        }
        None => Some(whole),
    }
}

/// Where the first surface from the least `q` on ends in a jump.
fn end_of_first_surface_mm(samples: &[SkinSample]) -> Option<f64> {
    let least_mm = samples.iter().map(|sample| sample.q_mm).fold(f64::INFINITY, f64::min);
    let mut columns: Vec<Vec<f64>> = Vec::new();
    for sample in samples {
        let place = ((sample.q_mm - least_mm) / COLUMN_MM) as usize;
        if columns.len() <= place {
            columns.resize(place + 1, Vec::new());
        }
        columns[place].push(sample.z_mm);
    }
    let heights = columns.iter_mut().enumerate();
    let heights: Vec<(f64, f64)> = heights
        .filter_map(|(place, column)| Some((least_mm + place as f64 * COLUMN_MM, median_in_place(column)?)))
        .collect();
    let is_jump = |pair: &&[(f64, f64)]| {
        let ((here_mm, low_mm), (next_mm, high_mm)) = (pair[0], pair[1]);
        (high_mm - low_mm).abs() > JUMP_MM.max(next_mm - here_mm)
    };
    heights.windows(2).find(is_jump).map(|pair| pair[1].0)
}

fn fit_samples(samples: &[SkinSample], curvature: Option<f64>) -> Option<SkinPatch> {
    if samples.len() < FEWEST_SAMPLES {
        return None;
    }
    let mut patch = SkinPatch {
        c0: 0.0,
        c1: 0.0,
        c2: curvature.unwrap_or(0.0),
        c3: 0.0,
        c4: 0.0,
        cubic: 0.0,
        sigma_mm: 0.0,
        used: 0,
    };
    let mut limit_mm = f64::INFINITY;
    let mut residuals_mm = vec![0.0; samples.len()];
    let mut sizes_mm: Vec<f64> = Vec::with_capacity(samples.len());
    for _ in 0..ROUNDS {
        step(samples, curvature, (&residuals_mm, limit_mm), &mut patch)?;
        sizes_mm.clear();
        for (residual, sample) in residuals_mm.iter_mut().zip(samples) {
            *residual = residual_mm(&patch, sample);
            sizes_mm.push(residual.abs());
        }
        patch.sigma_mm = 1.4826 * median_in_place(&mut sizes_mm)?;
        limit_mm = TUKEY_SIGMAS * patch.sigma_mm.max(LEAST_SIGMA_MM);
    }
    patch.used = residuals_mm.iter().filter(|residual| tukey_weight(**residual, limit_mm) > 0.1).count();
    Some(patch)
}

/// Height of a sample over the patch, mm.
#[must_use]
pub fn residual_mm(patch: &SkinPatch, sample: &SkinSample) -> f64 {
    sample.z_mm - patch.height_mm(sample.q_mm) - patch.along_term_mm(sample.q_mm, sample.ds_mm)
}

/// One round: weights from the residuals of the round before and their limit (infinite before the first).
fn step(
    samples: &[SkinSample],
    curvature: Option<f64>,
    (residuals_mm, limit_mm): (&[f64], f64),
    patch: &mut SkinPatch,
) -> Option<()> {
    // Distances are scaled by 20 mm so that all columns are of the order of one.
    const SCALE_MM: f64 = 20.0;
    let mut equations = NormalEquations::<5>::default();
    for (sample, residual_mm) in samples.iter().zip(residuals_mm) {
        let robust = if limit_mm.is_finite() { tukey_weight(*residual_mm, limit_mm) } else { 1.0 };
        let (q, ds) = (sample.q_mm / SCALE_MM, sample.ds_mm / SCALE_MM);
        let known_mm = match curvature {
            Some(c2) => bend(c2, sample.q_mm),
            None => bend(patch.c2, sample.q_mm) - patch.c2 * sample.q_mm * sample.q_mm,
        };
        equations.add([1.0, q, ds, q * ds, q * q], sample.z_mm - known_mm, sample.weight * robust);
    }
    if curvature.is_some() {
        let heavy = 1e9 * samples.iter().map(|sample| sample.weight).sum::<f64>();
        equations.hold(4, 0.0, heavy);
    }
    let [c0, c1, c3, c4, c2] = equations.solve()?;
    patch.c0 = c0;
    patch.c1 = c1 / SCALE_MM;
    patch.c3 = c3 / SCALE_MM;
    patch.c4 = c4 / (SCALE_MM * SCALE_MM);
    if curvature.is_none() {
        patch.c2 = c2 / (SCALE_MM * SCALE_MM);
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A panel over structure 22 mm under its end. The first curvature of both together is a tenth per mm, and its fourth powers grew from
    /// round to round, to 1e248.
    #[test]
    fn what_lies_far_under_a_panels_end_does_not_take_part() {
        for (end_mm, curvature) in [(18.0, None), (15.0, None), (18.0, Some(-4e-4)), (12.0, Some(-4e-4))] {
            let z_mm = |q_mm: f64| if q_mm < end_mm { -4e-4 * q_mm * q_mm } else { -22.0 };
            let samples: Vec<SkinSample> = (0..14)
                .flat_map(|step| (-7..=7).map(move |row| (6.55 + f64::from(step), 2.0 * f64::from(row))))
                .map(|(q_mm, ds_mm)| SkinSample {
                    q_mm,
                    ds_mm,
                    z_mm: z_mm(q_mm) + 1e-3 * (7.0 * ds_mm).sin(),
                    weight: 0.75,
                })
                .collect();
            let patch = fit_skin_patch(&samples, curvature).unwrap();
            // Ripples of a micrometre, continued by their own length.
            assert!(patch.height_mm(0.0).abs() < 0.005, "{end_mm}: {patch:?}");
            assert!((patch.c2 + 4e-4).abs() < 5e-5, "{end_mm}: {patch:?}");
        }
    }
}
