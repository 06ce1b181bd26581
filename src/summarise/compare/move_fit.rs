//! Fits rigid moves of panels to changes of gap and flush.
//!
//! In: rows (change, direction, points of action, uncertainties) and which panels may move. Out: their [`Motion`]s with
//! covariance, and how well the changes are explained. Units: mm, rad; frame: Car.
//! Method: small moves d(e) = t + w × (e − pivot); a gap changes by x · d(edge), x from datum to other panel, a flush by
//! n · d(mid-gap); the datum panel counts with the opposite sign. Errors common to a seam's rows are
//! further unknowns of stated size (see `common_errors`), eliminated by a Schur complement. Robust by annealed Geman–McClure weights (Geman and
//! McClure, Bull. Int. Stat. Inst. 52(4), 1987), so that a dent does not turn a panel. Directions that the rows do not
//! tell (u above half a millimetre) are cut out by the eigenvalues of the information matrix and named.
//! Valid for small moves: the error of the linear form is about 0.05 mm for 1 mm and 0.1° (method study).

use nalgebra::{DMatrix, DVector, Matrix6, Point3, Vector3, Vector6};

use super::common_errors::CommonErrors;

/// Standard uncertainty above which a direction of a move counts as not seen, mm at the lever's end.
const UNSEEN_U_MM: f64 = 0.5;
/// Final width of the robust weights, in standard uncertainties: 93 % efficient for normal errors, and 0.25 at 5 u.
const FINAL_WIDTH: f64 = 5.0;
/// Shrinkage of the width from one round to the next, as in annealed registration (method study: 0.75).
const ANNEALING: f64 = 0.75;
/// Rounds after the width has come to rest.
const SETTLING_ROUNDS: usize = 6;
/// Rounds in all, for changes that start thousands of u away.
const MOST_ROUNDS: usize = 60;

/// A rigid move of one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Motion {
    /// Car frame, mm.
    pub pivot: Point3<f64>,
    /// Shift of the pivot, mm.
    pub shift_mm: Vector3<f64>,
    /// Rotation vector about the pivot, rad.
    pub rotation_rad: Vector3<f64>,
    /// Of shift (mm) and rotation (rad); nothing for directions that were not seen.
    pub covariance: Matrix6<f64>,
    /// Share of each of the six (shift x, y, z; rotation x, y, z) that the seams do not tell, 0 to 1.
    pub unseen_share: [f64; 6],
}

impl Motion {
    /// Displacement of a point of the panel, mm.
    #[must_use]
    pub fn displacement_mm(&self, point: &Point3<f64>) -> Vector3<f64> {
        self.shift_mm + self.rotation_rad.cross(&(point - self.pivot))
    }

    /// Displacement along a unit direction and its standard uncertainty, mm.
    #[must_use]
    pub fn displacement_along(&self, point: &Point3<f64>, direction: &Vector3<f64>) -> (f64, f64) {
        let turning = (point - self.pivot).cross(direction);
        let gradient = stacked(direction, &turning);
        let variance_mm2 = (gradient.transpose() * self.covariance * gradient)[0];
        (self.displacement_mm(point).dot(direction), variance_mm2.max(0.0).sqrt())
    }
}

/// One changed reading.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    /// Which common error it shares (one for each seam and measurand).
    pub group: usize,
    /// Where along its seam.
    pub along_mm: f64,
    pub change_mm: f64,
    pub local_u_mm: f64,
    pub common_u_mm: f64,
    /// The direction that counts.
    pub direction: Vector3<f64>,
    /// Datum panel and where it acts, then the other one.
    pub ends: [(usize, Point3<f64>); 2],
}

impl Row {
    fn sign_and_point(&self, panel: usize) -> Option<(f64, &Point3<f64>)> {
        let [(datum, datum_point), (other, other_point)] = &self.ends;
        if *other == panel {
            Some((1.0, other_point))
        } else {
            (*datum == panel).then_some((-1.0, datum_point))
        }
    }
}

/// A panel that may move: about where, and how long the lever is that turns radians into mm.
#[derive(Debug, Clone)]
pub(crate) struct Mover {
    pub panel: usize,
    pub pivot: Point3<f64>,
    pub lever_mm: f64,
}

impl Mover {
    /// The panel's middle as its rows show it; `None` without rows.
    pub fn of(panel: usize, rows: &[Row]) -> Option<Self> {
        let points: Vec<&Point3<f64>> =
            rows.iter().filter_map(|row| row.sign_and_point(panel)).map(|(_, point)| point).collect();
        let count = points.len() as f64;
        if points.is_empty() {
            return None;
        }
        let pivot = Point3::from(points.iter().map(|point| point.coords).sum::<Vector3<f64>>() / count);
        let square_mm2 = points.iter().map(|point| (*point - pivot).norm_squared()).sum::<f64>() / count;
        Some(Self { panel, pivot, lever_mm: square_mm2.sqrt().max(1.0) })
    }
}

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
    /// Change − move − common error, in units of the rows' local u.
    pub residuals: Vec<f64>,
}

/// Fits moves of `movers` (none: only the common errors).
pub(crate) fn fit(rows: &[Row], movers: &[Mover]) -> Fit {
    let problem = Problem::new(rows, movers);
    let mut state = problem.start();
    let largest =
        problem.residuals(&state).iter().fold(FINAL_WIDTH, |most, residual| most.max(residual.abs()));
    let mut width = largest;
    let mut settled = 0;
    for _ in 0..MOST_ROUNDS {
        state = problem.step(&state, width).state;
        width = (width * ANNEALING).max(FINAL_WIDTH);
        settled += usize::from(width <= FINAL_WIDTH);
        if settled > SETTLING_ROUNDS {
            break;
        }
    }
    problem.finish(&state)
}

/// The unknowns: moves, scaled to mm, and the parts of the common errors, mm.
struct State {
    moves: DVector<f64>,
    common_mm: DVector<f64>,
}

struct Step {
    state: State,
    /// Inverse of the information over the directions seen.
    covariance: DMatrix<f64>,
    /// Share of each unknown in directions that are not seen.
    unseen_share: Vec<f64>,
    rank: usize,
}

struct Problem<'a> {
    rows: &'a [Row],
    movers: &'a [Mover],
    change_mm: DVector<f64>,
    /// Rows × 6 movers, mm per mm.
    design: DMatrix<f64>,
    common: CommonErrors,
}

impl<'a> Problem<'a> {
    fn new(rows: &'a [Row], movers: &'a [Mover]) -> Self {
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
        Self { rows, movers, change_mm, design, common: CommonErrors::of(rows) }
    }

    fn start(&self) -> State {
        State { moves: DVector::zeros(self.design.ncols()), common_mm: DVector::zeros(self.common.count()) }
    }

    /// Change less moves and common errors, in units of the rows' local u.
    fn residuals(&self, state: &State) -> Vec<f64> {
        let explained = &self.design * &state.moves;
        (0..self.rows.len())
            .map(|row| {
                let left_mm = self.change_mm[row] - explained[row] - self.common.at(row, &state.common_mm);
                left_mm / self.rows[row].local_u_mm
            })
            .collect()
    }

    /// One round of reweighted least squares; the common errors are eliminated by a Schur complement.
    fn step(&self, state: &State, width: f64) -> Step {
        let weights: Vec<f64> = self
            .residuals(state)
            .iter()
            .zip(self.rows)
            .map(|(residual, row)| (1.0 + (residual / width).powi(2)).powi(-2) / row.local_u_mm.powi(2))
            .collect();
        let moves = DMatrix::from_fn(self.design.nrows(), self.design.ncols(), |row, column| {
            weights[row] * self.design[(row, column)]
        });
        let change_mm = DMatrix::from_columns(std::slice::from_ref(&self.change_mm));
        let shared = self.common.gathered(&weights, &self.design);
        let common_right = self.common.gathered(&weights, &change_mm);
        // Positive definite by its priors, so the factor is there; without common errors it is empty.
        let factor = self.common.information(&weights).cholesky();
        let solve = |right: &DMatrix<f64>| {
            factor
                .as_ref()
                .map_or_else(|| DMatrix::zeros(right.nrows(), right.ncols()), |factor| factor.solve(right))
        };
        let taken = solve(&shared);
        let information = moves.tr_mul(&self.design) - shared.tr_mul(&taken);
        let right = (moves.tr_mul(&change_mm) - taken.tr_mul(&common_right)).column(0).into_owned();
        let (moves, covariance, unseen_share, rank) = solve_seen(&information, &right);
        let explained = &shared * DMatrix::from_columns(std::slice::from_ref(&moves));
        let common_mm = solve(&(common_right - explained)).column(0).into_owned();
        Step { state: State { moves, common_mm }, covariance, unseen_share, rank }
    }

    fn finish(&self, state: &State) -> Fit {
        let last = self.step(state, FINAL_WIDTH);
        let state = &last.state;
        let squares: f64 = self
            .residuals(state)
            .iter()
            .map(|residual| residual.powi(2) / (1.0 + (residual / FINAL_WIDTH).powi(2)))
            .sum();
        let priors: f64 = state
            .common_mm
            .iter()
            .zip(&self.common.variance_mm2)
            .map(|(common_mm, variance_mm2)| common_mm.powi(2) / variance_mm2)
            .sum();
        Fit {
            motions: (0..self.movers.len()).map(|place| self.motion(place, &last)).collect(),
            cost: squares + priors,
            rank: last.rank,
            leftover_mm: (&self.change_mm - &self.design * &state.moves).iter().copied().collect(),
            residuals: self.residuals(state),
        }
    }

    /// One mover's part of the solution, rotations back in radians.
    fn motion(&self, place: usize, step: &Step) -> Motion {
        let mover = &self.movers[place];
        let scale = |axis: usize| if axis < 3 { 1.0 } else { 1.0 / mover.lever_mm };
        let value = |axis: usize| step.state.moves[6 * place + axis] * scale(axis);
        Motion {
            pivot: mover.pivot,
            shift_mm: Vector3::new(value(0), value(1), value(2)),
            rotation_rad: Vector3::new(value(3), value(4), value(5)),
            covariance: Matrix6::from_fn(|row, column| {
                step.covariance[(6 * place + row, 6 * place + column)] * scale(row) * scale(column)
            }),
            unseen_share: std::array::from_fn(|axis| step.unseen_share[6 * place + axis]),
        }
    }
}

/// Solves over the eigenvectors whose uncertainty is small enough: unknowns, covariance, unseen shares, rank.
fn solve_seen(
    information: &DMatrix<f64>,
    right: &DVector<f64>,
) -> (DVector<f64>, DMatrix<f64>, Vec<f64>, usize) {
    let size = right.len();
    let mut unknowns = DVector::zeros(size);
    let mut covariance = DMatrix::zeros(size, size);
    let mut unseen_share = vec![0.0; size];
    let mut rank = 0;
    if size == 0 {
        return (unknowns, covariance, unseen_share, rank);
    }
    let eigen = information.clone().symmetric_eigen();
    for (value, vector) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
        if *value * UNSEEN_U_MM.powi(2) >= 1.0 {
            unknowns.axpy(vector.dot(right) / value, &vector, 1.0);
            covariance.ger(1.0 / value, &vector, &vector, 1.0);
            rank += 1;
        } else {
            for (share, entry) in unseen_share.iter_mut().zip(vector.iter()) {
                *share += entry * entry;
            }
        }
    }
    (unknowns, covariance, unseen_share, rank)
}

fn stacked(first: &Vector3<f64>, second: &Vector3<f64>) -> Vector6<f64> {
    Vector6::new(first.x, first.y, first.z, second.x, second.y, second.z)
}
