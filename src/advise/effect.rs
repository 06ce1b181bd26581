//! What every setting does to every reading, and which settings the readings do not tell.
//!
//! In: rows and knobs. Out: the effect matrix (rows × knobs, mm per mm) and unseen directions. Frame: Car.
//! Method: dgap = x · d(edge of the other panel) − x · d(edge of the datum panel), dflush likewise with n and mid-gap.
//! Unseen directions are right singular vectors of the effect matrix with a small singular value: a slide along a
//! straight seam changes nothing.
//! Valid for small moves; `exact` says how far the linear form is off.

use nalgebra::{DMatrix, DVector};

use super::knobs::Knobs;
use super::rows::Row;

/// A direction is unseen when 1 mm of it changes the readings by less than this in the mean, mm (root mean square): a
/// scan's uncertainty of 0.03 mm would leave more than 1 mm of it open.
const UNSEEN_EFFECT: f64 = 0.02;

/// Effect of 1 mm of each knob on each row, mm.
pub(super) fn effect_matrix(rows: &[Row], knobs: &Knobs) -> DMatrix<f64> {
    DMatrix::from_fn(rows.len(), knobs.knobs.len(), |row, column| {
        let (row, knob) = (&rows[row], &knobs.knobs[column]);
        let frame = &knobs.frames[knob.frame];
        row.sign_and_point(frame.panel)
            .map_or(0.0, |(sign, point)| sign * frame.gradient(point, &row.direction).dot(&knob.pose))
    })
}

/// Unit combinations of knobs that the readings do not tell.
pub(super) fn unseen_directions(effect: &DMatrix<f64>) -> Vec<DVector<f64>> {
    if effect.nrows() == 0 || effect.ncols() == 0 {
        return Vec::new();
    }
    // The eigenvectors of AᵀA are A's right singular vectors, also where A has fewer rows than columns.
    let information = effect.transpose() * effect / effect.nrows() as f64;
    let eigen = information.symmetric_eigen();
    eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter())
        .filter(|(value, _)| value.max(0.0).sqrt() < UNSEEN_EFFECT)
        .map(|(_, vector)| vector.into_owned())
        .collect()
}
