//! How much the scanner's software smoothed the surface, from the way it rounds straight runs into hems.
//!
//! In: stations fitted on their own. Out: the variance s² of a Gaussian along the profile, mm², and its uncertainty.
//! Method: smoothing shifts a hem inwards by s²/2r, but hardly the surface beside it; that step is the same for all stations.
//! One shared s² and one shared radius a side are fitted to all hem points with each station's edge left free
//! (eliminated from the normal equations). The uncertainty comes from blocks of stations along the seam.
//! Does not hold for smoothing across the seam line, nor for hems that end before 90°.

use nalgebra::{Matrix3, Vector3};

use super::settings::MeasureSettings;
use super::station::{Fitted, FittedSide, SIGNS};
use crate::geometry::{smoothing_offset_mm, tukey_weight};
use crate::section::FlatSeam;

/// Blocks along the seam whose scatter gives the uncertainty.
const BLOCKS: usize = 6;
/// Smoothing at which the shape of its effect is taken at first, mm.
const START_MM: f64 = 0.25;
/// Widest smoothing that is believed, mm.
const WIDEST_MM: f64 = 0.8;
const ROUNDS: usize = 3;
/// Standard uncertainties by which the smoothing must stand off zero to be corrected.
const PROVED_SIGMAS: f64 = 3.0;
/// Directions used, rad from the surface normal: from the joint to just past the edge point.
const LARGEST_ANGLE_RAD: f64 = 1.66;
/// Residuals beyond this many robust deviations are strays.
const TUKEY_SIGMAS: f64 = 5.0;
const LEAST_SIGMA_MM: f64 = 0.002;
/// At most this many stations are looked at.
const POOLED_STATIONS: usize = 60;

/// The smoothing of a seam's scan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Smoothing {
    pub(super) variance_mm2: f64,
    pub(super) u_mm2: f64,
}

impl Smoothing {
    /// As the plan states it; taken to be good to a tenth.
    pub(super) fn stated(smoothing_mm: f64) -> Self {
        let variance_mm2 = smoothing_mm * smoothing_mm;
        Self { variance_mm2, u_mm2: 0.2 * variance_mm2 }
    }

    /// The Gaussian's width, mm.
    pub(super) fn width_mm(&self) -> f64 {
        self.variance_mm2.max(0.0).sqrt()
    }
}

/// Estimates the smoothing; none with some doubt where the hems do not tell.
pub(super) fn estimate_smoothing(flat: &FlatSeam, alone: &[Fitted], settings: &MeasureSettings) -> Smoothing {
    let step = alone.len().div_ceil(POOLED_STATIONS).max(1);
    let pooled: Vec<&Fitted> = alone.iter().step_by(step).collect();
    let mut width_mm = START_MM;
    let mut blocks = vec![Sums::default(); BLOCKS];
    for _ in 0..ROUNDS {
        blocks = vec![Sums::default(); BLOCKS];
        for (index, station) in pooled.iter().enumerate() {
            let block = &mut blocks[index * BLOCKS / pooled.len().max(1)];
            for side in 0..2 {
                add_station(block, flat, station, side, width_mm, settings);
            }
        }
        let total = blocks.iter().fold(Sums::default(), |sum, block| sum.plus(block));
        let Some(variance_mm2) = total.solve() else { return Smoothing { variance_mm2: 0.0, u_mm2: 0.06 } };
        width_mm = variance_mm2.clamp(0.01, WIDEST_MM * WIDEST_MM).sqrt();
    }
    let total = blocks.iter().fold(Sums::default(), |sum, block| sum.plus(block));
    let parts: Vec<f64> = blocks.iter().filter_map(|block| total.less(block).solve()).collect();
    let (Some(variance_mm2), true) = (total.solve(), parts.len() == BLOCKS) else {
        return Smoothing { variance_mm2: 0.0, u_mm2: 0.06 };
    };
    // Jackknife over blocks (Efron 1982): (n - 1)/n times the sum of squared deviations.
    let mean = parts.iter().sum::<f64>() / BLOCKS as f64;
    let spread: f64 = parts.iter().map(|part| (part - mean).powi(2)).sum();
    let u_mm2 = (spread * (BLOCKS as f64 - 1.0) / BLOCKS as f64).sqrt();
    // Corrected only where it is proved: a correction by chance would widen every gap of the seam alike.
    let is_proved = variance_mm2 > PROVED_SIGMAS * u_mm2;
    let variance_mm2 = if is_proved { variance_mm2.min(WIDEST_MM * WIDEST_MM) } else { 0.0 };
    Smoothing { variance_mm2, u_mm2 }
}

/// Normal equations in (radius left, radius right, s²), edges eliminated.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    matrix: Matrix3<f64>,
    right: Vector3<f64>,
}

impl Sums {
    fn plus(&self, other: &Self) -> Self {
        Self { matrix: self.matrix + other.matrix, right: self.right + other.right }
    }

    fn less(&self, other: &Self) -> Self {
        Self { matrix: self.matrix - other.matrix, right: self.right - other.right }
    }

    fn solve(&self) -> Option<f64> {
        let solution = self.matrix.cholesky()?.solve(&self.right);
        solution[2].is_finite().then_some(solution[2])
    }
}

fn add_station(
    sums: &mut Sums,
    flat: &FlatSeam,
    station: &Fitted,
    side: usize,
    width_mm: f64,
    settings: &MeasureSettings,
) {
    let Some(FittedSide { skin, arc: Some(arc), .. }) = &station.sides[side] else { return };
    if arc.seen_rad < 1.3 {
        return;
    }
    let limit_mm = TUKEY_SIGMAS * arc.sigma_mm.max(LEAST_SIGMA_MM) + 0.02;
    let farthest_mm = arc.radius_mm + limit_mm;
    let slope = skin.slope(arc.centre_q_mm);
    // Sums over the points in (edge, radius, s²) for the residual.
    let mut own = [[0.0; 3]; 3];
    let mut own_right = [0.0; 3];
    for point in flat.slab(station.s_mm, settings.hem_reach_mm) {
        let (u, v) = station.tilt.level(f64::from(point.x_mm), f64::from(point.z_mm));
        let ds_mm = f64::from(point.s_mm) - station.s_mm;
        let across = SIGNS[side] * u - arc.centre_q_mm - arc.edge_slope * ds_mm;
        let up = v - arc.centre_z_mm - skin.along_term_mm(arc.centre_q_mm, ds_mm);
        if across.abs() > farthest_mm || up.abs() > farthest_mm {
            continue;
        }
        let distance_mm = across.hypot(up);
        let length = (distance_mm * slope.hypot(1.0)).max(1e-12);
        let (cosine, sine) = ((up - across * slope) / length, (-across - up * slope) / length);
        let residual_mm = distance_mm - arc.radius_mm;
        if sine < 0.0 || cosine < LARGEST_ANGLE_RAD.cos() || residual_mm.abs() > limit_mm {
            continue;
        }
        let angle_rad = sine.atan2(cosine);
        let offset_mm = smoothing_offset_mm(angle_rad * arc.radius_mm, arc.radius_mm, width_mm);
        let weight = tukey_weight(residual_mm, limit_mm);
        let row = [sine, sine + cosine - 1.0, offset_mm / (width_mm * width_mm)];
        for one in 0..3 {
            own_right[one] -= weight * row[one] * residual_mm;
            for other in 0..3 {
                own[one][other] += weight * row[one] * row[other];
            }
        }
    }
    eliminate_edge(sums, side, &own, &own_right);
}

/// Takes the station's own edge out of its equations (Schur complement) and adds the rest.
fn eliminate_edge(sums: &mut Sums, side: usize, own: &[[f64; 3]; 3], own_right: &[f64; 3]) {
    if own[0][0] < 1e-6 {
        return;
    }
    let places = [side, 2];
    for (one, row) in places.iter().enumerate() {
        let factor = own[one + 1][0] / own[0][0];
        sums.right[*row] += own_right[one + 1] - factor * own_right[0];
        for (other, column) in places.iter().enumerate() {
            sums.matrix[(*row, *column)] += own[one + 1][other + 1] - factor * own[0][other + 1];
        }
    }
}
