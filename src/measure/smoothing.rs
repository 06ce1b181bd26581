//! How much the scanner's software smoothed the surface, from the way it rounds straight runs into hems.
//!
//! In: the stations of all seams of a scan, fitted on their own. Out: the variance s² of a Gaussian along the profile, mm², and its
//! uncertainty.
//! Method: smoothing shifts a hem inwards by s²/2r, but hardly the surface beside it; that step is the same for all stations.
//! One s² for the whole scan and one radius for each side of each seam are fitted to all hem points with each station's edge left free
//! (edges and radii are eliminated from the normal equations). The uncertainty comes from blocks of stations along the seams.
//! Does not hold for smoothing across the seam line, nor for hems that end before 90° or are sharper than 0.5 mm.

use nalgebra::{Matrix3, Vector3};

use super::settings::MeasureSettings;
use super::station::{Fitted, FittedSide, SIGNS};
use crate::geometry::{median_in_place, smoothing_offset_mm, tukey_weight};
use crate::scan::{Spread, gather};
use crate::section::FlatSeam;

/// Blocks along each seam whose scatter gives the uncertainty, and the fewest of all seams that have one.
const BLOCKS: usize = 6;
const FEWEST_BLOCKS: usize = 3;
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
/// Hems that look sharper than this tell no smoothing, mm: it is not small against them, and under an ordinary scanner's (0.25 mm) a
/// radius of 0.3 mm looks like one of 0.42 to 0.53 mm without any, one of 0.4 mm like 0.43 to 0.5 mm.
const SHARPEST_MM: f64 = 0.55;
/// Hems that look sharper than this may show smoothing, but not that there is none, mm.
const SHARP_MM: f64 = 0.65;
/// At most this many stations of a seam are looked at.
const POOLED_STATIONS: usize = 60;

/// Uncertainty of s² where the hems do not tell: an ordinary scanner's own smoothing (0.25 mm, as rehearsed).
const UNTOLD_U_MM2: f64 = 0.06;

/// The smoothing of a scan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Smoothing {
    /// Square of the Gaussian's width for which gaps are corrected; 0 where none was proved.
    pub variance_mm2: f64,
    /// Standard uncertainty of it, which is part of every gap's.
    pub u_mm2: f64,
    pub degrees_of_freedom: f64,
    /// True where the plan states it.
    pub is_stated: bool,
}

impl Smoothing {
    /// As the plan states it; taken to be good to a tenth.
    #[must_use]
    pub fn stated(smoothing_mm: f64) -> Self {
        let variance_mm2 = smoothing_mm * smoothing_mm;
        Self { variance_mm2, u_mm2: 0.2 * variance_mm2, degrees_of_freedom: f64::INFINITY, is_stated: true }
    }

    /// None, with some doubt.
    const fn untold() -> Self {
        Self { variance_mm2: 0.0, u_mm2: UNTOLD_U_MM2, degrees_of_freedom: f64::INFINITY, is_stated: false }
    }

    /// The Gaussian's width, mm.
    #[must_use]
    pub fn width_mm(&self) -> f64 {
        self.variance_mm2.max(0.0).sqrt()
    }
}

/// Estimates the smoothing; none with some doubt where the hems do not tell.
pub(super) fn estimate_smoothing(
    seams: &[(&FlatSeam, &[Fitted])],
    settings: &MeasureSettings,
    spread: &dyn Spread,
) -> Smoothing {
    let chosen: Vec<Vec<&Fitted>> = seams.iter().map(|(_, fitted)| apart(fitted, settings)).collect();
    let hems: Vec<(usize, usize)> = chosen
        .iter()
        .enumerate()
        .flat_map(|(seam, stations)| (0..stations.len()).map(move |place| (seam, place)))
        .collect();
    let radii_mm: Vec<[Option<f64>; 2]> =
        seams.iter().map(|(_, fitted)| [0, 1].map(|side| usual_radius_mm(fitted, side))).collect();
    let mut width_mm = START_MM;
    let mut last = None;
    for _ in 0..ROUNDS {
        let sums = gather(spread, hems.len(), |index| {
            let (seam, place) = hems[index];
            let mut sums = Sums::default();
            for (side, radius_mm) in radii_mm[seam].iter().enumerate() {
                let Some(radius_mm) = radius_mm.filter(|mm| *mm > SHARPEST_MM) else { continue };
                let hem = Hem { station: chosen[seam][place], side, radius_mm };
                add_hem(&mut sums, seams[seam].0, &hem, width_mm, settings);
            }
            sums
        });
        let mut blocks: Vec<Vec<Sums>> =
            chosen.iter().map(|stations| vec![Sums::default(); stations.len().min(BLOCKS)]).collect();
        for ((seam, place), own) in hems.iter().zip(&sums) {
            let of_seam = &mut blocks[*seam];
            let block = place * of_seam.len() / chosen[*seam].len();
            of_seam[block] = of_seam[block].plus(own);
        }
        last = variance_of(&blocks);
        let Some(smoothing) = last else { break };
        width_mm = smoothing.variance_mm2.clamp(0.01, WIDEST_MM * WIDEST_MM).sqrt();
    }
    let can_deny = radii_mm.iter().flatten().flatten().any(|radius_mm| *radius_mm > SHARP_MM);
    match last.map(proved) {
        Some(found) if found.variance_mm2 > 0.0 || can_deny => found,
        _ => Smoothing::untold(),
    }
}

/// Corrected only where it is proved: a correction by chance would widen every gap alike. What is not corrected stays a doubt.
fn proved(found: Smoothing) -> Smoothing {
    if found.variance_mm2 > PROVED_SIGMAS * found.u_mm2 {
        return Smoothing { variance_mm2: found.variance_mm2.min(WIDEST_MM * WIDEST_MM), ..found };
    }
    let u_mm2 = found.u_mm2.hypot(found.variance_mm2.max(0.0));
    Smoothing { variance_mm2: 0.0, u_mm2, ..found }
}

/// The radius of most of a side's hems. Single ones would be sorted by their noise.
fn usual_radius_mm(fitted: &[Fitted], side: usize) -> Option<f64> {
    let radius = |station: &Fitted| Some(station.sides[side].as_ref()?.arc.as_ref()?.radius_mm);
    let mut radii_mm: Vec<f64> = fitted.iter().filter_map(radius).collect();
    median_in_place(&mut radii_mm)
}

/// Stations that share no point of their hems, and not too many of them.
fn apart<'a>(fitted: &'a [Fitted], settings: &MeasureSettings) -> Vec<&'a Fitted> {
    let mut kept: Vec<&Fitted> = Vec::new();
    for station in fitted {
        // Places along the centre line are as even as the stations, but for its bends.
        let is_apart = |last: &&Fitted| (station.s_mm - last.s_mm).abs() > 2.0 * settings.hem_reach_mm - 0.5;
        if kept.last().is_none_or(is_apart) {
            kept.push(station);
        }
    }
    let step = kept.len().div_ceil(POOLED_STATIONS).max(1);
    kept.into_iter().step_by(step).collect()
}

/// s² from the blocks of all seams, with its uncertainty by the jackknife for blocks of unequal weight (Busing, Meijer and
/// van der Leeden, Statistics and Computing 9, 1999; from memory), here weighted by what each tells.
fn variance_of(seams: &[Vec<Sums>]) -> Option<Smoothing> {
    let whole = |blocks: &[Sums]| blocks.iter().fold(Sums::default(), |sum, block| sum.plus(block));
    let wholes: Vec<Sums> = seams.iter().map(|blocks| whole(blocks)).collect();
    let total = wholes.iter().map(Sums::without_radii).fold(Told::default(), Told::plus);
    let variance_mm2 = total.variance_mm2()?;
    let (mut spread, mut count) = (0.0, 0.0);
    for (blocks, of_seam) in seams.iter().zip(&wholes) {
        for block in blocks {
            let rest = total.less(of_seam.without_radii()).plus(of_seam.less(block).without_radii());
            let share = 1.0 - rest.weight / total.weight;
            if share > 1e-6 {
                spread += (1.0 / share - 1.0) * (rest.variance_mm2()? - variance_mm2).powi(2);
                count += 1.0;
            }
        }
    }
    let is_enough = count >= FEWEST_BLOCKS as f64;
    is_enough.then(|| Smoothing {
        variance_mm2,
        u_mm2: (spread / count).sqrt(),
        degrees_of_freedom: count - 1.0,
        is_stated: false,
    })
}

/// What is left of normal equations for s² alone.
#[derive(Debug, Clone, Copy, Default)]
struct Told {
    weight: f64,
    right: f64,
}

impl Told {
    fn plus(self, other: Self) -> Self {
        Self { weight: self.weight + other.weight, right: self.right + other.right }
    }

    fn less(self, other: Self) -> Self {
        Self { weight: self.weight - other.weight, right: self.right - other.right }
    }

    fn variance_mm2(self) -> Option<f64> {
        let variance_mm2 = self.right / self.weight;
        (self.weight > 1e-9 && variance_mm2.is_finite()).then_some(variance_mm2)
    }
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

    /// Takes both radii out (Schur complement); they have nothing to do with each other.
    fn without_radii(&self) -> Told {
        let mut told = Told { weight: self.matrix[(2, 2)], right: self.right[2] };
        for side in 0..2 {
            let own = self.matrix[(side, side)];
            if own > 1e-6 {
                let factor = self.matrix[(2, side)] / own;
                told = told
                    .less(Told { weight: factor * self.matrix[(side, 2)], right: factor * self.right[side] });
            }
        }
        told
    }
}

/// A station's hem, and the radius that most of its side's have: a station's own goes with its noise.
struct Hem<'a> {
    station: &'a Fitted,
    side: usize,
    radius_mm: f64,
}

fn add_hem(sums: &mut Sums, flat: &FlatSeam, hem: &Hem<'_>, width_mm: f64, settings: &MeasureSettings) {
    let Hem { station, side, radius_mm } = *hem;
    let Some(FittedSide { skin, arc: Some(arc), .. }) = &station.sides[side] else { return };
    if arc.seen_rad < 1.3 {
        return;
    }
    let limit_mm = TUKEY_SIGMAS * arc.sigma_mm.max(LEAST_SIGMA_MM) + 0.02;
    let farthest_mm = radius_mm + limit_mm;
    // The arc of the side's radius with the same edge, as tangent to the surface as the station's own.
    let centre_q_mm = arc.centre_q_mm + radius_mm - arc.radius_mm;
    let slope = skin.slope(centre_q_mm);
    let centre_z_mm = skin.height_mm(centre_q_mm) - radius_mm * slope.hypot(1.0);
    // Sums over the points in (edge, radius, s²) for the residual.
    let mut own = [[0.0; 3]; 3];
    let mut own_right = [0.0; 3];
    for point in flat.slab(station.s_mm, settings.hem_reach_mm) {
        let (u, v) = station.tilt.level(f64::from(point.x_mm), f64::from(point.z_mm));
        let ds_mm = f64::from(point.s_mm) - station.s_mm;
        let across = SIGNS[side] * u - centre_q_mm - arc.edge_slope * ds_mm;
        let up = v - centre_z_mm - skin.along_term_mm(centre_q_mm, ds_mm);
        if across.abs() > farthest_mm || up.abs() > farthest_mm {
            continue;
        }
        let distance_mm = across.hypot(up);
        let length = (distance_mm * slope.hypot(1.0)).max(1e-12);
        let (cosine, sine) = ((up - across * slope) / length, (-across - up * slope) / length);
        let residual_mm = distance_mm - radius_mm;
        if sine < 0.0 || cosine < LARGEST_ANGLE_RAD.cos() || residual_mm.abs() > limit_mm {
            continue;
        }
        let angle_rad = sine.atan2(cosine);
        let offset_mm = smoothing_offset_mm(angle_rad * radius_mm, radius_mm, width_mm);
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
