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

use super::cluster::{Absorbed, Cluster};
use super::working::Working;
use crate::error::Error;

/// ZᵀX scaled to unit rows and columns is singular below this ratio of its singular values.
const SINGULAR: f64 = 1e-13;

/// The pieces of cov(r).
#[derive(Debug, Clone)]
pub(super) struct ResidualModel {
    /// M.
    pub bread: DMatrix<f64>,
    /// F_g.
    pub fitted: Vec<DMatrix<f64>>,
    /// Y_g.
    pub noise: Vec<DMatrix<f64>>,
    /// K.
    pub core: DMatrix<f64>,
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
}

/// Σ_j E[r_j²] and Σ_j E[r_j r_{j+1}] of one lap.
pub(super) struct NeighbourSums {
    pub squares: f64,
    pub neighbours: f64,
}

impl ResidualModel {
    /// Refuses shapes that do not fit, fewer than two laps, values that are not numbers, a singular ZᵀX and a working
    /// covariance that is none.
    pub fn new(clusters: &[Cluster], absorbed: &Absorbed, working: &Working) -> Result<Self, Error> {
        let parameters = check(clusters, absorbed)?;
        let zero = DMatrix::zeros(parameters, parameters);
        // Transposing first is several times as fast as `tr_mul`, which takes dot products.
        let product = clusters.iter().fold(zero.clone(), |sum, c| sum + c.instruments.transpose() * &c.jacobian);
        let bread = inverse(&product)?;
        let mut model = ResidualModel {
            fitted: clusters.iter().map(|c| &c.jacobian * &bread).collect(),
            bread,
            noise: Vec::new(),
            core: zero,
            share: absorbed.shares(clusters.len()),
            variance: Vec::new(),
            mean_variance: 0.0,
            correlation: DMatrix::zeros(0, 0),
            root: DMatrix::zeros(0, 0),
            root_transposed: DMatrix::zeros(0, 0),
            centred_once: DMatrix::zeros(0, 0),
            centred_twice: DMatrix::zeros(0, 0),
        };
        model.suppose(clusters, working)?;
        Ok(model)
    }

    /// Takes another working covariance for the same laps.
    pub fn suppose(&mut self, clusters: &[Cluster], working: &Working) -> Result<(), Error> {
        let sound = working.variance.iter().all(|v| v.is_finite() && *v > 0.0);
        if working.variance.len() != clusters.len() || !sound || working.correlation.first() != Some(&1.0) {
            return Err(refusal(format!(
                "the working covariance needs a positive variance for each of {} laps and correlations that begin \
                 with 1",
                clusters.len()
            )));
        }
        let steps = clusters.iter().map(|c| c.residual.len()).max().unwrap_or(0);
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
        self.noise = self.noise_of_instruments(clusters);
        self.core.fill(0.0);
        for (c, y) in clusters.iter().zip(&self.noise) {
            self.core += c.instruments.transpose() * y;
        }
        Ok(())
    }

    /// Y = ΦZ, for instruments that need not be projected, so that nothing hangs on that.
    fn noise_of_instruments(&self, clusters: &[Cluster]) -> Vec<DMatrix<f64>> {
        let mut noise: Vec<DMatrix<f64>> = clusters
            .iter()
            .zip(&self.variance)
            .map(|(c, v)| self.correlation_of(c.residual.len()) * &c.instruments * *v)
            .collect();
        if self.share.iter().all(|share| *share == 0.0) {
            return noise;
        }
        let mut of_noise = DMatrix::zeros(noise[0].nrows(), noise[0].ncols());
        let mut of_instruments = of_noise.clone();
        for ((y, cluster), share) in noise.iter().zip(clusters).zip(&self.share) {
            of_noise += y * share.sqrt();
            of_instruments += &cluster.instruments * share.sqrt();
        }
        let smooth = &self.correlation * centred(of_instruments);
        let common = centred(of_noise) - centred(smooth.clone()) * self.mean_variance;
        for ((y, share), variance) in noise.iter_mut().zip(&self.share).zip(&self.variance) {
            *y -= (&common + &smooth * *variance) * share.sqrt();
        }
        noise
    }

    fn correlation_of(&self, steps: usize) -> DMatrixView<'_, f64> {
        self.correlation.view((0, 0), (steps, steps))
    }

    /// L for a lap of so many steps.
    pub fn root_of(&self, steps: usize) -> DMatrixView<'_, f64> {
        self.root.view((0, 0), (steps, steps))
    }

    /// Lᵀ for a lap of so many steps.
    pub fn root_transposed_of(&self, steps: usize) -> DMatrixView<'_, f64> {
        self.root_transposed.view((0, 0), (steps, steps))
    }

    /// Φ_gg of a lap.
    fn error_block(&self, g: usize) -> DMatrix<f64> {
        let (share, v) = (self.share[g], self.variance[g]);
        let own = self.correlation_of(self.fitted[g].nrows()) * v;
        match share > 0.0 {
            true => own - &self.centred_once * (share * v) + &self.centred_twice * (share * self.mean_variance),
            false => own,
        }
    }

    /// Its sums, without working it out.
    fn error_sums(&self, g: usize) -> NeighbourSums {
        let (share, v, steps) = (self.share[g], self.variance[g], self.fitted[g].nrows());
        let sum = |of: &dyn Fn(DMatrixView<f64>) -> f64| {
            let once = if share > 0.0 { of(self.centred_once.as_view()) } else { 0.0 };
            let twice = if share > 0.0 { of(self.centred_twice.as_view()) } else { 0.0 };
            v * of(self.correlation_of(steps)) - share * (v * once - self.mean_variance * twice)
        };
        NeighbourSums {
            squares: sum(&|m| m.trace()),
            neighbours: sum(&|m| (1..m.nrows()).map(|j| m[(j - 1, j)]).sum()),
        }
    }

    /// Y_g − ½ F_g K: with it S_gg = Φ_gg − F(Y − ½FK)ᵀ − (Y − ½FK)Fᵀ.
    pub fn half(&self, g: usize) -> DMatrix<f64> {
        &self.noise[g] - &self.fitted[g] * &self.core * 0.5
    }

    /// Lᵀ S_gg L.
    pub fn whitened_block(&self, g: usize) -> DMatrix<f64> {
        let steps = self.fitted[g].nrows();
        let (root, transposed) = (self.root_of(steps), self.root_transposed_of(steps));
        let cross = transposed * &self.fitted[g] * (transposed * self.half(g)).transpose();
        transposed * self.error_block(g) * root - &cross - cross.transpose()
    }

    /// The sums of the main diagonal of S_gg and of the one beside it.
    pub fn neighbour_sums(&self, g: usize) -> NeighbourSums {
        let (f, h, errors) = (&self.fitted[g], self.half(g), self.error_sums(g));
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
    let values = scaled.singular_values();
    let ratio = values.min() / values.max();
    let inverse = scaled.lu().try_inverse();
    match inverse {
        Some(inverse) if ratio > SINGULAR => {
            Ok(DMatrix::from_diagonal(&columns) * inverse * DMatrix::from_diagonal(&rows))
        }
        _ => Err(refusal(format!(
            "instruments and parameters do not determine each other (singular values span {ratio:.1e}, at least \
             {SINGULAR:.0e} is needed); hold a parameter fixed or share it between runs"
        ))),
    }
}

/// Number of parameters, when all shapes fit.
fn check(clusters: &[Cluster], absorbed: &Absorbed) -> Result<usize, Error> {
    let Some(first) = clusters.first().filter(|_| clusters.len() > 1) else {
        return Err(refusal(format!("{} lap(s), at least 2 are needed; ride more laps", clusters.len())));
    };
    let (steps, parameters) = first.jacobian.shape();
    for (g, cluster) in clusters.iter().enumerate() {
        let rows = cluster.residual.len();
        if cluster.jacobian.shape() != (rows, parameters)
            || cluster.instruments.shape() != (rows, parameters)
            || rows == 0
        {
            return Err(refusal(format!(
                "lap {} has {rows} residuals, a Jacobian of {:?} and instruments of {:?}; \
                 {parameters} columns and as many rows are needed",
                g + 1,
                cluster.jacobian.shape(),
                cluster.instruments.shape()
            )));
        }
        let all = cluster.jacobian.iter().chain(cluster.instruments.iter()).chain(cluster.residual.iter());
        if parameters == 0 || !all.into_iter().all(|value| value.is_finite()) {
            return Err(refusal(format!("lap {} has no parameter or a value that is not a number", g + 1)));
        }
    }
    if let Absorbed::StepMeans { lap_weights } = absorbed {
        let positive = lap_weights.iter().all(|weight| weight.is_finite() && *weight > 0.0);
        if lap_weights.len() != clusters.len() || !positive || clusters.iter().any(|c| c.residual.len() != steps) {
            return Err(refusal(format!(
                "step means need one positive weight for each of {} laps, and laps of {steps} steps each",
                clusters.len()
            )));
        }
    }
    Ok(parameters)
}

fn refusal(message: String) -> Error {
    Error::Numerical { stage: "cluster-robust covariance", message }
}
