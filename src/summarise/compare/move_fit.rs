//! Fits rigid moves of panels to changes of gap and flush.
//!
//! In: rows (change, direction, points of action, uncertainties) and which panels may move. Out: their [`Motion`]s with
//! covariance, and how well the changes are explained. Units: mm, rad; frame: Car.
//! Method: small moves d(e) = t + w × (e − pivot); a gap changes by x · d(edge), x from datum to other panel, a flush by
//! n · d(mid-gap); the datum panel counts with the opposite sign. An error common to a seam's rows is a further
//! unknown of stated size (eliminated by a Schur complement). Robust by annealed Geman–McClure weights (Geman and
//! McClure, Bull. Int. Stat. Inst. 52(4), 1987), so that a dent does not turn a panel. Directions that the rows do not
//! tell (u above half a millimetre) are cut out by the eigenvalues of the information matrix and named.
//! Valid for small moves: the error of the linear form is about 0.05 mm for 1 mm and 0.1° (method study).

use nalgebra::{DMatrix, DVector, Matrix6, Point3, Vector3, Vector6};

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
pub(super) struct Row {
    /// Which common error it shares (one for each seam and measurand).
    pub group: usize,
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
pub(super) struct Mover {
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
pub(super) struct Fit {
    pub motions: Vec<Motion>,
    /// Robust sum of squares in units of u².
    pub cost: f64,
    /// Directions that were seen.
    pub rank: usize,
    /// Change − move, mm, for each row; the common error stays in it.
    pub leftover_mm: Vec<f64>,
}

/// Fits moves of `movers` (none: only the common errors).
pub(super) fn fit(rows: &[Row], movers: &[Mover]) -> Fit {
    let problem = Problem::new(rows, movers);
    let mut state =
        State { moves: DVector::zeros(6 * movers.len()), common_mm: vec![0.0; problem.group_count] };
    let largest =
        problem.residuals(&state).iter().fold(FINAL_WIDTH, |most, residual| most.max(residual.abs()));
    let mut width = largest;
    let mut settled = 0;
    for _ in 0..MOST_ROUNDS {
        state = problem.step(&state, width).moves_and_common;
        width = (width * ANNEALING).max(FINAL_WIDTH);
        settled += usize::from(width <= FINAL_WIDTH);
        if settled > SETTLING_ROUNDS {
            break;
        }
    }
    problem.finish(&state)
}

/// The unknowns: moves, scaled to mm, and each group's common error, mm.
struct State {
    moves: DVector<f64>,
    common_mm: Vec<f64>,
}

struct Step {
    moves_and_common: State,
    /// Inverse of the information over the directions seen.
    covariance: DMatrix<f64>,
    /// Share of each unknown in directions that are not seen.
    unseen_share: Vec<f64>,
    rank: usize,
}

struct Problem<'a> {
    rows: &'a [Row],
    movers: &'a [Mover],
    /// Rows × 6 movers, mm per mm.
    design: DMatrix<f64>,
    group_count: usize,
    /// Variance of each group's common error, mm².
    common_mm2: Vec<f64>,
}

impl<'a> Problem<'a> {
    fn new(rows: &'a [Row], movers: &'a [Mover]) -> Self {
        let group_count = rows.iter().map(|row| row.group + 1).max().unwrap_or(0);
        let mut sums = vec![(0.0, 0.0); group_count];
        for row in rows {
            sums[row.group].0 += row.common_u_mm.powi(2);
            sums[row.group].1 += 1.0;
        }
        let common_mm2 = sums.iter().map(|(sum, count)| sum / f64::max(*count, 1.0)).collect();
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
        Self { rows, movers, design, group_count, common_mm2 }
    }

    /// Residuals in units of the rows' local u.
    fn residuals(&self, state: &State) -> Vec<f64> {
        let explained = &self.design * &state.moves;
        self.rows
            .iter()
            .zip(explained.iter())
            .map(|(row, explained)| (row.change_mm - explained - state.common_mm[row.group]) / row.local_u_mm)
            .collect()
    }

    /// One round of reweighted least squares.
    fn step(&self, state: &State, width: f64) -> Step {
        let weights: Vec<f64> = self
            .residuals(state)
            .iter()
            .zip(self.rows)
            .map(|(residual, row)| (1.0 + (residual / width).powi(2)).powi(-2) / row.local_u_mm.powi(2))
            .collect();
        let size = self.design.ncols();
        let mut information = DMatrix::zeros(size, size);
        let mut right = DVector::zeros(size);
        let mut group_design = DMatrix::zeros(size, self.group_count);
        let mut group_change = vec![0.0; self.group_count];
        let mut group_weight = vec![0.0; self.group_count];
        for (index, (row, weight)) in self.rows.iter().zip(&weights).enumerate() {
            let entries = self.design.row(index).transpose();
            information.ger(*weight, &entries, &entries, 1.0);
            right.axpy(weight * row.change_mm, &entries, 1.0);
            group_design.column_mut(row.group).axpy(*weight, &entries, 1.0);
            group_change[row.group] += weight * row.change_mm;
            group_weight[row.group] += weight;
        }
        // Schur complement: the common error of each group is eliminated; 1/variance is its prior.
        for group in 0..self.group_count {
            if self.common_mm2[group] > 0.0 {
                let share = 1.0 / (group_weight[group] + 1.0 / self.common_mm2[group]);
                let column = group_design.column(group).clone_owned();
                information.ger(-share, &column, &column, 1.0);
                right.axpy(-share * group_change[group], &column, 1.0);
            }
        }
        let solved = solve_seen(&information, &right);
        let common_mm = (0..self.group_count)
            .map(|group| {
                if self.common_mm2[group] <= 0.0 {
                    return 0.0;
                }
                let left = group_change[group] - group_design.column(group).dot(&solved.0);
                left / (group_weight[group] + 1.0 / self.common_mm2[group])
            })
            .collect();
        let (moves, covariance, unseen_share, rank) = solved;
        Step { moves_and_common: State { moves, common_mm }, covariance, unseen_share, rank }
    }

    fn finish(&self, state: &State) -> Fit {
        let last = self.step(state, FINAL_WIDTH);
        let state = &last.moves_and_common;
        let squares: f64 = self
            .residuals(state)
            .iter()
            .map(|residual| residual.powi(2) / (1.0 + (residual / FINAL_WIDTH).powi(2)))
            .sum();
        let priors: f64 = state
            .common_mm
            .iter()
            .zip(&self.common_mm2)
            .filter(|(_, variance)| **variance > 0.0)
            .map(|(common, variance)| common.powi(2) / variance)
            .sum();
        let explained = &self.design * &state.moves;
        Fit {
            motions: (0..self.movers.len()).map(|place| self.motion(place, &last)).collect(),
            cost: squares + priors,
            rank: last.rank,
            leftover_mm: self
                .rows
                .iter()
                .zip(explained.iter())
                .map(|(row, explained)| row.change_mm - explained)
                .collect(),
        }
    }

    /// One mover's part of the solution, rotations back in radians.
    fn motion(&self, place: usize, step: &Step) -> Motion {
        let mover = &self.movers[place];
        let scale = |axis: usize| if axis < 3 { 1.0 } else { 1.0 / mover.lever_mm };
        let value = |axis: usize| step.moves_and_common.moves[6 * place + axis] * scale(axis);
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
