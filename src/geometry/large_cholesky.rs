//! The Cholesky factor of a large symmetric matrix, block by block.
//!
//! In: a symmetric positive definite matrix, its lower triangle. Out: the lower factor. Units: none.
//! Method: right-looking blocks (G. Golub, C. Van Loan, Matrix Computations, 4th ed., 4.2.9), so that nearly all of the work is
//! products of matrices, which stay in the cache; from a thousand rows on several times as fast as column by column.
//! Does not pivot.

use nalgebra::DMatrix;

/// Columns factored at once: a block of them fits into the second cache.
const BLOCK: usize = 96;

/// The lower triangular `L` with `L Lᵀ = matrix`; `None` where the matrix is not positive definite, or not square.
#[must_use]
pub fn large_cholesky(mut matrix: DMatrix<f64>) -> Option<DMatrix<f64>> {
    let count = matrix.nrows();
    if matrix.ncols() != count {
        return None;
    }
    for from in (0..count).step_by(BLOCK) {
        let size = BLOCK.min(count - from);
        let to = from + size;
        let corner = matrix.view((from, from), (size, size)).clone_owned().cholesky()?.unpack();
        matrix.view_mut((from, from), (size, size)).copy_from(&corner);
        // Below the corner: X Cᵀ = B, that is C Xᵀ = Bᵀ.
        let mut below = matrix.view((to, from), (count - to, size)).transpose();
        if !corner.solve_lower_triangular_mut(&mut below) {
            return None;
        }
        matrix.view_mut((to, from), (count - to, size)).copy_from(&below.transpose());
        let left = below.transpose();
        // Strip by strip, so that little above the diagonal is computed in vain.
        for strip in (to..count).step_by(BLOCK) {
            let width = BLOCK.min(count - strip);
            let rows = left.rows(strip - to, count - strip);
            let columns = below.columns(strip - to, width);
            matrix.view_mut((strip, strip), (count - strip, width)).gemm(-1.0, &rows, &columns, 1.0);
        }
    }
    matrix.fill_upper_triangle(0.0, 1);
    Some(matrix)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `exp(−|i−j|/40)` over 250 places, and 0.1 on the diagonal.
    fn covariance() -> DMatrix<f64> {
        DMatrix::from_fn(250, 250, |row, column| {
            (-(row.abs_diff(column) as f64) / 40.0).exp() + if row == column { 0.1 } else { 0.0 }
        })
    }

    #[test]
    fn the_factor_times_itself_is_the_matrix() {
        let matrix = covariance();
        let lower = large_cholesky(matrix.clone()).unwrap();
        assert!((&lower * lower.transpose() - matrix).amax() < 1e-12);
    }

    #[test]
    fn what_is_not_positive_definite_has_no_factor() {
        let mut matrix = covariance();
        matrix[(200, 200)] = -1.0;
        assert!(large_cholesky(matrix).is_none());
        assert!(large_cholesky(DMatrix::zeros(2, 3)).is_none());
    }
}
