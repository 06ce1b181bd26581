//! What the readings of one seam get wrong together, and how large that is.
//!
//! In: rows with the sizes of their errors as stated. Out: for each group of rows (a seam's gaps, or its flushes) the parts
//! that make its common error, their prior information, and the [`Sizes`] in force. Units: mm, mm².
//! Method: a linear mixed model (Laird and Ware, Biometrics 38(4), 1982, 963–974). The error of a row is a constant of its
//! group, plus a wave whose correlation falls off as exp(−d/length) along the seam (an Ornstein–Uhlenbeck process, linear between
//! nodes; its information matrix is tridiagonal: Rue and Held, Gaussian Markov Random Fields, 2005, section 1.1.1), plus the
//! row's own error. The sizes are learnt from the rows themselves, see `variance_components`; what is stated with the
//! readings is where they start. The forms were chosen on changes of unmoved rehearsed seams, whose covariance by distance
//! showed these three and no other.
//! Does not know that seams of one scan share their views: a group's errors are independent of another's.

use std::ops::Range;

use nalgebra::{DMatrix, DVector};

use super::motion::Row;

/// Distance of the nodes of a wave, mm: a third of the wave length expected, so that lines between them lose little.
const NODE_STEP_MM: f64 = 40.0;
/// Most nodes of a seam.
const MOST_NODES: usize = 60;
/// Least variance of a part, mm²: a tenth of a micrometre squared.
const LEAST_MM2: f64 = 1.0e-8;

/// How many numbers describe the errors of a class.
pub(crate) const SIZES: usize = 5;

/// How large the errors of a class of groups are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sizes {
    /// Natural logarithms of: the common variance (mm²); the odds that a part of it is constant rather than wave; the variance of
    /// shape, which adds to the wave (mm²); the wave's length (mm); the factor on the stated variance of the rows' own errors.
    pub logs: [f64; SIZES],
    /// Standard uncertainties of these logarithms; 0 for what is taken for granted.
    pub log_u: [f64; SIZES],
}

impl Sizes {
    /// Variance of the constant, mm².
    fn constant_mm2(&self) -> f64 {
        self.logs[0].exp() / (1.0 + (-self.logs[1]).exp())
    }

    /// Variance of the wave, mm².
    fn wave_mm2(&self) -> f64 {
        self.logs[0].exp() / (1.0 + self.logs[1].exp()) + self.logs[2].exp()
    }

    /// Distance over which the wave's correlation falls to 1/e, mm.
    fn wave_length_mm(&self) -> f64 {
        self.logs[3].exp()
    }

    /// Factor on the stated variance of a row's own error.
    pub fn local_factor(&self) -> f64 {
        self.logs[4].exp()
    }
}

/// What is expected of sizes before the rows are asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Expected {
    /// Variance of the panels' shape along a seam, mm².
    pub shape_mm2: f64,
    pub wave_length_mm: f64,
    /// Standard deviations of the logarithms, in the order of [`Sizes::logs`].
    pub log_sd: [f64; SIZES],
    /// True: every group has sizes of its own. False: all gaps share theirs, and all flushes.
    pub is_by_group: bool,
}

/// Rows of one seam and measurand, and the parts of their common error: a constant, then the nodes of the wave.
pub(super) struct Group {
    pub rows: Range<usize>,
    pub class: usize,
    /// For each row the parts that reach it, with their shares: the constant and two nodes.
    reached_by: Vec<[(usize, f64); 3]>,
    parts: usize,
    step_mm: f64,
}

impl Group {
    /// How many parts there are.
    pub const fn parts(&self) -> usize {
        self.parts
    }

    /// The common error of each row, mm.
    pub fn common_mm(&self, parts_mm: &DVector<f64>) -> impl Iterator<Item = f64> {
        self.reached_by
            .iter()
            .map(|reached_by| reached_by.iter().map(|(part, share)| share * parts_mm[*part]).sum())
    }

    /// Information of the parts before any row is seen, and the logarithm of its determinant.
    pub fn prior(&self, sizes: &Sizes) -> (DMatrix<f64>, f64) {
        let nodes = self.parts - 1;
        let mut information = DMatrix::zeros(self.parts, self.parts);
        information[(0, 0)] = 1.0 / sizes.constant_mm2().max(LEAST_MM2 * 1e-3);
        let likeness = (-self.step_mm / sizes.wave_length_mm()).exp();
        let fresh_mm2 = sizes.wave_mm2() * (1.0 - likeness * likeness).max(1e-9);
        for node in 1..=nodes {
            let is_end = node == 1 || node == nodes;
            let own = if is_end { 1.0 } else { 1.0 + likeness * likeness };
            information[(node, node)] = own / fresh_mm2;
            if node < nodes {
                information[(node, node + 1)] = -likeness / fresh_mm2;
                information[(node + 1, node)] = -likeness / fresh_mm2;
            }
        }
        let log_determinant = -sizes.constant_mm2().max(LEAST_MM2 * 1e-3).ln()
            - sizes.wave_mm2().ln()
            - (nodes as f64 - 1.0) * fresh_mm2.ln();
        (information, log_determinant)
    }
}

/// The groups of some rows and how large their errors are.
pub(crate) struct ErrorModel {
    pub(super) groups: Vec<Group>,
    pub(super) sizes: Vec<Sizes>,
    /// What is expected of each class.
    pub(super) expected: Vec<Sizes>,
}

impl ErrorModel {
    /// The model as the readings state it. Rows of a group stand together.
    pub(crate) fn stated(rows: &[Row], expected: &Expected) -> Self {
        let mut groups = Vec::new();
        let mut first = 0;
        for members in rows.chunk_by(|one, other| one.group == other.group) {
            let class = if expected.is_by_group { groups.len() } else { members[0].kind };
            groups.push(group_of(members, first, class));
            first += members.len();
        }
        let class_count = groups.iter().map(|group| group.class + 1).max().unwrap_or(0);
        let sizes: Vec<Sizes> =
            (0..class_count).map(|class| stated_sizes(rows, &groups, class, expected)).collect();
        Self { groups, expected: sizes.clone(), sizes }
    }

    /// Standard uncertainty of a row's own error, mm, for all rows.
    pub(super) fn local_u_mm(&self, rows: &[Row]) -> Vec<f64> {
        self.groups
            .iter()
            .flat_map(|group| {
                let factor = self.sizes[group.class].local_factor().sqrt();
                rows[group.rows.clone()].iter().map(move |row| row.local_u_mm * factor)
            })
            .collect()
    }
}

fn stated_sizes(rows: &[Row], groups: &[Group], class: usize, expected: &Expected) -> Sizes {
    let members = || {
        groups.iter().filter(|group| group.class == class).flat_map(|group| rows[group.rows.clone()].iter())
    };
    let count = members().count().max(1) as f64;
    let common_mm2 = members().map(|row| row.common_u_mm.powi(2)).sum::<f64>() / count;
    let log = |variance_mm2: f64| variance_mm2.max(LEAST_MM2).ln();
    Sizes {
        logs: [log(common_mm2), 0.0, log(expected.shape_mm2), expected.wave_length_mm.ln(), 0.0],
        log_u: expected.log_sd,
    }
}

fn group_of(members: &[Row], first: usize, class: usize) -> Group {
    let along_mm = || members.iter().map(|row| row.along_mm);
    let start_mm = along_mm().fold(f64::INFINITY, f64::min);
    let length_mm = (along_mm().fold(f64::NEG_INFINITY, f64::max) - start_mm).max(1.0);
    let spans = ((length_mm / NODE_STEP_MM).ceil() as usize).clamp(1, MOST_NODES - 1);
    let step_mm = length_mm / spans as f64;
    let reached_by = members
        .iter()
        .map(|row| {
            let place = (row.along_mm - start_mm) / step_mm;
            let node = (place.floor().max(0.0) as usize).min(spans - 1);
            let share = place - node as f64;
            [(0, 1.0), (1 + node, 1.0 - share), (2 + node, share)]
        })
        .collect();
    Group { rows: first..first + members.len(), class, reached_by, parts: spans + 2, step_mm }
}

/// Weighted sums of a group's rows, from which everything else follows.
pub(super) struct Moments {
    /// How many rows there are, those that robust weights leave out not counted.
    rows: f64,
    parts: DMatrix<f64>,
    parts_moves: DMatrix<f64>,
    parts_change: DVector<f64>,
    moves: DMatrix<f64>,
    moves_change: DVector<f64>,
    change: f64,
}

/// A group's evidence about the moves, its common errors eliminated (Schur complement).
pub(super) struct Evidence {
    pub information: DMatrix<f64>,
    pub right: DVector<f64>,
    /// Weighted square of the changes.
    pub square: f64,
    /// Logarithm of the determinant of the changes' covariance, but for a constant.
    pub log_determinant: f64,
}

impl Moments {
    /// Of a group's rows of the design and the changes, with the weights that their stated own errors give.
    pub fn of(
        group: &Group,
        design: &DMatrix<f64>,
        change_mm: &DVector<f64>,
        weights: &[f64],
        rows: f64,
    ) -> Self {
        let columns = design.ncols();
        let mut sums = Self {
            rows,
            parts: DMatrix::zeros(group.parts, group.parts),
            parts_moves: DMatrix::zeros(group.parts, columns),
            parts_change: DVector::zeros(group.parts),
            moves: DMatrix::zeros(columns, columns),
            moves_change: DVector::zeros(columns),
            change: 0.0,
        };
        for (row, reached_by) in group.rows.clone().zip(&group.reached_by) {
            let (weight, change) = (weights[row], change_mm[row]);
            // Only the two panels of the seam have entries.
            let entries: Vec<(usize, f64)> = (0..columns)
                .map(|column| (column, design[(row, column)]))
                .filter(|(_, entry)| *entry != 0.0)
                .collect();
            for (part, share) in reached_by {
                let heavy = weight * share;
                reached_by.iter().for_each(|(other, more)| sums.parts[(*part, *other)] += heavy * more);
                entries
                    .iter()
                    .for_each(|(column, entry)| sums.parts_moves[(*part, *column)] += heavy * entry);
                sums.parts_change[*part] += heavy * change;
            }
            for (column, entry) in &entries {
                let heavy = weight * entry;
                entries.iter().for_each(|(other, more)| sums.moves[(*column, *other)] += heavy * more);
                sums.moves_change[*column] += heavy * change;
            }
            sums.change += weight * change * change;
        }
        sums
    }

    /// The evidence for given sizes; `None` only where numbers run out.
    pub fn evidence(&self, (prior, prior_log): &(DMatrix<f64>, f64), local_factor: f64) -> Option<Evidence> {
        let factor = (&self.parts / local_factor + prior).cholesky()?;
        let parts_moves = &self.parts_moves / local_factor;
        let parts_change = &self.parts_change / local_factor;
        let taken = factor.solve(&parts_moves);
        let taken_change = factor.solve(&parts_change);
        let log = 2.0 * factor.l_dirty().diagonal().iter().map(|entry| entry.ln()).sum::<f64>();
        Some(Evidence {
            information: &self.moves / local_factor - parts_moves.tr_mul(&taken),
            right: &self.moves_change / local_factor - parts_moves.tr_mul(&taken_change),
            square: self.change / local_factor - parts_change.dot(&taken_change),
            log_determinant: self.rows * local_factor.ln() + log - prior_log,
        })
    }

    /// The parts of the common error once the moves are known, mm.
    pub fn parts_mm(
        &self,
        (prior, _): &(DMatrix<f64>, f64),
        local_factor: f64,
        moves: &DVector<f64>,
    ) -> DVector<f64> {
        let right = (&self.parts_change - &self.parts_moves * moves) / local_factor;
        (&self.parts / local_factor + prior)
            .cholesky()
            .map_or_else(|| DVector::zeros(right.len()), |factor| factor.solve(&right))
    }
}
