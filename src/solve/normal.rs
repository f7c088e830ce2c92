//! The equations of a step, ZᵀPX δ = ZᵀPr, solved run by run.
//!
//! Given cross products of instruments and derivatives; gives the step. Lag and wind of a run touch no lap of another
//! run, and all laps share CdA, Crr and the profile. So the equations are an arrow,
//!
//! ```text
//! ZᵀPX = A − UᵀV,   A = [ corner  beside ]      U = Σ w Z_g,   V = K Σ w X_g / Σ w   (K: what the profile absorbs)
//!                       [ below   D      ]      D block-diagonal, a block a run
//! ```
//!
//! With y = Vδ the runs are eliminated one by one, and what is left has the size of a lap's steps and the shared
//! parameters. Work grows with the number of runs, not with its cube. With few runs the whole matrix is the smaller one and is
//! taken as it is.

use nalgebra::{DMatrix, DVector, Dyn, LU};
use std::ops::Range;

/// ZᵀPX with the weak priors, in parts.
pub struct Normal {
    /// Shared parameters come first; so many there are.
    pub shared: usize,
    pub corner: DMatrix<f64>,
    pub runs: Vec<RunBlock>,
    /// Steps × parameters.
    pub u: DMatrix<f64>,
    pub v: DMatrix<f64>,
}

/// The part of the equations that a run's own parameters take.
pub struct RunBlock {
    pub columns: Range<usize>,
    pub own: DMatrix<f64>,
    /// Rows of the run, columns of what is shared.
    pub below: DMatrix<f64>,
    /// Rows of what is shared, columns of the run.
    pub beside: DMatrix<f64>,
}

/// The equations ready to be solved for right sides.
pub enum Factored {
    Whole(LU<f64, Dyn, Dyn>),
    Arrow(Arrow),
}

/// The equations with the runs eliminated.
pub struct Arrow {
    shared: usize,
    /// Shared parameters and steps.
    size: usize,
    runs: Vec<FactoredRun>,
    border: LU<f64, Dyn, Dyn>,
}

struct FactoredRun {
    columns: Range<usize>,
    own: LU<f64, Dyn, Dyn>,
    /// −D⁻¹ [below, −Uᵀ]: how the run answers the border.
    answer: DMatrix<f64>,
    /// [beside; V].
    into_border: DMatrix<f64>,
}

impl Normal {
    /// The whole matrix.
    pub fn dense(&self) -> DMatrix<f64> {
        let mut out = self.u.transpose() * &self.v * -1.0;
        let mut corner = out.view_mut((0, 0), (self.shared, self.shared));
        corner += &self.corner;
        for run in &self.runs {
            let (from, len) = (run.columns.start, run.columns.len());
            let mut own = out.view_mut((from, from), (len, len));
            own += &run.own;
            let mut below = out.view_mut((from, 0), (len, self.shared));
            below += &run.below;
            let mut beside = out.view_mut((0, from), (self.shared, len));
            beside += &run.beside;
        }
        out
    }

    /// Ready to be solved, by whichever way is shorter; `None` when they are singular.
    pub fn factored(&self) -> Option<Factored> {
        if self.u.ncols() <= self.shared + self.u.nrows() {
            let whole = self.dense().lu();
            return whole.is_invertible().then_some(Factored::Whole(whole));
        }
        self.arrow().map(Factored::Arrow)
    }

    /// Eliminates the runs; `None` when a run or what is left is singular.
    fn arrow(&self) -> Option<Arrow> {
        let (steps, shared) = (self.u.nrows(), self.shared);
        let size = shared + steps;
        let mut border = DMatrix::zeros(size, size);
        border.view_mut((0, 0), (shared, shared)).copy_from(&self.corner);
        border.view_mut((0, shared), (shared, steps)).copy_from(&(self.u.columns(0, shared).transpose() * -1.0));
        border.view_mut((shared, 0), (steps, shared)).copy_from(&self.v.columns(0, shared));
        border.view_mut((shared, shared), (steps, steps)).fill_with_identity();
        border.view_mut((shared, shared), (steps, steps)).neg_mut();
        let mut runs = Vec::with_capacity(self.runs.len());
        for run in self.runs.iter().filter(|r| !r.columns.is_empty()) {
            let (from, len) = (run.columns.start, run.columns.len());
            let own = run.own.clone().lu();
            let mut right = DMatrix::zeros(len, size);
            right.view_mut((0, 0), (len, shared)).copy_from(&(&run.below * -1.0));
            right.view_mut((0, shared), (len, steps)).copy_from(&self.u.columns(from, len).transpose());
            let answer = own.solve(&right)?;
            let mut into_border = DMatrix::zeros(size, len);
            into_border.view_mut((0, 0), (shared, len)).copy_from(&run.beside);
            into_border.view_mut((shared, 0), (steps, len)).copy_from(&self.v.columns(from, len));
            border += &into_border * &answer;
            runs.push(FactoredRun { columns: run.columns.clone(), own, answer, into_border });
        }
        let border = border.lu();
        border.is_invertible().then_some(Arrow { shared, size, runs, border })
    }
}

impl Factored {
    /// δ for a right side; `None` when it is not finite.
    pub fn solve(&self, right: &DVector<f64>) -> Option<DVector<f64>> {
        let step = match self {
            Factored::Whole(whole) => whole.solve(right),
            Factored::Arrow(arrow) => arrow.solve(right),
        };
        step.filter(|s| s.iter().all(|v| v.is_finite()))
    }
}

impl Arrow {
    fn solve(&self, right: &DVector<f64>) -> Option<DVector<f64>> {
        let mut edge = DVector::zeros(self.size);
        edge.rows_mut(0, self.shared).copy_from(&right.rows(0, self.shared));
        let mut own = Vec::with_capacity(self.runs.len());
        for run in &self.runs {
            let of_run = run.own.solve(&right.rows(run.columns.start, run.columns.len()).into_owned())?;
            edge -= &run.into_border * &of_run;
            own.push(of_run);
        }
        let edge = self.border.solve(&edge)?;
        let mut out = DVector::zeros(right.len());
        out.rows_mut(0, self.shared).copy_from(&edge.rows(0, self.shared));
        for (run, of_run) in self.runs.iter().zip(own) {
            out.rows_mut(run.columns.start, run.columns.len()).copy_from(&(of_run + &run.answer * &edge));
        }
        Some(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_arrow_is_solved_as_the_whole_matrix_is() {
        let fill = |rows: usize, columns: usize, seed: f64| {
            DMatrix::from_fn(rows, columns, |i, j| ((i * 7 + j * 3) as f64 * 0.37 + seed).sin())
        };
        let run = |from: usize, len: usize| RunBlock {
            columns: from..from + len,
            own: fill(len, len, from as f64) + DMatrix::identity(len, len) * 4.0,
            below: fill(len, 2, 1.0 + from as f64),
            beside: fill(2, len, 2.0 + from as f64),
        };
        let normal = Normal {
            shared: 2,
            corner: fill(2, 2, 0.4) + DMatrix::identity(2, 2) * 5.0,
            runs: vec![run(2, 3), run(5, 0), run(5, 2)],
            u: fill(4, 7, 0.1) * 0.5,
            v: fill(4, 7, 0.9) * 0.5,
        };
        let right = DVector::from_fn(7, |i, _| i as f64 - 2.5);
        for found in [normal.arrow().unwrap().solve(&right), normal.factored().unwrap().solve(&right)] {
            let found = found.unwrap();
            assert!((normal.dense() * &found - &right).amax() < 1e-12, "{found}");
        }
        let nothing =
            Normal { corner: DMatrix::zeros(2, 2), u: fill(4, 7, 0.1) * 0.0, runs: vec![run(2, 0)], ..normal };
        assert!(nothing.arrow().is_none() && nothing.factored().is_none());
    }
}
