//! What the readings of one seam get wrong together, as unknowns of the move fit.
//!
//! In: rows with the size of their common error. Out: the parts that reach each row, and their variances, mm².
//! Method: one part is the same along the whole seam; another changes from one view of the scanner to the next, linearly
//! between nodes one view apart. That a scanner's accuracy over a gap is mostly how its views were joined, and that a view
//! is some 300 mm wide, is common practice, no source; the shares are an assumption that is held to pairs with errors that
//! are the same all along, and to rehearsed pairs (tests). Without the changing part no doubt would be left about a turn.
//! Does not estimate the sizes: they are stated with the readings.

use nalgebra::{DMatrix, DVector};

use super::move_fit::Row;

/// Width of a scanner's view, mm: over such a distance the error of joining views changes.
const VIEW_MM: f64 = 300.0;
/// Shares of the stated variance that stay the same along a seam, and that change from view to view. Between two nodes the
/// changing part has 2/3 of a node's variance on average, so the whole is kept: 0.7 + 0.45 · 2/3 = 1.
const CONSTANT_SHARE: f64 = 0.7;
const CHANGING_SHARE: f64 = 0.45;

/// Parts of the common errors.
pub(super) struct CommonErrors {
    /// For each row the parts that reach it, with their weights; three at most.
    reached_by: Vec<Vec<(usize, f64)>>,
    pub variance_mm2: Vec<f64>,
}

impl CommonErrors {
    /// One constant and a chain of nodes for each group whose common error is not zero.
    pub fn of(rows: &[Row]) -> Self {
        let mut parts = Self { reached_by: Vec::with_capacity(rows.len()), variance_mm2: Vec::new() };
        for group in rows.chunk_by(|one, other| one.group == other.group) {
            parts.add_group(group);
        }
        parts
    }

    fn add_group(&mut self, group: &[Row]) {
        let mean_mm2 = group.iter().map(|row| row.common_u_mm.powi(2)).sum::<f64>() / group.len() as f64;
        if mean_mm2 <= 0.0 {
            self.reached_by.extend(group.iter().map(|_| Vec::new()));
            return;
        }
        let constant = self.variance_mm2.len();
        let along_mm = || group.iter().map(|row| row.along_mm);
        let first_mm = along_mm().fold(f64::INFINITY, f64::min);
        let length_mm = along_mm().fold(f64::NEG_INFINITY, f64::max) - first_mm;
        let spans = (length_mm / VIEW_MM).round().max(1.0);
        for row in group {
            let place = if length_mm > 0.0 { (row.along_mm - first_mm) / length_mm * spans } else { 0.0 };
            let node = place.floor().min(spans - 1.0);
            let first_node = constant + 1 + node as usize;
            let share = place - node;
            self.reached_by.push(vec![(constant, 1.0), (first_node, 1.0 - share), (first_node + 1, share)]);
        }
        self.variance_mm2.push(CONSTANT_SHARE * mean_mm2);
        let nodes = spans as usize + 1;
        self.variance_mm2.extend(std::iter::repeat_n(CHANGING_SHARE * mean_mm2, nodes));
    }

    /// How many parts there are.
    pub const fn count(&self) -> usize {
        self.variance_mm2.len()
    }

    /// The error of a row, mm.
    pub fn at(&self, row: usize, parts_mm: &DVector<f64>) -> f64 {
        self.reached_by[row].iter().map(|(part, weight)| weight * parts_mm[*part]).sum()
    }

    /// Information of the parts on themselves, with their priors: parts × parts.
    pub fn information(&self, weights: &[f64]) -> DMatrix<f64> {
        let mut own = DMatrix::zeros(self.count(), self.count());
        for (index, variance_mm2) in self.variance_mm2.iter().enumerate() {
            own[(index, index)] += 1.0 / variance_mm2;
        }
        for (reached_by, weight) in self.reached_by.iter().zip(weights) {
            for (one, first) in reached_by {
                for (other, second) in reached_by {
                    own[(*one, *other)] += weight * first * second;
                }
            }
        }
        own
    }

    /// Weighted sums of rows by the parts that reach them: parts × columns.
    pub fn gathered(&self, weights: &[f64], columns: &DMatrix<f64>) -> DMatrix<f64> {
        let mut sums = DMatrix::zeros(self.count(), columns.ncols());
        for (row, (reached_by, weight)) in self.reached_by.iter().zip(weights).enumerate() {
            for (part, share) in reached_by {
                for column in 0..columns.ncols() {
                    sums[(*part, column)] += weight * share * columns[(row, column)];
                }
            }
        }
        sums
    }
}
