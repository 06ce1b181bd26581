//! Takes the regular ripples of a scanner out of the residuals of a registration.
//!
//! In: rows of the last step with residual and weight. Out: the same rows, cleaned of the plane waves that were found; as they
//! were where none was. Units: mm.
//! Method: a projector's fringes and a camera's lines leave waves of a single length and direction. To noise that is known by its
//! covariance alone such a wave is as good as random; found as a wave it is gone. The strongest line of the spectrum
//! (`ripple_spectrum`) is fitted together with the pose and the waves before it, until no line stands out of the spectrum round it
//! (as CLEAN does: J. Högbom, Astron. Astrophys. Suppl. 15, 1974). Rows and residuals are then freed of what the waves could
//! explain (R. Frisch, F. Waugh, 1933; M. Lovell, 1963), so that the pose's covariance knows what was spent on them.
//! Does not know noise without lines: see `learnt_noise`.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, Point3, Vector3};

use super::correlated_step::{Cell, cells_of};
use super::pose_covariance::WeightedRow;
use super::ripple_spectrum::{Lines, are_near};

/// Most waves that are looked for.
const MOST_RIPPLES: usize = 8;
/// Cells in which they are looked for, mm: a third of the shortest wave. The last fit is to the points.
const CELL_MM: f64 = 20.0;
/// Numbers of a pose, and of a wave: two amplitudes and the three of its direction and length.
const OF_POSE: usize = 6;
const OF_RIPPLE: usize = 5;
/// Most rounds of the fit, and the step of a wave's number over which they end, in turns over the extent.
const ROUNDS: usize = 5;
const STILL_TURNS: f64 = 1e-4;
/// Amplitude of what is left beside a wave over that of the wave, at most. Chosen on seeds 7000 to 7002 of `align_surface`: six waves in
/// noise had 0.11 to 0.2, the highest waves of noise without lines 0.3 and more.
const MOST_BESIDE: f64 = 0.25;
/// The share beside one line at least before all are looked at more closely.
const LIKELY_BESIDE: f64 = 0.4;
/// Lines this many turns from the middle between them may be one.
const JOINED_TURNS: f64 = 3.0;
/// Fewest points for each number that is fitted: what is left must speak of noise.
const LEAST_POINTS_PER_NUMBER: usize = 20;

/// A plane wave `a cos(k x) + b sin(k x)` about the middle of the points.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ripple {
    /// `k`, rad/mm.
    pub number: Vector3<f64>,
    pub cosine_mm: f64,
    pub sine_mm: f64,
}

impl Ripple {
    fn height_mm(&self, place: &Vector3<f64>) -> f64 {
        let (sine, cosine) = self.number.dot(place).sin_cos();
        self.cosine_mm * cosine + self.sine_mm * sine
    }

    /// How the height goes with the five numbers.
    fn slopes(&self, place: &Vector3<f64>) -> [f64; OF_RIPPLE] {
        let (sine, cosine) = self.number.dot(place).sin_cos();
        let with_phase = self.sine_mm * cosine - self.cosine_mm * sine;
        [cosine, sine, with_phase * place.x, with_phase * place.y, with_phase * place.z]
    }

    fn step(&mut self, step: &[f64]) {
        self.cosine_mm += step[0];
        self.sine_mm += step[1];
        self.number += Vector3::new(step[2], step[3], step[4]);
    }
}

/// The rows without the ripples.
pub(super) fn without_ripples(rows: Vec<WeightedRow>) -> Vec<WeightedRow> {
    let Some(middle) = middle_of(&rows) else { return rows };
    let cells: Vec<WeightedRow> = cells_of(&rows, CELL_MM).iter().map(Cell::as_row).collect();
    let mut ripples = Fit::of(&cells, &middle).find();
    if ripples.is_empty() {
        return rows;
    }
    let fit = Fit::of(&rows, &middle);
    let freed = fit.refined(&mut ripples).and_then(|_| fit.freed(&ripples));
    freed.unwrap_or(rows)
}

/// Of the box round the points.
fn middle_of(rows: &[WeightedRow]) -> Option<Point3<f64>> {
    let mut points = rows.iter().map(|row| row.point);
    let first = points.next()?;
    let (low, high) = points.fold((first, first), |(low, high), point| (low.inf(&point), high.sup(&point)));
    Some(nalgebra::center(&low, &high))
}

struct Fit<'r> {
    rows: &'r [WeightedRow],
    /// From the middle of the points, mm.
    places: Vec<Vector3<f64>>,
    roots: Vec<f64>,
    extent_mm: Vector3<f64>,
}

impl<'r> Fit<'r> {
    fn of(rows: &'r [WeightedRow], middle: &Point3<f64>) -> Self {
        let places: Vec<Vector3<f64>> = rows.iter().map(|row| row.point - middle).collect();
        let half_mm =
            places.iter().fold(Vector3::zeros(), |half: Vector3<f64>, place| half.sup(&place.abs()));
        let roots = rows.iter().map(|row| row.weight.sqrt()).collect();
        Self { rows, places, roots, extent_mm: 2.0 * half_mm }
    }

    fn find(&self) -> Vec<Ripple> {
        let mut ripples = Vec::new();
        self.grow(&mut ripples);
        if self.standing_out(&mut ripples, LIKELY_BESIDE).is_empty() {
            return Vec::new();
        }
        self.relax(&mut ripples);
        self.join(&mut ripples);
        self.standing_out(&mut ripples, MOST_BESIDE)
    }

    /// Adds lines of what is left as long as one stands out.
    fn grow(&self, ripples: &mut Vec<Ripple>) {
        let Some(mut lines) = self.lines_left(ripples) else { return };
        while ripples.len() < MOST_RIPPLES
            && self.rows.len() >= LEAST_POINTS_PER_NUMBER * (OF_POSE + OF_RIPPLE * (ripples.len() + 1))
        {
            let Some(line) = lines.strongest() else { break };
            ripples.push(line);
            match self.lines_left(ripples) {
                Some(next) => lines = next,
                None => {
                    ripples.pop();
                    break;
                }
            }
        }
    }

    /// Seeks each line again in what the others leave, in turn, and with it those near it: the first ones were found beside others
    /// that were not known yet, and one may have become two halves (RELAX: J. Li, P. Stoica, IEEE Trans. Signal Process. 44(2),
    /// 1996). Those that are not found again are gone.
    fn relax(&self, ripples: &mut Vec<Ripple>) {
        for _ in 0..ripples.len() {
            let Some(line) = ripples.first().copied() else { return };
            ripples.retain(|other| !are_near(&other.number, &line.number, &self.extent_mm));
            self.grow(ripples);
        }
    }

    /// Tries one line between each two that are near. Where a wave runs along the normal of a side of the car, the pose swallows
    /// what that side says of it, and its peak in the spectrum may become two.
    fn join(&self, ripples: &mut Vec<Ripple>) {
        let Some(mut least) = self.squares(ripples) else { return };
        let mut one = 0;
        while one < ripples.len() {
            let mut other = one + 1;
            while other < ripples.len() {
                let joined = self.joined(ripples, one, other);
                match joined.and_then(|mut joined| Some((self.squares(&mut joined)?, joined))) {
                    Some((squares, joined)) if squares < least => {
                        (least, *ripples) = (squares, joined);
                        (one, other) = (0, 1);
                    }
                    _ => other += 1,
                }
            }
            one += 1;
        }
    }

    /// With one line in place of two, if they are near enough.
    fn joined(&self, ripples: &[Ripple], one: usize, other: usize) -> Option<Vec<Ripple>> {
        let (first, second) = (ripples[one].number, ripples[other].number);
        let second = if first.dot(&second) < 0.0 { -second } else { second };
        let half = (first - second).component_mul(&self.extent_mm) / (2.0 * TAU);
        if half.norm() > JOINED_TURNS {
            return None;
        }
        let mut rest: Vec<Ripple> = ripples.to_vec();
        rest.remove(other);
        rest.remove(one);
        let left_mm = self.refined(&mut rest)?;
        let number = (first + second) / 2.0;
        let (mut cosine, mut sine, mut total) = (0.0, 0.0, 0.0);
        for ((place, left_mm), row) in self.places.iter().zip(&left_mm).zip(self.rows) {
            let (sin, cos) = number.dot(place).sin_cos();
            cosine += row.weight * left_mm * cos;
            sine += row.weight * left_mm * sin;
            total += row.weight;
        }
        rest.push(Ripple { number, cosine_mm: 2.0 * cosine / total, sine_mm: 2.0 * sine / total });
        Some(rest)
    }

    /// Weighted sum of squares of what pose and ripples leave, mm².
    fn squares(&self, ripples: &mut [Ripple]) -> Option<f64> {
        let left_mm = self.refined(ripples)?;
        Some(left_mm.iter().zip(self.rows).map(|(left_mm, row)| row.weight * left_mm * left_mm).sum())
    }

    /// Those beside which no wave is left that has more than a share of their amplitude. Noise of any smooth spectrum has high
    /// waves too, beside others that are hardly lower.
    fn standing_out(&self, ripples: &mut [Ripple], share: f64) -> Vec<Ripple> {
        let Some(lines) = self.lines_left(ripples) else { return Vec::new() };
        let stands_out = |ripple: &&Ripple| {
            lines.amplitude_near_mm(&ripple.number) < share * ripple.cosine_mm.hypot(ripple.sine_mm)
        };
        ripples.iter().filter(stands_out).copied().collect()
    }

    /// The spectrum of what pose and ripples leave once both are fitted.
    fn lines_left(&self, ripples: &mut [Ripple]) -> Option<Lines> {
        let left_mm = self.refined(ripples)?;
        let weights: Vec<f64> = self.rows.iter().map(|row| row.weight).collect();
        Lines::of(&self.places, &left_mm, &weights, &self.extent_mm)
    }

    /// Fits pose and ripples by Gauss-Newton steps; what is left of the residuals, mm.
    fn refined(&self, ripples: &mut [Ripple]) -> Option<Vec<f64>> {
        for _ in 0..ROUNDS {
            let left = self.left(ripples);
            let step = solved(&self.columns(ripples, true), &left)?;
            let mut most_turns = 0.0_f64;
            for (ripple, step) in ripples.iter_mut().zip(step.as_slice()[OF_POSE..].chunks_exact(OF_RIPPLE)) {
                ripple.step(step);
                let turn = Vector3::new(step[2], step[3], step[4]).component_mul(&self.extent_mm);
                most_turns = most_turns.max(turn.norm() / TAU);
            }
            if most_turns < STILL_TURNS {
                break;
            }
        }
        let mut left = self.left(ripples);
        let columns = self.columns(ripples, true);
        let step = solved(&columns, &left)?;
        left -= columns * step;
        Some(
            left.iter()
                .zip(&self.roots)
                .map(|(left, root)| if *root > 0.0 { left / root } else { 0.0 })
                .collect(),
        )
    }

    /// What the ripples leave of the residuals, times the root of the weight.
    fn left(&self, ripples: &[Ripple]) -> DMatrix<f64> {
        DMatrix::from_fn(self.rows.len(), 1, |index, _| {
            let waves_mm: f64 = ripples.iter().map(|ripple| ripple.height_mm(&self.places[index])).sum();
            self.roots[index] * (self.rows[index].residual_mm - waves_mm)
        })
    }

    /// Rows of pose (if asked) and ripples, times the root of the weight.
    fn columns(&self, ripples: &[Ripple], has_pose: bool) -> DMatrix<f64> {
        let before = if has_pose { OF_POSE } else { 0 };
        let mut columns = DMatrix::zeros(self.rows.len(), before + OF_RIPPLE * ripples.len());
        for (index, (row, root)) in self.rows.iter().zip(&self.roots).enumerate() {
            for column in 0..before {
                columns[(index, column)] = root * row.row[column];
            }
            for (number, ripple) in ripples.iter().enumerate() {
                for (column, slope) in ripple.slopes(&self.places[index]).into_iter().enumerate() {
                    columns[(index, before + number * OF_RIPPLE + column)] = root * slope;
                }
            }
        }
        columns
    }

    fn freed(&self, ripples: &[Ripple]) -> Option<Vec<WeightedRow>> {
        let columns = self.columns(ripples, false);
        let left = self.left(ripples);
        let mut targets = DMatrix::from_fn(self.rows.len(), OF_POSE + 1, |index, column| {
            if column < OF_POSE { self.roots[index] * self.rows[index].row[column] } else { left[index] }
        });
        let step = solved(&columns, &targets)?;
        targets -= columns * step;
        let freed = self.rows.iter().enumerate().filter(|(index, _)| self.roots[*index] > 0.0);
        Some(
            freed
                .map(|(index, row)| {
                    let free = targets.row(index) / self.roots[index];
                    let free_row = free.fixed_columns::<OF_POSE>(0).transpose();
                    WeightedRow { row: free_row, residual_mm: free[OF_POSE], ..*row }
                })
                .collect(),
        )
    }
}

/// Least squares for each column of the targets, by normal equations with columns of unit length.
fn solved(columns: &DMatrix<f64>, targets: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let sizes: Vec<f64> = columns.column_iter().map(|column| column.norm().max(1e-300)).collect();
    let mut normal = columns.tr_mul(columns);
    let mut right = columns.tr_mul(targets);
    for (index, size) in sizes.iter().enumerate() {
        normal.row_mut(index).scale_mut(1.0 / size);
        normal.column_mut(index).scale_mut(1.0 / size);
        right.row_mut(index).scale_mut(1.0 / size);
    }
    let mut step = normal.cholesky()?.solve(&right);
    for (index, size) in sizes.iter().enumerate() {
        step.row_mut(index).scale_mut(1.0 / size);
    }
    step.iter().all(|value| value.is_finite()).then_some(step)
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector6;
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;
    use crate::align::alignment::moment_row;

    type Wave = (Vector3<f64>, f64, f64);

    /// A third of an ellipsoid of a metre, with noise of 0.02 mm, waves `(k, amplitude, phase)` and a small movement.
    fn rows(waves: &[Wave], movement: &Vector6<f64>, seed: u64) -> Vec<WeightedRow> {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        (0..20_000)
            .map(|_| {
                let (height, turn) = (random.random_range(0.3..1.0_f64), random.random_range(0.0..TAU));
                let flat = (1.0 - height * height).sqrt();
                let normal = Vector3::new(flat * turn.cos(), flat * turn.sin(), height);
                let point = Point3::from(normal.component_mul(&Vector3::new(500.0, 700.0, 400.0)));
                let row = moment_row(&point.coords, &normal);
                let noise: f64 = StandardNormal.sample(&mut random);
                let wave_mm: f64 = waves
                    .iter()
                    .map(|(number, amplitude_mm, phase)| {
                        amplitude_mm * (number.dot(&point.coords) + phase).sin()
                    })
                    .sum();
                let residual_mm = 0.02 * noise + wave_mm - row.dot(movement);
                WeightedRow { point, row, residual_mm, weight: 1.0 }
            })
            .collect()
    }

    fn direction(random: &mut ChaCha8Rng) -> Vector3<f64> {
        Vector3::from_fn(|_, _| StandardNormal.sample(random)).normalize()
    }

    fn power(rows: &[WeightedRow]) -> f64 {
        rows.iter().map(|row| row.residual_mm.powi(2)).sum::<f64>() / rows.len() as f64
    }

    #[test]
    fn ripples_are_taken_out_and_the_pose_stays_in() {
        let mut random = ChaCha8Rng::seed_from_u64(8);
        let waves: Vec<Wave> = (0..5)
            .map(|_| (direction(&mut random) * TAU / random.random_range(90.0..160.0), 0.008, 1.0))
            .collect();
        let movement = Vector6::new(2e-6, -1e-6, 3e-6, 0.002, -0.003, 0.001);
        let disturbed = rows(&waves, &movement, 1);
        let freed = without_ripples(disturbed.clone());
        let clean = rows(&[], &movement, 1);
        // Five waves have a power of 0.00016 mm² beside 0.0004 of the noise; what is left of them is less than a hundredth.
        assert!(power(&disturbed) - power(&clean) > 1e-4);
        assert!((power(&freed) - power(&clean)).abs() < 2e-6, "{} {}", power(&freed), power(&clean));
        let fitted = |rows: &[WeightedRow]| {
            let columns = DMatrix::from_fn(rows.len(), 6, |index, column| rows[index].row[column]);
            let right = DMatrix::from_fn(rows.len(), 1, |index, _| -rows[index].residual_mm);
            Vector6::from_column_slice(solved(&columns, &right).unwrap().as_slice())
        };
        // As near to the truth as without waves: the same noise pulls at both.
        let off = |rows: &[WeightedRow]| (fitted(rows) - movement).fixed_rows::<3>(3).norm();
        let (freed_mm, clean_mm, disturbed_mm) = (off(&freed), off(&clean), off(&disturbed));
        assert!(freed_mm < 1.5 * clean_mm + 2e-4, "{freed_mm} {clean_mm} {disturbed_mm}");
    }

    /// Noise of a smooth spectrum, as many small waves of lengths round 120 mm and longer make it, is left as it is.
    #[test]
    fn noise_without_lines_is_left_alone() {
        for seed in 0..4 {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            let waves: Vec<Wave> = (0..200)
                .map(|_| {
                    let number = Vector3::from_fn(|_, _| -> f64 { StandardNormal.sample(&mut random) });
                    (number / 60.0, 0.001, random.random_range(0.0..TAU))
                })
                .collect();
            let disturbed = rows(&waves, &Vector6::zeros(), seed);
            let same = without_ripples(disturbed.clone());
            let is_same =
                disturbed.iter().zip(&same).all(|(one, other)| one.residual_mm == other.residual_mm);
            assert!(is_same, "seed {seed}");
        }
    }
}
