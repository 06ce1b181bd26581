//! How much a scan's noise has of each part, learnt from the residuals that a pose leaves, and what the doubt of it costs the pose.
//!
//! In: [`NoiseParts`], the variance of single residuals. Out: [`Learnt`]. Units: mm, rad.
//! Method: the variances of the parts by restricted maximum likelihood, which allows for what the pose swallows of each part,
//! the more the longer the wave (D. Patterson, R. Thompson, Biometrika 58(3), 1971), climbed by average information
//! (A. Gilmour, R. Thompson, B. Cullis, Biometrics 51, 1995). Few long waves fit on a car, so the likelihood hardly
//! tells their variances; a broad prior of logarithms, in which neighbouring lengths go together, says that what is not seen
//! is like what is beside it. The groups' pose is then computed from variances drawn from what is known of them (M. Handcock,
//! M. Stein, Technometrics 35(4), 1993): with the doubt its covariance is the mean one and the spread of the draws' poses.
//! Does not see errors that are longer than the scan: they look like a pose.

use nalgebra::{DMatrix, DVector, Matrix6, Vector6};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::correlated_noise::NoiseParts;
use crate::geometry::large_cholesky;

/// Prior of the logarithms: all waves together have this share of the variance of single residuals, and its standard deviation.
/// Chosen, with the two below, on seeds 4000 to 4029 of `align_surface` so that neither the waves of a good scanner are missed nor
/// a quiet scan's pose is doubted for waves that nobody saw.
const WAVES_SHARE: f64 = 0.003;
const LEVEL_SD: f64 = 0.7;
/// How far one length may differ from the others, and the ratio of lengths over which that is forgotten.
const SHAPE_SD: f64 = 1.0;
const SHAPE_RATIO: f64 = 1.6;
/// The same of single points, which the residuals show well, and of cells: a twentieth of a point's noise.
const POINTS_SD: f64 = 1.0;
const CELLS_SHARE: f64 = 0.0025;
const CELLS_SD: f64 = 2.0;
/// Most steps uphill, the longest of them in logarithms, and the gain at which they end.
const MOST_STEPS: u32 = 15;
const LONGEST_STEP: f64 = 3.0;
const LEAST_GAIN: f64 = 1e-3;
const MOST_HALVINGS: u32 = 6;
/// Pairs of draws, each of a draw and its opposite.
const PAIRS_OF_DRAWS: usize = 8;
/// Least variance of single residuals, mm²: what has no noise has rounding.
const LEAST_VARIANCE_MM2: f64 = 1e-12;

/// A small movement `(ω, τ)` about the rows' pivot, with its covariance.
#[derive(Debug, Clone, Copy)]
pub(super) struct Movement {
    pub movement: Vector6<f64>,
    pub covariance: Matrix6<f64>,
}

/// What was learnt from groups of cells.
#[derive(Debug, Clone)]
pub(super) struct Learnt {
    /// The most believable variances: of points, of cells, of the waves of each length, mm².
    pub variances_mm2: Vec<f64>,
    /// Covariance of the groups' movement, were those variances known for sure.
    sure: Matrix6<f64>,
    /// The same averaged over what the variances may be.
    doubtful: Matrix6<f64>,
}

impl Learnt {
    /// A covariance that was computed from the most believable variances, made wider by the doubt of them: in each direction by as
    /// much as that of the groups.
    pub fn widened(&self, covariance: &Matrix6<f64>) -> Option<Matrix6<f64>> {
        let sure = self.sure.cholesky()?.l();
        let half = sure.solve_lower_triangular(&self.doubtful)?;
        let ratio = sure.solve_lower_triangular(&half.transpose())?;
        let factor = covariance.cholesky()?.l();
        let wide = factor * ratio * factor.transpose();
        Some((wide + wide.transpose()) * 0.5)
    }
}

/// What the groups say of the noise; `None` where the rows do not hold a pose.
pub(super) fn learnt(parts: &NoiseParts, variance_mm2: f64) -> Option<Learnt> {
    let model = Model::new(parts, variance_mm2.max(LEAST_VARIANCE_MM2))?;
    let (logs, precision) = model.climbed()?;
    let sure = model.at(&logs)?.pose.covariance;
    // L Lᵀ = precision: L⁻ᵀ z has its inverse for covariance.
    let upper = precision.cholesky()?.l().transpose();
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let mut poses = Vec::with_capacity(2 * PAIRS_OF_DRAWS);
    for _ in 0..PAIRS_OF_DRAWS {
        let normal: DVector<f64> = DVector::from_fn(logs.len(), |_, _| StandardNormal.sample(&mut random));
        let away = upper.solve_upper_triangular(&normal)?;
        for side in [&logs + &away, &logs - &away] {
            poses.push(model.at(&side)?.pose);
        }
    }
    let count = poses.len() as f64;
    let movement = poses.iter().map(|pose| pose.movement).sum::<Vector6<f64>>() / count;
    let spread = |pose: &Movement| (pose.movement - movement) * (pose.movement - movement).transpose();
    let doubtful = poses.iter().map(|pose| pose.covariance + spread(pose)).sum::<Matrix6<f64>>() / count;
    Some(Learnt { variances_mm2: logs.iter().map(|log| log.exp()).collect(), sure, doubtful })
}

/// A pose from residuals whose covariance is known.
pub(super) struct Whitened {
    pub(super) pose: Movement,
    /// Sum of the squares that the pose leaves, in units of their variance.
    pub(super) left: f64,
    /// Logarithm of the determinant of the pose's normal matrix.
    pub(super) log_determinant: f64,
}

/// Solves for the pose; `lower` is the Cholesky factor of the covariance, `columns` are the six of the pose, then the residuals with
/// their signs turned.
pub(super) fn whitened(lower: &DMatrix<f64>, mut columns: DMatrix<f64>) -> Option<Whitened> {
    if !lower.solve_lower_triangular_mut(&mut columns) {
        return None;
    }
    let products = columns.transpose() * &columns;
    let normal: Matrix6<f64> = products.fixed_view::<6, 6>(0, 0).into_owned();
    let right: Vector6<f64> = products.fixed_view::<6, 1>(0, 6).into_owned();
    let factor = normal.cholesky()?;
    let movement = factor.solve(&right);
    let left = products[(6, 6)] - right.dot(&movement);
    let log_determinant = factor.ln_determinant();
    Some(Whitened { pose: Movement { movement, covariance: factor.inverse() }, left, log_determinant })
}

/// Parts with the prior of their variances' logarithms: points, cells, waves.
struct Model<'p> {
    parts: &'p NoiseParts,
    mean: DVector<f64>,
    precision: DMatrix<f64>,
}

/// The model at some variances.
struct Point {
    /// Logarithm of restricted likelihood and prior, but for a constant.
    height: f64,
    lower: DMatrix<f64>,
    pose: Movement,
}

impl<'p> Model<'p> {
    fn new(parts: &'p NoiseParts, variance_mm2: f64) -> Option<Self> {
        let kinds = parts.lengths_mm.len();
        if kinds == 0 {
            return None;
        }
        let mut mean = DVector::from_element(kinds + 2, (variance_mm2 * WAVES_SHARE / kinds as f64).ln());
        mean[0] = variance_mm2.ln();
        mean[1] = (variance_mm2 * CELLS_SHARE).ln();
        let spread =
            DMatrix::from_fn(kinds + 2, kinds + 2, |row, column| match (row.min(column), row.max(column)) {
                (0, 0) => POINTS_SD * POINTS_SD,
                (1, 1) => CELLS_SD * CELLS_SD,
                (0 | 1, _) => 0.0,
                (one, other) => {
                    let ratio = parts.lengths_mm[other - 2] / parts.lengths_mm[one - 2];
                    LEVEL_SD * LEVEL_SD + SHAPE_SD * SHAPE_SD * (-ratio.ln() / SHAPE_RATIO.ln()).exp()
                }
            });
        Some(Self { parts, mean, precision: spread.cholesky()?.inverse() })
    }

    fn at(&self, logs: &DVector<f64>) -> Option<Point> {
        let parts = self.parts;
        let count = parts.residuals_mm.len();
        let mut covariance = DMatrix::zeros(count, count);
        for (matrix, log) in parts.of_waves.iter().zip(logs.iter().skip(2)) {
            let variance_mm2 = log.exp();
            covariance.zip_apply(matrix, |sum, value| *sum += variance_mm2 * value);
        }
        let (points_mm2, cells_mm2) = (logs[0].exp(), logs[1].exp());
        for group in 0..count {
            covariance[(group, group)] +=
                points_mm2 * parts.of_points[group] + cells_mm2 * parts.of_cells[group];
        }
        let lower = large_cholesky(covariance)?;
        // Columns: the six of the pose, then the residuals.
        let mut columns = parts.rows.clone().insert_column(6, 0.0);
        columns.set_column(6, &-&parts.residuals_mm);
        let Whitened { pose, left, log_determinant } = whitened(&lower, columns)?;
        let log_sizes = 2.0 * lower.diagonal().map(f64::ln).sum() + log_determinant;
        let away = logs - &self.mean;
        let height = -0.5 * (log_sizes + left + away.dot(&(&self.precision * &away)));
        height.is_finite().then_some(Point { height, lower, pose })
    }

    /// The variances that are most believable, and the precision of their logarithms.
    fn climbed(&self) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let mut logs = self.mean.clone();
        let mut point = self.at(&logs)?;
        let (mut gradient, mut precision) = self.slope(&logs, &point)?;
        for _ in 0..MOST_STEPS {
            let mut step = precision.clone().cholesky()?.solve(&gradient);
            step *= (LONGEST_STEP / step.amax().max(1e-12)).min(1.0);
            let mut higher = None;
            for _ in 0..MOST_HALVINGS {
                let next = &logs + &step;
                if let Some(found) = self.at(&next).filter(|found| found.height > point.height) {
                    higher = Some((next, found));
                    break;
                }
                step *= 0.5;
            }
            let Some((next, found)) = higher else { break };
            let gain = found.height - point.height;
            (logs, point) = (next, found);
            (gradient, precision) = self.slope(&logs, &point)?;
            if gain < LEAST_GAIN {
                break;
            }
        }
        Some((logs, precision))
    }

    /// Gradient over the logarithms, and the average information with the prior's.
    fn slope(&self, logs: &DVector<f64>, point: &Point) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let parts = self.parts;
        let count = parts.residuals_mm.len();
        let root = point.lower.solve_lower_triangular(&DMatrix::identity(count, count))?;
        let mut projector = root.transpose() * &root;
        let weighted = &projector * &parts.rows;
        projector -= &weighted * point.pose.covariance * weighted.transpose();
        let carried = &projector * -&parts.residuals_mm;
        let variances_mm2 = logs.map(f64::exp);
        let diagonal = projector.diagonal();
        let mut moved = DMatrix::zeros(count, logs.len());
        let mut traces = DVector::zeros(logs.len());
        for (index, part) in [&parts.of_points, &parts.of_cells].into_iter().enumerate() {
            traces[index] = diagonal.dot(part);
            moved.set_column(index, &carried.component_mul(part));
        }
        for (index, part) in parts.of_waves.iter().enumerate() {
            // Symmetric, of which the lower triangle is there.
            traces[index + 2] = 2.0 * projector.dot(part) - diagonal.dot(&part.diagonal());
            let mut product = DVector::zeros(count);
            product.sygemv(1.0, part, &carried, 0.0);
            moved.set_column(index + 2, &product);
        }
        let information = moved.transpose() * (&projector * &moved);
        let prior = &self.precision * (logs - &self.mean);
        let gradient = DVector::from_fn(logs.len(), |index, _| {
            -0.5 * variances_mm2[index] * (traces[index] - carried.dot(&moved.column(index))) - prior[index]
        });
        let precision = DMatrix::from_fn(logs.len(), logs.len(), |row, column| {
            0.5 * variances_mm2[row] * variances_mm2[column] * information[(row, column)]
                + self.precision[(row, column)]
        });
        Some((gradient, precision))
    }
}

#[cfg(test)]
mod tests {
    use rand::Rng;

    use super::*;
    use crate::align::correlated_noise::line_of_cells;
    use crate::align::correlated_step::step_of_cells;

    /// 200 cells along a line of 6 m whose pose is one shift; noise of points, and forty waves in one direction each.
    fn shifted(wave_mm: f64, lengths_mm: std::ops::Range<f64>, seed: u64) -> Movement {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let waves: Vec<(f64, f64)> = (0..40)
            .map(|_| {
                (
                    std::f64::consts::TAU / random.random_range(lengths_mm.clone()),
                    random.random_range(0.0..6.3),
                )
            })
            .collect();
        let mut cells = line_of_cells(200, 30.0);
        for (index, cell) in cells.iter_mut().enumerate() {
            // A row for each of the six, so that a pose is held.
            cell.row = Vector6::from_fn(|row, _| ((row + 1) as f64 * index as f64 / 200.0).cos());
            let noise: f64 = StandardNormal.sample(&mut random);
            let wave: f64 =
                waves.iter().map(|(number, phase)| (number * cell.point.x + phase).sin()).sum::<f64>()
                    / 20_f64.sqrt();
            cell.residual_mm = 0.01 * noise / cell.weight.sqrt() + wave_mm * wave;
        }
        step_of_cells(&cells, 30.0, 1e-4).unwrap()
    }

    #[test]
    fn long_waves_make_the_pose_doubtful_and_are_in_its_covariance() {
        let inside = |wave_mm: f64| {
            (0..12)
                .filter(|seed| {
                    let found = shifted(wave_mm, 400.0..1500.0, *seed);
                    let size = found.covariance.try_inverse().unwrap();
                    // 95 % of chi-squared with six degrees of freedom.
                    found.movement.dot(&(size * found.movement)) < 12.592
                })
                .count()
        };
        assert!(inside(0.01) >= 10 && inside(0.0) >= 10);
        let size = |wave_mm: f64| shifted(wave_mm, 400.0..1500.0, 3).covariance.trace();
        assert!(size(0.01) > 9.0 * size(0.0), "{} {}", size(0.01), size(0.0));
    }

    #[test]
    fn the_slope_is_the_change_of_the_height() {
        let mut cells = line_of_cells(70, 30.0);
        for (index, cell) in cells.iter_mut().enumerate() {
            cell.row = Vector6::from_fn(|row, _| {
                ((row + 1) as f64 * index as f64 * std::f64::consts::PI / 70.0).cos()
            });
            cell.residual_mm = 0.01 * (index as f64 * 0.3).sin() + 0.002 * (index as f64 * 2.1).cos();
        }
        let parts = NoiseParts::of(&cells, 30.0);
        let model = Model::new(&parts, 1e-4).unwrap();
        let logs = model.mean.map(|log| log + 0.3);
        let point = model.at(&logs).unwrap();
        let (gradient, _) = model.slope(&logs, &point).unwrap();
        for index in 0..logs.len() {
            let height = |away: f64| {
                let mut logs = logs.clone();
                logs[index] += away;
                model.at(&logs).unwrap().height
            };
            let change = (height(1e-4) - height(-1e-4)) / 2e-4;
            assert!(
                (change - gradient[index]).abs() < 1e-4 * change.abs().max(1.0),
                "{index} {change} {gradient}"
            );
        }
    }
}
