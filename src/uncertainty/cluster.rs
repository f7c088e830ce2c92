//! Cluster-robust covariance with the CR2 small-sample correction and Satterthwaite degrees of freedom, for the
//! just-identified instrumental-variables equations Zᵀ(y − Xβ) = 0 with step means absorbed; Z = X is least squares.
//!
//! Given per lap the projected Jacobian, instruments and residual; gives the covariance of the estimate and, for any
//! contrast, variance and degrees of freedom. It never re-estimates β and never forms an N × N matrix.
//!
//! # Derivation
//!
//! Let rows be scaled by the square root of their weight so that the working covariance of the errors is I, let Π
//! project on the absorbed step means, X and Z be already projected, and M = (ZᵀX)⁻¹. Then β̂ − β = M Zᵀe and the
//! residual is r = (I − XMZᵀ) e with cov(e) = Φ, Φ = I − Π when step means were absorbed from I-errors and Φ = I when
//! they were not. Hence, with Y = ΦZ and K = ZᵀΦZ,
//!
//! ```text
//! S_gh = cov(r_g, r_h) = Φ_gh − X_g M Y_hᵀ − Y_g Mᵀ X_hᵀ + X_g M K Mᵀ X_hᵀ
//! V    = M [Σ_g Z_gᵀ A_g r_g r_gᵀ A_g Z_g] Mᵀ,      A_g = S_gg^{+1/2}
//! ```
//!
//! Since A_g S_gg A_g = I on the range of S_gg and ΠZ = 0, E[V] = M ZᵀZ Mᵀ, the true covariance under the working
//! model. For a contrast c, cᵀVc = Σ_g (x_gᵀ r_g)² with x_g = A_g Z_g Mᵀ c: a sum of squares of normal variables with
//! covariance Γ_gh = x_gᵀ S_gh x_h, so that matching two moments gives ν = (tr Γ)²/tr(Γ²).
//!
//! Sources: Bell & McCaffrey 2002, Survey Methodology 28:169; Pustejovsky & Tipton 2018, J. Bus. Econ. Stat. 36:672,
//! eq. 7–10 (there with Z = X).

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use crate::error::Error;

/// Eigenvalues of cov(r_g) below this share of the largest count as zero.
const EIGENVALUE_FLOOR: f64 = 1e-10;
/// A contrast of whose working variance the residuals show less than this share has no estimated variance.
const RECOVERED_FLOOR: f64 = 1e-8;
/// ZᵀX scaled to unit rows and columns is singular below this ratio of its singular values.
const SINGULAR: f64 = 1e-13;

/// The rows of one cluster (one lap), scaled by the square root of the lap's weight and projected.
#[derive(Debug, Clone)]
pub struct Cluster {
    /// PJ, rows × parameters.
    pub jacobian: DMatrix<f64>,
    /// PZ, rows × parameters.
    pub instruments: DMatrix<f64>,
    /// Pr.
    pub residual: DVector<f64>,
}

/// What the projection took out of the errors.
#[derive(Debug, Clone, PartialEq)]
pub enum Absorbed {
    /// Nothing: the errors of the rows as given are independent and of equal size (φ = 0).
    Nothing,
    /// Step means summing to zero over the lap, Π_gh = √(w_g w_h)/Σw · (I − 11ᵀ/J), laps of J rows each (φ = 1).
    StepMeans { lap_weights: Vec<f64> },
}

/// Variance of a contrast and the degrees of freedom of its t distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ContrastVariance {
    /// NaN when the residuals say nothing about it, as when a single lap alone determines the contrast.
    pub variance: f64,
    /// Satterthwaite's, between 1 and the number of clusters; NaN with the variance.
    pub dof: f64,
    /// E[V] over the true variance, both under the working model: 1 when the correction is complete, less when the
    /// fit passes exactly through some laps.
    pub recovered: f64,
}

impl ContrastVariance {
    pub fn standard_error(&self) -> f64 {
        self.variance.sqrt()
    }
}

/// The covariance of an estimate, ready to be asked about contrasts.
#[derive(Debug, Clone)]
pub struct ClusterRobust {
    /// CR2, parameters × parameters.
    pub covariance: DMatrix<f64>,
    /// CR0: the sandwich without any correction, for comparison.
    pub uncorrected: DMatrix<f64>,
    /// M ZᵀΦZ Mᵀ: the covariance under the working model with errors of unit variance.
    pub working: DMatrix<f64>,
    /// ZᵀΦZ.
    core: DMatrix<f64>,
    parts: Vec<Part>,
}

/// What is kept of one cluster.
#[derive(Debug, Clone)]
struct Part {
    /// A_g Z_g Mᵀ.
    influence: DMatrix<f64>,
    /// X_g M.
    fitted: DMatrix<f64>,
    /// (ΦZ)_g.
    noise: DMatrix<f64>,
    /// w_g / Σw when step means were absorbed, else 0.
    share: f64,
}

impl ClusterRobust {
    /// Work out the roots and the covariance; cost O(G J³), spread over the threads of rayon.
    ///
    /// Refuses shapes that do not fit, fewer than two clusters, values that are not numbers and a singular ZᵀX.
    pub fn new(clusters: &[Cluster], absorbed: &Absorbed) -> Result<Self, Error> {
        let parameters = check(clusters, absorbed)?;
        let zero = DMatrix::zeros(parameters, parameters);
        let product = clusters.iter().fold(zero.clone(), |sum, c| sum + c.instruments.tr_mul(&c.jacobian));
        let bread = inverse(&product)?;
        let shares = absorbed.shares(clusters.len());
        let noise = noise_of_instruments(clusters, &shares);
        let core = clusters.iter().zip(&noise).fold(zero.clone(), |sum, (c, y)| sum + c.instruments.tr_mul(y));
        let parts: Vec<Part> = clusters
            .par_iter()
            .zip(noise)
            .zip(shares)
            .map(|((cluster, noise), share)| {
                let fitted = &cluster.jacobian * &bread;
                let root = inverse_root(residual_covariance(&fitted, &noise, &core, share));
                let influence = root * &cluster.instruments * bread.transpose();
                Part { influence, fitted, noise, share }
            })
            .collect();
        let covariance = parts.iter().zip(clusters).fold(zero.clone(), |sum, (part, cluster)| {
            let score = part.influence.tr_mul(&cluster.residual);
            sum + &score * score.transpose()
        });
        let uncorrected = clusters.iter().fold(zero, |sum, cluster| {
            let score = &bread * cluster.instruments.tr_mul(&cluster.residual);
            sum + &score * score.transpose()
        });
        let working = &bread * &core * bread.transpose();
        Ok(ClusterRobust { covariance, uncorrected, working, core, parts })
    }

    /// CR1: the uncorrected sandwich times G/(G − 1), for comparison.
    pub fn rescaled(&self) -> DMatrix<f64> {
        let clusters = self.parts.len() as f64;
        &self.uncorrected * (clusters / (clusters - 1.0))
    }

    /// CR2 variance of cᵀβ̂ and its Satterthwaite degrees of freedom; cost O(G² (J + k)).
    pub fn contrast(&self, contrast: &DVector<f64>) -> ContrastVariance {
        let unknown = ContrastVariance { variance: f64::NAN, dof: f64::NAN, recovered: f64::NAN };
        if contrast.len() != self.covariance.nrows() {
            return unknown;
        }
        let gram = self.gram(contrast);
        let trace = gram.trace();
        let true_variance = contrast.dot(&(&self.working * contrast));
        let recovered = trace / true_variance;
        if recovered.is_nan() || recovered < RECOVERED_FLOOR {
            return ContrastVariance { recovered, ..unknown };
        }
        let variance = contrast.dot(&(&self.covariance * contrast));
        // At least 1 by Cauchy and Schwarz; rounding must not carry it below.
        ContrastVariance { variance, dof: (trace * trace / gram.norm_squared()).max(1.0), recovered }
    }

    /// Γ_gh = x_gᵀ cov(r_g, r_h) x_h.
    fn gram(&self, contrast: &DVector<f64>) -> DMatrix<f64> {
        let weighted: Vec<Weighted> = self.parts.iter().map(|part| Weighted::new(part, contrast, &self.core)).collect();
        DMatrix::from_fn(weighted.len(), weighted.len(), |g, h| {
            let (left, right) = (&weighted[g], &weighted[h]);
            let own = if g == h { left.squared } else { 0.0 };
            own - left.absorbed.dot(&right.absorbed) - left.fitted.dot(&right.noise) - left.noise.dot(&right.fitted)
                + left.fitted.dot(&right.core)
        })
    }
}

/// One cluster's x_g in the low-rank coordinates of cov(r).
struct Weighted {
    squared: f64,
    absorbed: DVector<f64>,
    fitted: DVector<f64>,
    noise: DVector<f64>,
    core: DVector<f64>,
}

impl Weighted {
    fn new(part: &Part, contrast: &DVector<f64>, core: &DMatrix<f64>) -> Self {
        let x = &part.influence * contrast;
        let fitted = part.fitted.tr_mul(&x);
        // Without absorbed means the vector stays empty, which also allows clusters of unequal length.
        let absorbed = if part.share > 0.0 { x.add_scalar(-x.mean()) * part.share.sqrt() } else { DVector::zeros(0) };
        Weighted { squared: x.norm_squared(), absorbed, noise: part.noise.tr_mul(&x), core: core * &fitted, fitted }
    }
}

impl Absorbed {
    /// w_g / Σw, or zeros.
    fn shares(&self, clusters: usize) -> Vec<f64> {
        match self {
            Absorbed::Nothing => vec![0.0; clusters],
            Absorbed::StepMeans { lap_weights } => {
                let total: f64 = lap_weights.iter().sum();
                lap_weights.iter().map(|weight| weight / total).collect()
            }
        }
    }
}

/// Y = ΦZ = Z − ΠZ, which is Z itself when Z was projected; worked out so that nothing hangs on that.
fn noise_of_instruments(clusters: &[Cluster], shares: &[f64]) -> Vec<DMatrix<f64>> {
    let mut noise: Vec<DMatrix<f64>> = clusters.iter().map(|cluster| cluster.instruments.clone()).collect();
    if shares.iter().all(|share| *share == 0.0) {
        return noise;
    }
    let (steps, parameters) = noise[0].shape();
    let mut mean = DMatrix::zeros(steps, parameters);
    for (instruments, share) in noise.iter().zip(shares) {
        mean += instruments * share.sqrt();
    }
    for mut column in mean.column_iter_mut() {
        let level = column.mean();
        column.add_scalar_mut(-level);
    }
    for (instruments, share) in noise.iter_mut().zip(shares) {
        *instruments -= &mean * share.sqrt();
    }
    noise
}

/// S_gg of the module's derivation.
fn residual_covariance(fitted: &DMatrix<f64>, noise: &DMatrix<f64>, core: &DMatrix<f64>, share: f64) -> DMatrix<f64> {
    let rows = fitted.nrows();
    let cross = fitted * noise.transpose();
    let mut covariance = fitted * core * fitted.transpose() - &cross - cross.transpose();
    covariance.add_scalar_mut(share / rows as f64);
    for row in 0..rows {
        covariance[(row, row)] += 1.0 - share;
    }
    covariance
}

/// Symmetric pseudo-inverse square root.
fn inverse_root(matrix: DMatrix<f64>) -> DMatrix<f64> {
    let eigen = matrix.symmetric_eigen();
    let floor = EIGENVALUE_FLOOR * eigen.eigenvalues.max().max(f64::MIN_POSITIVE);
    let mut scaled = eigen.eigenvectors.clone();
    for (mut column, value) in scaled.column_iter_mut().zip(eigen.eigenvalues.iter()) {
        column *= if *value > floor { 1.0 / value.sqrt() } else { 0.0 };
    }
    scaled * eigen.eigenvectors.transpose()
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
