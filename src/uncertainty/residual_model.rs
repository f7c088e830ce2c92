//! The covariance of residuals under a working covariance of the errors, in the pieces it is made of.
//!
//! Given per lap the projected Jacobian and instruments, what was absorbed and a [`Working`] covariance; gives any
//! block of cov(r) without forming the whole. It looks at no residual.
//!
//! With M = (ZᵀX)⁻¹, F = XM, s_g = √(w_g/Σw), C = I − 11ᵀ/J, W_g = v_g W₀ and v̄ = Σ s_g² v_g, the projection
//! P_gh = δ_gh I − s_g s_h C gives
//!
//! ```text
//! Φ_gh = (PWP)_gh = δ_gh v_g W₀ − s_g s_h (v_h C W₀ + v_g W₀ C − v̄ C W₀ C),    Y = ΦZ,   K = ZᵀΦZ
//! S_gh = cov(r_g, r_h) = Φ_gh − F_g Y_hᵀ − Y_g F_hᵀ + F_g K F_hᵀ
//! ```

use nalgebra::{Cholesky, DMatrix, DMatrixView, DVector};

use super::laps::{Absorbed, Laps};
use super::rows::{Rows, RowsTimes, corner};
use super::working::Working;
use crate::error::Error;

/// ZᵀX scaled to unit rows and columns is singular below this reciprocal condition number.
const SINGULAR: f64 = 1e-13;

/// The pieces of cov(r).
#[derive(Debug, Clone)]
pub(super) struct ResidualModel {
    pub jacobian: Rows,
    pub instruments: Rows,
    /// M.
    pub bread: DMatrix<f64>,
    /// K of the laps.
    pub lap_core: DMatrix<f64>,
    /// σ²Λ of each parameter.
    pub prior: DVector<f64>,
    /// K with what is expected of parameters, K + σ²Λ.
    pub core: DMatrix<f64>,
    /// MK.
    bread_core: DMatrix<f64>,
    /// s_g², zero when nothing was absorbed.
    pub share: Vec<f64>,
    /// v_g.
    pub variance: Vec<f64>,
    /// v̄.
    pub mean_variance: f64,
    /// W₀ of the longest lap; that of a shorter one is its upper left corner.
    pub correlation: DMatrix<f64>,
    /// L with LLᵀ = W₀, of which the same is true.
    root: DMatrix<f64>,
    /// Lᵀ.
    root_transposed: DMatrix<f64>,
    /// CW₀ + W₀C.
    centred_once: DMatrix<f64>,
    /// CW₀C.
    centred_twice: DMatrix<f64>,
    /// What Y_g has in common, s_g (A + v_g B) with A = C Σ s_h v_h W₀Z_h − v̄ C B and B = W₀ C Σ s_h Z_h; no rows when
    /// nothing was absorbed.
    shared_noise: SharedNoise,
}

/// A and B.
#[derive(Debug, Clone)]
struct SharedNoise {
    constant: DMatrix<f64>,
    by_variance: DMatrix<f64>,
}

/// Products that are worked out once and then taken lap by lap.
pub(super) struct Pieces<'m> {
    model: &'m ResidualModel,
    /// XM.
    fitted: RowsTimes<'m>,
    /// XMK.
    fitted_core: RowsTimes<'m>,
}

/// Σ_j E[r_j²] and Σ_j E[r_j r_{j+1}] of one lap.
pub(super) struct NeighbourSums {
    pub squares: f64,
    pub neighbours: f64,
}

impl ResidualModel {
    /// Refuses shapes that do not fit, fewer than two laps, values that are not numbers, a singular ZᵀX and a working
    /// covariance that is none.
    pub fn new(laps: &Laps, absorbed: &Absorbed, working: &Working) -> Result<Self, Error> {
        let parameters = check(laps, absorbed)?;
        let Laps { jacobian, instruments, .. } = laps;
        let product = instruments.transposed_times(parameters, |g| jacobian.block(g));
        let known = &laps.prior;
        let precision = if known.precision.is_empty() { DVector::zeros(parameters) } else { known.precision.clone() };
        let bread = inverse(&(product + DMatrix::from_diagonal(&precision)))?;
        let none = || DMatrix::zeros(0, 0);
        let mut model = ResidualModel {
            jacobian: jacobian.clone(),
            instruments: instruments.clone(),
            bread,
            lap_core: none(),
            prior: precision * known.row_variance,
            core: none(),
            bread_core: none(),
            share: absorbed.shares(laps.residual.len()),
            variance: Vec::new(),
            mean_variance: 0.0,
            correlation: none(),
            root: none(),
            root_transposed: none(),
            centred_once: none(),
            centred_twice: none(),
            shared_noise: SharedNoise { constant: none(), by_variance: none() },
        };
        model.suppose(working)?;
        Ok(model)
    }

    /// Takes another working covariance for the same laps.
    pub fn suppose(&mut self, working: &Working) -> Result<(), Error> {
        let laps = self.jacobian.laps.len();
        let sound = working.variance.iter().all(|v| v.is_finite() && *v > 0.0);
        if working.variance.len() != laps || !sound || working.correlation.first() != Some(&1.0) {
            return Err(refusal(format!(
                "the working covariance needs a positive variance for each of {laps} laps and correlations that begin \
                 with 1"
            )));
        }
        let steps = self.jacobian.laps.iter().map(|l| l.own.nrows()).max().unwrap_or(0);
        self.correlation = working.correlation_matrix(steps);
        let finite = self.correlation.iter().all(|r| r.is_finite());
        let Some(cholesky) = Some(self.correlation.clone()).filter(|_| finite).and_then(Cholesky::new) else {
            return Err(refusal("the working correlations belong to no process; give a positive definite set".into()));
        };
        self.root = cholesky.l();
        self.root_transposed = self.root.transpose();
        let centred_rows = centred(self.correlation.clone());
        self.centred_once = &centred_rows + centred_rows.transpose();
        self.centred_twice = centred(centred_rows.transpose());
        self.variance.clone_from(&working.variance);
        self.mean_variance = self.share.iter().zip(&self.variance).map(|(s, v)| s * v).sum();
        if self.mean_variance > 0.0 {
            let by_variance = &self.correlation * centred(self.instruments.sum(|g| self.share[g].sqrt()));
            let weighted = self.instruments.sum(|g| self.share[g].sqrt() * self.variance[g]);
            let constant = centred(&self.correlation * weighted) - centred(by_variance.clone()) * self.mean_variance;
            self.shared_noise = SharedNoise { constant, by_variance };
        }
        self.lap_core = self.instruments.transposed_times(self.bread.nrows(), |g| self.noise(g));
        self.core = &self.lap_core + DMatrix::from_diagonal(&self.prior);
        self.bread_core = &self.bread * &self.core;
        Ok(())
    }

    /// The working covariance that is supposed.
    pub fn supposed(&self) -> Working {
        Working { correlation: self.correlation.column(0).iter().copied().collect(), variance: self.variance.clone() }
    }

    /// Covariance of the estimate if the working covariance were the true one, with what is expected of parameters.
    pub fn expected_covariance(&self) -> DMatrix<f64> {
        &self.bread * &self.core * self.bread.transpose()
    }

    /// Y_g = (ΦZ)_g, for instruments that need not be projected, so that nothing hangs on that.
    fn noise(&self, g: usize) -> DMatrix<f64> {
        let (v, s) = (self.variance[g], self.share[g].sqrt());
        let rows = self.instruments.block(g);
        let own = corner(&self.correlation, rows.nrows()) * rows * v;
        if s == 0.0 {
            return own;
        }
        own - (&self.shared_noise.constant + &self.shared_noise.by_variance * v) * s
    }

    /// Y_gᵀ x_g for the vector of each lap, parameters × laps.
    pub fn noise_transposed_each(&self, vectors: &[DVector<f64>]) -> DMatrix<f64> {
        let smooth: Vec<DVector<f64>> =
            vectors.iter().zip(&self.variance).map(|(x, v)| corner(&self.correlation, x.len()) * x * *v).collect();
        let own = self.instruments.transposed_each(&smooth);
        if self.mean_variance == 0.0 {
            return own;
        }
        let scaled = |factor: &dyn Fn(usize) -> f64| {
            DMatrix::from_fn(vectors[0].len(), vectors.len(), |i, g| self.share[g].sqrt() * factor(g) * vectors[g][i])
        };
        own - self.shared_noise.constant.transpose() * scaled(&|_| 1.0)
            - self.shared_noise.by_variance.transpose() * scaled(&|g| self.variance[g])
    }

    /// F_gᵀ x_g for the vector of each lap, parameters × laps.
    pub fn fitted_transposed_each(&self, vectors: &[DVector<f64>]) -> DMatrix<f64> {
        self.bread.transpose() * self.jacobian.transposed_each(vectors)
    }

    pub fn pieces(&self) -> Pieces<'_> {
        Pieces {
            model: self,
            fitted: self.jacobian.times(self.bread.clone()),
            fitted_core: self.jacobian.times(self.bread_core.clone()),
        }
    }

    /// L for a lap of so many steps.
    pub fn root_of(&self, steps: usize) -> DMatrixView<'_, f64> {
        corner(&self.root, steps)
    }

    /// Lᵀ for a lap of so many steps.
    pub fn root_transposed_of(&self, steps: usize) -> DMatrixView<'_, f64> {
        corner(&self.root_transposed, steps)
    }

    fn steps(&self, g: usize) -> usize {
        self.jacobian.laps[g].own.nrows()
    }

    /// Rows that a lap has, where it lacks some.
    pub fn rows_had(&self, g: usize) -> Option<Vec<usize>> {
        let missing = &self.jacobian.laps[g].missing;
        (!missing.is_empty()).then(|| (0..self.steps(g)).filter(|j| !missing.contains(j)).collect())
    }

    /// How many rows a lap has, and how many of them have the next one as well.
    pub fn rows_and_pairs(&self, g: usize) -> (usize, usize) {
        match self.rows_had(g) {
            Some(rows) => (rows.len(), rows.windows(2).filter(|w| w[1] == w[0] + 1).count()),
            None => (self.steps(g), self.steps(g) - 1),
        }
    }

    /// L of the rows that a lap has.
    pub fn root_of_rows(&self, rows: &[usize]) -> DMatrix<f64> {
        let part = self.correlation.select_rows(rows).select_columns(rows);
        // A principal part of a positive definite matrix is one.
        Cholesky::new(part).map_or_else(|| DMatrix::identity(rows.len(), rows.len()), |c| c.l())
    }

    /// Φ_gg of a lap.
    fn error_block(&self, g: usize) -> DMatrix<f64> {
        let (share, v) = (self.share[g], self.variance[g]);
        let own = corner(&self.correlation, self.steps(g)) * v;
        match share > 0.0 {
            true => own - &self.centred_once * (share * v) + &self.centred_twice * (share * self.mean_variance),
            false => own,
        }
    }

    /// Its sums, without working it out.
    fn error_sums(&self, g: usize) -> NeighbourSums {
        let (share, v, steps) = (self.share[g], self.variance[g], self.steps(g));
        let sum = |of: &dyn Fn(DMatrixView<f64>) -> f64| {
            let once = if share > 0.0 { of(self.centred_once.as_view()) } else { 0.0 };
            let twice = if share > 0.0 { of(self.centred_twice.as_view()) } else { 0.0 };
            v * of(corner(&self.correlation, steps)) - share * (v * once - self.mean_variance * twice)
        };
        NeighbourSums {
            squares: sum(&|m| m.trace()),
            neighbours: sum(&|m| (1..m.nrows()).map(|j| m[(j - 1, j)]).sum()),
        }
    }
}

impl Pieces<'_> {
    /// F_g and Y_g − ½ F_g K: with them S_gg = Φ_gg − F(Y − ½FK)ᵀ − (Y − ½FK)Fᵀ.
    fn fitted_and_half(&self, g: usize) -> (DMatrix<f64>, DMatrix<f64>) {
        (self.fitted.block(g), self.model.noise(g) - self.fitted_core.block(g) * 0.5)
    }

    /// S_gg of some rows of a lap.
    pub fn block_of(&self, g: usize, rows: &[usize]) -> DMatrix<f64> {
        let (fitted, half) = self.fitted_and_half(g);
        let cross = fitted * half.transpose();
        (self.model.error_block(g) - &cross - cross.transpose()).select_rows(rows).select_columns(rows)
    }

    /// Lᵀ S_gg L.
    pub fn whitened_block(&self, g: usize) -> DMatrix<f64> {
        let (model, steps) = (self.model, self.model.steps(g));
        let (root, transposed) = (model.root_of(steps), model.root_transposed_of(steps));
        let (fitted, half) = self.fitted_and_half(g);
        let cross = transposed * fitted * half.transpose() * root;
        transposed * model.error_block(g) * root - &cross - cross.transpose()
    }

    /// The sums of the main diagonal of S_gg and of the one beside it.
    pub fn neighbour_sums(&self, g: usize) -> NeighbourSums {
        if let Some(rows) = self.model.rows_had(g) {
            let block = self.block_of(g, &rows);
            let next = (1..rows.len()).filter(|k| rows[*k] == rows[k - 1] + 1);
            return NeighbourSums { squares: block.trace(), neighbours: next.map(|k| block[(k - 1, k)]).sum() };
        }
        let (f, h) = self.fitted_and_half(g);
        let errors = self.model.error_sums(g);
        let next = f.nrows() - 1;
        let cross = f.rows(0, next).dot(&h.rows(1, next)) + h.rows(0, next).dot(&f.rows(1, next));
        NeighbourSums { squares: errors.squares - 2.0 * f.dot(&h), neighbours: errors.neighbours - cross }
    }
}

/// C times a matrix.
pub(super) fn centred(mut matrix: DMatrix<f64>) -> DMatrix<f64> {
    for mut column in matrix.column_iter_mut() {
        let level = column.mean();
        column.add_scalar_mut(-level);
    }
    matrix
}

/// Inverse of ZᵀX after scaling by the square roots of row and column lengths, so that units do not matter.
fn inverse(product: &DMatrix<f64>) -> Result<DMatrix<f64>, Error> {
    let length = |norm: f64| if norm > 0.0 { norm } else { 1.0 };
    let columns = DVector::from_iterator(product.ncols(), product.column_iter().map(|c| 1.0 / length(c.norm())));
    let mut scaled = product * DMatrix::from_diagonal(&columns);
    let rows = DVector::from_iterator(product.nrows(), scaled.row_iter().map(|r| 1.0 / length(r.norm())));
    scaled = DMatrix::from_diagonal(&rows) * scaled;
    let size = |m: &DMatrix<f64>| m.column_iter().map(|c| c.lp_norm(1)).fold(0.0, f64::max);
    let before = size(&scaled);
    let inverse = scaled.lu().try_inverse();
    // Reciprocal condition number in the norm of column sums (Golub & Van Loan 2013, Matrix Computations, 2.6.2).
    let ratio = inverse.as_ref().map_or(0.0, |inverse| 1.0 / (before * size(inverse)));
    match inverse {
        Some(inverse) if ratio > SINGULAR => {
            Ok(DMatrix::from_diagonal(&columns) * inverse * DMatrix::from_diagonal(&rows))
        }
        _ => Err(refusal(format!(
            "instruments and parameters do not determine each other (reciprocal condition {ratio:.1e}, at least \
             {SINGULAR:.0e} is needed); hold a parameter fixed or share it between runs"
        ))),
    }
}

/// Number of parameters, when all shapes fit.
fn check(laps: &Laps, absorbed: &Absorbed) -> Result<usize, Error> {
    let Laps { jacobian, instruments, residual, prior } = laps;
    let Some(steps) = residual.first().filter(|_| residual.len() > 1).map(|r| r.len()) else {
        return Err(refusal(format!("at least 2 laps are needed, not {}; ride more", residual.len())));
    };
    let parameters = jacobian.parameters;
    for (g, r) in residual.iter().enumerate() {
        let fits = |rows: &Rows| {
            let own = rows.laps.get(g).map(|l| (l.own.shape(), l.parameters.len()));
            rows.parameters == parameters && own.is_some_and(|((n, m), k)| n == r.len() && m == k)
        };
        if r.is_empty() || !fits(jacobian) || !fits(instruments) {
            return Err(refusal(format!(
                "lap {} has {} residuals and a Jacobian or instruments of another shape; {parameters} columns and as \
                 many rows are needed",
                g + 1,
                r.len()
            )));
        }
        if parameters == 0 || !r.iter().all(|value| value.is_finite()) {
            return Err(refusal(format!("lap {} has no parameter or a value that is not a number", g + 1)));
        }
    }
    if !jacobian.is_finite() || !instruments.is_finite() {
        return Err(refusal("a Jacobian or instrument holds a value that is not a number".into()));
    }
    if !prior.precision.is_empty() && prior.precision.len() != parameters {
        return Err(refusal(format!("{} expectations for {parameters} parameters", prior.precision.len())));
    }
    if let Absorbed::StepMeans { lap_weights } = absorbed {
        let positive = lap_weights.iter().all(|weight| weight.is_finite() && *weight > 0.0);
        if lap_weights.len() != residual.len() || !positive || residual.iter().any(|r| r.len() != steps) {
            return Err(refusal(format!(
                "step means need one positive weight for each of {} laps, and laps of {steps} steps each",
                residual.len()
            )));
        }
    }
    Ok(parameters)
}

fn refusal(message: String) -> Error {
    Error::Numerical { stage: "cluster-robust covariance", message }
}
