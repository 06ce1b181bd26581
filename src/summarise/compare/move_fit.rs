//! Fits rigid moves of panels to changes of gap and flush.
//!
//! In: rows (change, direction, points of action, uncertainties), which panels may move, how large errors are. Out: their
//! [`Motion`]s with covariance, and how well the changes are explained. Units: mm, rad; frame: Car.
//! Method: small moves d(e) = t + w × (e − pivot); a gap changes by x · d(edge), x from datum to other panel, a flush by
//! n · d(mid-gap); the datum panel counts with the opposite sign. Generalised least squares with the covariance of
//! `error_model`: errors common to a seam's rows are further unknowns of stated or learnt size, eliminated by a Schur complement. Robust
//! by annealed Geman–McClure weights (Geman and McClure, Bull. Int. Stat. Inst. 52(4), 1987), so that a dent does not turn a
//! panel. That the sizes of the errors are themselves only learnt widens the covariance by what the moves would change
//! with them (Kackar and Harville, JASA 79(388), 1984, 853–862), and by Student's t. Directions that the rows do not
//! tell (u above half a millimetre) are cut out by the eigenvalues of the information matrix and named.
//! Valid for small moves: the error of the linear form is about 0.05 mm for 1 mm and 0.1° (method study).

use nalgebra::{DMatrix, DVector, Matrix6, Vector3};

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::error_model::{ErrorModel, Evidence, Expected, Group, Moments, SIZES, Sizes};
use super::motion::{Motion, Mover, Row, stacked};
use super::variance_components::most_likely;

/// Standard uncertainty above which a direction of a move counts as not seen, mm at the lever's end.
const UNSEEN_U_MM: f64 = 0.5;
/// Final width of the robust weights, in standard uncertainties: 93 % efficient for normal errors, and 0.25 at 5 u.
const FINAL_WIDTH: f64 = 5.0;
/// Mean of the final weights over normal residuals (by numerical integration).
const MEAN_WEIGHT: f64 = 0.9315;
/// Shrinkage of the width from one round to the next, as in annealed registration (method study: 0.75).
const ANNEALING: f64 = 0.75;
/// Rounds after the width has come to rest.
const SETTLING_ROUNDS: usize = 6;
/// Fewest degrees of freedom that are believed.
const FEWEST_FREEDOM: f64 = 4.0;
/// Share of a normal distribution below + 2 standard deviations.
const TWO_SIGMA_SHARE: f64 = 0.977_249_868;
/// Rounds of robust weights and sizes of errors by turns.
const LEARNING_ROUNDS: usize = 2;
/// Rounds in all, for changes that start thousands of u away.
const MOST_ROUNDS: usize = 60;

/// How a set of movers explains the rows.
#[derive(Debug, Clone)]
pub(crate) struct Fit {
    pub motions: Vec<Motion>,
    /// Robust sum of squares in units of u².
    pub cost: f64,
    /// Directions that were seen.
    pub rank: usize,
    /// Change − move, mm, for each row; the common error stays in it.
    pub leftover_mm: Vec<f64>,
}

/// Learns how large the errors of the rows are, with all panels free that may have moved.
pub(crate) fn learn(rows: &[Row], movers: &[Mover], expected: &Expected) -> ErrorModel {
    let mut model = ErrorModel::stated(rows, expected);
    for _ in 0..LEARNING_ROUNDS {
        let problem = Problem::new(rows, movers, &model);
        let state = problem.settle();
        let sizes = most_likely(&model, &problem.moments(&problem.residuals(&state), FINAL_WIDTH));
        model.sizes = sizes;
    }
    model
}

/// Fits moves of `movers` (none: only the common errors), taking the sizes of the errors for granted.
pub(crate) fn fit(rows: &[Row], movers: &[Mover], model: &ErrorModel) -> Fit {
    let problem = Problem::new(rows, movers, model);
    problem.finish(&problem.settle(), false)
}

/// The same with the errors as they are stated and expected, nothing learnt: a start.
pub(crate) fn fit_as_stated(rows: &[Row], movers: &[Mover], expected: &Expected) -> Fit {
    fit(rows, movers, &ErrorModel::stated(rows, expected))
}

/// The same as [`fit`], with the doubt about the sizes in the covariance.
pub(crate) fn fit_doubting(rows: &[Row], movers: &[Mover], model: &ErrorModel) -> Fit {
    let problem = Problem::new(rows, movers, model);
    problem.finish(&problem.settle(), true)
}

/// The unknowns: moves, scaled to mm, and the parts of the common errors of each group, mm.
struct State {
    moves: DVector<f64>,
    parts_mm: Vec<DVector<f64>>,
}

struct Solved {
    moves: DVector<f64>,
    /// Inverse of the information over the directions seen.
    covariance: DMatrix<f64>,
    /// Share of each unknown in directions that are not seen.
    unseen_share: Vec<f64>,
    rank: usize,
}

struct Problem<'a> {
    rows: &'a [Row],
    movers: &'a [Mover],
    model: &'a ErrorModel,
    local_u_mm: Vec<f64>,
    change_mm: DVector<f64>,
    /// Rows × 6 movers, mm per mm.
    design: DMatrix<f64>,
}

impl<'a> Problem<'a> {
    fn new(rows: &'a [Row], movers: &'a [Mover], model: &'a ErrorModel) -> Self {
        let mut design = DMatrix::zeros(rows.len(), 6 * movers.len());
        for (index, row) in rows.iter().enumerate() {
            for (place, mover) in movers.iter().enumerate() {
                let Some((sign, point)) = row.sign_and_point(mover.panel) else { continue };
                let turning = (point - mover.pivot).cross(&row.direction) / mover.lever_mm;
                let entries = stacked(&row.direction, &turning) * sign;
                for axis in 0..6 {
                    design[(index, 6 * place + axis)] = entries[axis];
                }
            }
        }
        let change_mm = DVector::from_iterator(rows.len(), rows.iter().map(|row| row.change_mm));
        Self { rows, movers, model, local_u_mm: model.local_u_mm(rows), change_mm, design }
    }

    fn start(&self) -> State {
        let parts_mm = self.model.groups.iter().map(|group| DVector::zeros(group.parts())).collect();
        State { moves: DVector::zeros(self.design.ncols()), parts_mm }
    }

    /// Reweighted least squares until the weights stand still, from wide to narrow.
    fn settle(&self) -> State {
        let mut state = self.start();
        let mut width =
            self.residuals(&state).iter().fold(FINAL_WIDTH, |most, residual| most.max(residual.abs()));
        let mut settled = 0;
        for _ in 0..MOST_ROUNDS {
            state = self.step(&state, width).0;
            width = (width * ANNEALING).max(FINAL_WIDTH);
            settled += usize::from(width <= FINAL_WIDTH);
            if settled > SETTLING_ROUNDS {
                break;
            }
        }
        state
    }

    /// Change less moves and common errors, in units of the rows' own u.
    fn residuals(&self, state: &State) -> Vec<f64> {
        let left_mm = &self.change_mm - &self.design * &state.moves;
        let mut residuals: Vec<f64> = left_mm.iter().copied().collect();
        for (group, parts_mm) in self.model.groups.iter().zip(&state.parts_mm) {
            for (row, common_mm) in group.rows.clone().zip(group.common_mm(parts_mm)) {
                residuals[row] = (residuals[row] - common_mm) / self.local_u_mm[row];
            }
        }
        residuals
    }

    /// Sums of each group's rows with robust weights.
    fn moments(&self, residuals: &[f64], width: f64) -> Vec<Moments> {
        let robust: Vec<f64> =
            residuals.iter().map(|residual| (1.0 + (residual / width).powi(2)).powi(-2)).collect();
        let weights: Vec<f64> =
            robust.iter().zip(self.rows).map(|(robust, row)| robust / row.local_u_mm.powi(2)).collect();
        self.model
            .groups
            .iter()
            .map(|group| {
                let counted = robust[group.rows.clone()].iter().sum::<f64>() / MEAN_WEIGHT;
                Moments::of(group, &self.design, &self.change_mm, &weights, counted)
            })
            .collect()
    }

    /// The moves for given sums and sizes of errors.
    fn solved<'s>(&self, moments: &[Moments], sizes: impl Fn(&Group) -> &'s Sizes) -> Solved {
        let unknowns = self.design.ncols();
        let mut information = DMatrix::zeros(unknowns, unknowns);
        let mut right = DVector::zeros(unknowns);
        for (group, sums) in self.model.groups.iter().zip(moments) {
            let sizes = sizes(group);
            if let Some(Evidence { information: more, right: pull, .. }) =
                sums.evidence(&group.prior(sizes), sizes.local_factor())
            {
                information += more;
                right += pull;
            }
        }
        solve_seen(&information, &right)
    }

    /// One round of reweighted least squares.
    fn step(&self, state: &State, width: f64) -> (State, Solved, Vec<Moments>) {
        let moments = self.moments(&self.residuals(state), width);
        let solved = self.solved(&moments, |group| &self.model.sizes[group.class]);
        let parts_mm = self
            .model
            .groups
            .iter()
            .zip(&moments)
            .map(|(group, sums)| {
                let sizes = &self.model.sizes[group.class];
                sums.parts_mm(&group.prior(sizes), sizes.local_factor(), &solved.moves)
            })
            .collect();
        (State { moves: solved.moves.clone(), parts_mm }, solved, moments)
    }

    /// The covariance with what not knowing the sizes adds: each size is put up and down by its uncertainty; the moves and their
    /// covariance change with it. What that leaves of degrees of freedom widens each unknown, so that twice its u covers what
    /// it does for a normal distribution.
    fn doubted(&self, solved: &Solved, moments: &[Moments]) -> DMatrix<f64> {
        let mut covariance = solved.covariance.clone();
        // Variance of each unknown's variance.
        let mut spread = DVector::zeros(solved.moves.len());
        for (class, place) in self.open_sizes() {
            let [up, down] = [1.0, -1.0].map(|sign| {
                let mut other = self.model.sizes[class];
                other.logs[place] += sign * other.log_u[place];
                self.solved(moments, |group| {
                    if group.class == class { &other } else { &self.model.sizes[group.class] }
                })
            });
            if up.rank != solved.rank || down.rank != solved.rank {
                continue;
            }
            for found in [&up, &down] {
                let off = &found.moves - &solved.moves;
                covariance += (&off * off.transpose() + &found.covariance - &solved.covariance) * 0.5;
            }
            let half = (up.covariance.diagonal() - down.covariance.diagonal()) * 0.5;
            spread += half.component_mul(&half);
        }
        let widening: Vec<f64> = covariance
            .diagonal()
            .iter()
            .zip(spread.iter())
            .map(|(own, spread)| widened(*own, *spread))
            .collect();
        DMatrix::from_fn(covariance.nrows(), covariance.ncols(), |row, column| {
            covariance[(row, column)] * widening[row] * widening[column]
        })
    }

    /// Class and place of every size that is not taken for granted.
    fn open_sizes(&self) -> Vec<(usize, usize)> {
        let is_open = |class: usize, place: usize| self.model.sizes[class].log_u[place] > 0.0;
        (0..self.model.sizes.len())
            .flat_map(|class| (0..SIZES).map(move |place| (class, place)))
            .filter(|(class, place)| is_open(*class, *place))
            .collect()
    }

    fn finish(&self, state: &State, is_doubting: bool) -> Fit {
        let (state, mut solved, moments) = self.step(state, FINAL_WIDTH);
        if is_doubting {
            solved.covariance = self.doubted(&solved, &moments);
        }
        let residuals = self.residuals(&state);
        let squares: f64 = residuals
            .iter()
            .map(|residual| residual.powi(2) / (1.0 + (residual / FINAL_WIDTH).powi(2)))
            .sum();
        let priors: f64 = self
            .model
            .groups
            .iter()
            .zip(&state.parts_mm)
            .map(|(group, parts_mm)| {
                let (information, _) = group.prior(&self.model.sizes[group.class]);
                parts_mm.dot(&(information * parts_mm))
            })
            .sum();
        Fit {
            motions: (0..self.movers.len()).map(|place| self.motion(place, &solved)).collect(),
            cost: squares + priors,
            rank: solved.rank,
            leftover_mm: (&self.change_mm - &self.design * &state.moves).iter().copied().collect(),
        }
    }

    /// One mover's part of the solution, rotations back in radians.
    fn motion(&self, place: usize, solved: &Solved) -> Motion {
        let mover = &self.movers[place];
        let scale = |axis: usize| if axis < 3 { 1.0 } else { 1.0 / mover.lever_mm };
        let value = |axis: usize| solved.moves[6 * place + axis] * scale(axis);
        Motion {
            pivot: mover.pivot,
            shift_mm: Vector3::new(value(0), value(1), value(2)),
            rotation_rad: Vector3::new(value(3), value(4), value(5)),
            covariance: Matrix6::from_fn(|row, column| {
                solved.covariance[(6 * place + row, 6 * place + column)] * scale(row) * scale(column)
            }),
            unseen_share: std::array::from_fn(|axis| solved.unseen_share[6 * place + axis]),
        }
    }
}

/// What u must be multiplied with so that ± 2 u covers 95.45 %, from a variance and the variance of that variance: degrees of
/// freedom by matching moments (Satterthwaite, Biometrics 2(6), 1946; JCGM 100:2008, G.4), and Student's t.
pub(super) fn widened(variance: f64, spread: f64) -> f64 {
    if variance <= 0.0 || spread <= 0.0 {
        return 1.0;
    }
    let freedom = (2.0 * variance * variance / spread).max(FEWEST_FREEDOM);
    StudentsT::new(0.0, 1.0, freedom).map_or(1.0, |student| student.inverse_cdf(TWO_SIGMA_SHARE) / 2.0)
}

/// Solves over the eigenvectors whose uncertainty is small enough: see [`Solved`].
fn solve_seen(information: &DMatrix<f64>, right: &DVector<f64>) -> Solved {
    let size = right.len();
    let mut solved = Solved {
        moves: DVector::zeros(size),
        covariance: DMatrix::zeros(size, size),
        unseen_share: vec![0.0; size],
        rank: 0,
    };
    if size == 0 {
        return solved;
    }
    let eigen = information.clone().symmetric_eigen();
    for (value, vector) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
        if *value * UNSEEN_U_MM.powi(2) >= 1.0 {
            solved.moves.axpy(vector.dot(right) / value, &vector, 1.0);
            solved.covariance.ger(1.0 / value, &vector, &vector, 1.0);
            solved.rank += 1;
        } else {
            for (share, entry) in solved.unseen_share.iter_mut().zip(vector.iter()) {
                *share += entry * entry;
            }
        }
    }
    solved
}
