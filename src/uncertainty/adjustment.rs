//! The CR2 adjustment of one lap: what makes up for the smoothness of its residual.
//!
//! Given the covariance of the residual of a lap under the working model; gives A_g of `cluster` and what E(V) is there.

use super::residual_model::{Pieces, ResidualModel};
use nalgebra::{DMatrix, DMatrixView, DVector};

/// Eigenvalues of cov(r_g) below this share of the largest count as zero.
const EIGENVALUE_FLOOR: f64 = 1e-10;

/// What makes up for the smoothness of the residual of a lap.
pub(super) struct Adjustment {
    /// A_g = √v L (LᵀS_ggL)^{+1/2} Lᵀ with LLᵀ = W₀, D_g = √v Lᵀ.
    pub(super) root: DMatrix<f64>,
    /// x_gᵀ S_gg x_g of each parameter.
    pub(super) expected: DVector<f64>,
}

impl Adjustment {
    /// Of a lap that has only some rows: nothing of the others.
    pub(super) fn of_rows(
        model: &ResidualModel,
        pieces: &Pieces,
        g: usize,
        rows: &[usize],
        instruments: DMatrix<f64>,
    ) -> Adjustment {
        let root = model.root_of_rows(rows);
        let transposed = root.transpose();
        let whitened = &transposed * pieces.block_of(g, rows) * &root;
        let steps = instruments.nrows();
        let part = Adjustment::new(whitened, transposed.as_view(), instruments.select_rows(rows), model.variance[g]);
        let mut whole = DMatrix::zeros(steps, steps);
        for (i, row) in rows.iter().enumerate() {
            for (j, column) in rows.iter().enumerate() {
                whole[(*row, *column)] = part.root[(i, j)];
            }
        }
        Adjustment { root: whole, ..part }
    }

    /// From LᵀS_ggL, Lᵀ and Z_gMᵀ.
    pub(super) fn new(
        whitened: DMatrix<f64>,
        transposed: DMatrixView<f64>,
        instruments: DMatrix<f64>,
        variance: f64,
    ) -> Adjustment {
        let eigen = whitened.symmetric_eigen();
        let floor = EIGENVALUE_FLOOR * eigen.eigenvalues.max().max(f64::MIN_POSITIVE);
        // Lᵀ on the left of what is turned, L on the right of what is turned back.
        let into = eigen.eigenvectors.transpose() * transposed;
        let turned = &into * instruments;
        let mut expected = DVector::zeros(turned.ncols());
        let mut scaled = into.clone();
        for ((entries, mut row), value) in turned.row_iter().zip(scaled.row_iter_mut()).zip(eigen.eigenvalues.iter()) {
            if *value > floor {
                expected += entries.transpose().map(|entry| variance * entry * entry);
                row *= (variance / value).sqrt();
            } else {
                row.fill(0.0);
            }
        }
        Adjustment { root: into.transpose() * scaled, expected }
    }
}
