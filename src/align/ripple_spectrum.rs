//! Lines in the spectrum of residuals over a surface.
//!
//! In: places, residuals and weights. Out: the strongest plane wave, if its power stands out of that of waves of about its length,
//! and how strong waves near a given one are. Units: mm.
//! Method: sums over a cubic grid, taken to the spectrum one axis after the other; power over the median power of its shell of
//! lengths. In noise without lines that ratio is exponential (A. Schuster, 1898), whatever the noise's spectrum, if that is smooth.
//! Does not refine: see `ripples`.

use std::collections::BTreeMap;
use std::f64::consts::{LN_2, TAU};

use nalgebra::{Complex, Vector3};

use super::ripples::Ripple;

/// Side of the grid's cells, mm, and the most of them along an axis; larger cells where there would be more.
const CELL_MM: f64 = 20.0;
const MOST_CELLS: f64 = 80.0;
/// Shortest wave in cells of the grid; the longest as a share of the largest extent: longer ones are few on a scan, and no line.
const SHORTEST_CELLS: f64 = 3.0;
const LONGEST_SHARE: f64 = 0.25;
/// Steps of the spectrum for each extent: a line between two loses a fifth of its power at most.
const STEPS_PER_TURN: f64 = 2.0;
/// Shells of equal ratio of lengths.
const SHELLS: usize = 6;
/// Power over the mean of its shell that may be a line: among a hundred thousand waves of noise the highest has 12 by chance. Other
/// lines raise the mean, so that more would hide the first of several.
const LEAST_RATIO: f64 = 14.0;
/// Waves near a line differ from it by less than so many turns over the extent.
const NEAR_TURNS: f64 = 4.0;

type Spectrum = Vec<Complex<f64>>;

/// Numbers of waves along an axis, rad/mm.
fn numbers(extent_mm: f64, most: f64, is_half: bool) -> Vec<f64> {
    let step = TAU / (STEPS_PER_TURN * extent_mm.max(1.0));
    let count = ((most / step).floor() as i64).min(4 * MOST_CELLS as i64);
    (if is_half { 0 } else { -count }..=count).map(|index| step * index as f64).collect()
}

struct Line {
    shell: usize,
    power: f64,
    number: Vector3<f64>,
    value: Complex<f64>,
}

/// The spectrum between the longest and the shortest wave.
pub(super) struct Lines {
    lines: Vec<Line>,
    means: [f64; SHELLS],
    total_weight: f64,
    extent_mm: Vector3<f64>,
}

impl Lines {
    /// `None` where the surface is too small for any wave.
    pub fn of(
        places: &[Vector3<f64>],
        residuals_mm: &[f64],
        weights: &[f64],
        extent_mm: &Vector3<f64>,
    ) -> Option<Self> {
        let cell_mm = CELL_MM.max(extent_mm.max() / MOST_CELLS);
        let least = TAU / (LONGEST_SHARE * extent_mm.max());
        let most = TAU / (SHORTEST_CELLS * cell_mm);
        if least >= most || !most.is_finite() {
            return None;
        }
        let mut cells: BTreeMap<[i32; 3], f64> = BTreeMap::new();
        for ((place, residual_mm), weight) in places.iter().zip(residuals_mm).zip(weights) {
            let key = [0, 1, 2].map(|axis: usize| (place[axis] / cell_mm).floor() as i32);
            *cells.entry(key).or_default() += weight * residual_mm;
        }
        let axes = [0, 1, 2].map(|axis: usize| numbers(extent_mm[axis], most, axis == 2));
        let slices = slices_of(&cells, cell_mm, &axes);
        let shell_width = (most / least).ln() / SHELLS as f64;
        let mut lines = Vec::new();
        for first in &axes[0] {
            for (index, value) in sum_of(&slices, cell_mm, *first).into_iter().enumerate() {
                let (second, third) = (index / axes[2].len(), index % axes[2].len());
                let number = Vector3::new(*first, axes[1][second], axes[2][third]);
                let size = number.norm();
                if size > least && size < most {
                    let shell = (((size / least).ln() / shell_width) as usize).min(SHELLS - 1);
                    lines.push(Line { shell, power: value.norm_sqr(), number, value });
                }
            }
        }
        let means = means_of_shells(&lines);
        Some(Self { lines, means, total_weight: weights.iter().sum(), extent_mm: *extent_mm })
    }

    /// The most powerful of those that stand out, with its amplitudes. What a hole in the surface spreads of a line into other
    /// shells is gone with the line.
    pub fn strongest(&self) -> Option<Ripple> {
        let standing_out = self.lines.iter().filter(|line| line.power > LEAST_RATIO * self.means[line.shell]);
        let line = standing_out.max_by(|one, other| one.power.total_cmp(&other.power))?;
        let scale = 2.0 / self.total_weight;
        Some(Ripple { number: line.number, cosine_mm: scale * line.value.re, sine_mm: scale * line.value.im })
    }

    /// Amplitude of the most powerful wave near a number, mm.
    pub fn amplitude_near_mm(&self, number: &Vector3<f64>) -> f64 {
        let near = self.lines.iter().filter(|line| are_near(&line.number, number, &self.extent_mm));
        2.0 * near.map(|line| line.power).fold(0.0, f64::max).sqrt() / self.total_weight
    }
}

/// Whether two waves, either way round, hardly differ in turns over the extent.
pub(super) fn are_near(one: &Vector3<f64>, other: &Vector3<f64>, extent_mm: &Vector3<f64>) -> bool {
    let turns = |difference: Vector3<f64>| difference.component_mul(extent_mm).norm() / TAU;
    turns(one - other).min(turns(one + other)) < NEAR_TURNS
}

/// The spectrum over y and z of each slice of x, with its x in cells.
fn slices_of(cells: &BTreeMap<[i32; 3], f64>, cell_mm: f64, axes: &[Vec<f64>; 3]) -> Vec<(i32, Spectrum)> {
    let phase = |number: f64, cell: i32| Complex::from_polar(1.0, number * cell_mm * (f64::from(cell) + 0.5));
    let mut columns: BTreeMap<[i32; 2], Spectrum> = BTreeMap::new();
    for ([x, y, z], sum) in cells {
        let column = columns.entry([*x, *y]).or_insert_with(|| vec![Complex::ZERO; axes[2].len()]);
        for (value, number) in column.iter_mut().zip(&axes[2]) {
            *value += phase(*number, *z) * *sum;
        }
    }
    let mut slices: BTreeMap<i32, Spectrum> = BTreeMap::new();
    for ([x, y], column) in &columns {
        let slice = slices.entry(*x).or_insert_with(|| vec![Complex::ZERO; axes[1].len() * axes[2].len()]);
        for (row, number) in slice.chunks_exact_mut(axes[2].len()).zip(&axes[1]) {
            let turn = phase(*number, *y);
            row.iter_mut().zip(column).for_each(|(value, part)| *value += turn * part);
        }
    }
    slices.into_iter().collect()
}

fn sum_of(slices: &[(i32, Spectrum)], cell_mm: f64, number: f64) -> Spectrum {
    let mut sum = vec![Complex::ZERO; slices.first().map_or(0, |slice| slice.1.len())];
    for (x, slice) in slices {
        let turn = Complex::from_polar(1.0, number * cell_mm * (f64::from(*x) + 0.5));
        sum.iter_mut().zip(slice).for_each(|(value, part)| *value += turn * part);
    }
    sum
}

/// Mean power without lines: the median of an exponential distribution is ln 2 of its mean.
fn means_of_shells(lines: &[Line]) -> [f64; SHELLS] {
    let mut powers: [Vec<f64>; SHELLS] = Default::default();
    for line in lines {
        powers[line.shell].push(line.power);
    }
    powers.map(|mut powers| {
        if powers.is_empty() {
            return f64::INFINITY;
        }
        let middle = powers.len() / 2;
        let median = *powers.select_nth_unstable_by(middle, f64::total_cmp).1;
        (median / LN_2).max(f64::MIN_POSITIVE)
    })
}
