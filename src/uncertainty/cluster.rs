//! Cluster-robust covariance with the CR2 small-sample correction and Satterthwaite degrees of freedom, for the
//! just-identified instrumental-variables equations Zᵀ(y − Xβ) = 0 with step means absorbed; Z = X is least squares.
//!
//! Given per lap the projected Jacobian, instruments and residual, and a working covariance of the errors; gives the
//! covariance of the estimate and, for any contrast, variance and degrees of freedom. It never re-estimates β and never
//! forms an N × N matrix.
//!
//! # Derivation
//!
//! Let rows be scaled by the square root of their weight, let P take out the absorbed step means (P = I when there were
//! none), let X and Z be already projected, and M = (ZᵀX)⁻¹. Errors of working covariance W leave cov(Pe) = Φ = PWP, so
//! β̂ − β = M ZᵀPe, the residual is r = (I − XMZᵀ) Pe, and with Y = ΦZ, K = ZᵀΦZ and W_g = D_gᵀD_g
//!
//! ```text
//! S_gh = cov(r_g, r_h) = Φ_gh − X_g M Y_hᵀ − Y_g Mᵀ X_hᵀ + X_g M K Mᵀ X_hᵀ
//! V    = M [Σ_g Z_gᵀ A_g r_g r_gᵀ A_g Z_g] Mᵀ,      A_g = D_gᵀ (D_g S_gg D_gᵀ)^{+1/2} D_g
//! ```
//!
//! Since A_g S_gg A_g = W_g where S_gg has full rank and PZ = Z, E(V) = M ZᵀWZ Mᵀ = MKMᵀ, the true covariance if the
//! working one is true; any other costs accuracy of second order. The size of W matters to nothing here but MKMᵀ, which
//! `moderation` uses, and to what is expected of parameters: rows of their own, N(μ, S), with σ² the long-run variance of a row
//! and Λ = σ²S⁻¹, make M = (ZᵀX + Λ)⁻¹, put K + σ²Λ in the place of K in S_gh, and add
//!
//! ```text
//! V_prior = M σ²Λ Mᵀ
//! ```
//!
//! which is kept apart from V, the part of the laps. For a contrast c,
//! cᵀVc = Σ_g (x_gᵀ r_g)² with x_g = A_g Z_g Mᵀ c: a sum of squares of normal variables with covariance
//! Γ_gh = x_gᵀ S_gh x_h, so that matching two moments gives ν = (tr Γ)²/tr(Γ²). The pieces of S are those of
//! `residual_model`.
//!
//! Sources: Bell & McCaffrey 2002, Survey Methodology 28:169; Pustejovsky & Tipton 2018, J. Bus. Econ. Stat. 36:672,
//! eq. 7–10 (there with Z = X and P = I).

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::adjustment::Adjustment;
pub use super::laps::{Absorbed, Cluster, Laps, PriorRows};
use super::residual_model::ResidualModel;
use super::rows::corner;
use super::working::Working;
use crate::error::Error;

/// A contrast of whose working variance the residuals show less than this share has no estimated variance.
const RECOVERED_FLOOR: f64 = 1e-8;

/// Variance of a contrast and the degrees of freedom of its t distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ContrastVariance {
    /// NaN when the residuals say nothing about it, as when a single lap alone determines the contrast.
    pub variance: f64,
    /// Satterthwaite's, between 1 and the number of clusters; NaN with the variance.
    pub dof: f64,
    /// E(V) over the true variance, both under the working model: 1 when the correction is complete, less when the
    /// fit passes exactly through some laps.
    pub recovered: f64,
    /// Variance if the working covariance were the true one.
    pub working: f64,
    /// What is added by what is expected of parameters and not told by the laps.
    pub prior: f64,
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
    /// M ZᵀΦZ Mᵀ: the covariance if the working covariance were the true one.
    pub working: DMatrix<f64>,
    /// M σ²Λ Mᵀ: what the laps leave to what is expected of parameters.
    pub prior: DMatrix<f64>,
    model: ResidualModel,
    /// A_g of each lap.
    root: Vec<DMatrix<f64>>,
    /// E(V) of each parameter under the working model.
    expected: DVector<f64>,
    /// M Z_gᵀA_g r_g of each lap, parameters × laps.
    scores: DMatrix<f64>,
}

impl ClusterRobust {
    /// Work out the roots and the covariance; cost O(G J²(J + k) + k³), spread over the threads of rayon.
    ///
    /// Refuses shapes that do not fit, fewer than two clusters, values that are not numbers, a singular ZᵀX and working
    /// correlations that no process has.
    pub fn new(laps: &Laps, absorbed: &Absorbed, working: &Working) -> Result<Self, Error> {
        Ok(Self::with_model(ResidualModel::new(laps, absorbed, working)?, &laps.residual))
    }

    /// The same with the working covariance estimated from the residuals, [`Working::estimated`].
    pub fn estimated(laps: &Laps, absorbed: &Absorbed, class: &[usize]) -> Result<Self, Error> {
        let independent = Working::independent(laps.residual.len());
        let mut model = ResidualModel::new(laps, absorbed, &independent)?;
        let working = Working::matched(&mut model, &laps.residual, class)?;
        if working == independent {
            model.suppose(&working)?;
        }
        Ok(Self::with_model(model, &laps.residual))
    }

    fn with_model(model: ResidualModel, residual: &[DVector<f64>]) -> Self {
        let pieces = model.pieces();
        let instruments = model.instruments.times(model.bread.transpose());
        let each: Vec<Adjustment> = (0..residual.len())
            .into_par_iter()
            .map(|g| match model.rows_had(g) {
                None => {
                    let whitened = pieces.whitened_block(g);
                    let root = model.root_transposed_of(whitened.nrows());
                    Adjustment::new(whitened, root, instruments.block(g), model.variance[g])
                }
                Some(rows) => Adjustment::of_rows(&model, &pieces, g, &rows, instruments.block(g)),
            })
            .collect();
        let expected = each.iter().fold(DVector::zeros(model.core.nrows()), |sum, of_lap| sum + &of_lap.expected);
        let root: Vec<DMatrix<f64>> = each.into_iter().map(|of_lap| of_lap.root).collect();
        let adjusted: Vec<DVector<f64>> = root.iter().zip(residual).map(|(a, r)| a * r).collect();
        let scores = &model.bread * model.instruments.transposed_each(&adjusted);
        let covariance = &scores * scores.transpose();
        let working = &model.bread * &model.lap_core * model.bread.transpose();
        let prior = &model.bread * DMatrix::from_diagonal(&model.prior) * model.bread.transpose();
        ClusterRobust { covariance, working, prior, root, expected, scores, model }
    }

    /// Standard error of one parameter: CR2 of the laps and what they leave to what was expected of it. Without degrees of freedom,
    /// which cost much more; NaN as for a contrast.
    pub fn parameter_standard_error(&self, parameter: usize) -> f64 {
        let recovered = self.expected[parameter] / self.working[(parameter, parameter)];
        if recovered.is_nan() || recovered < RECOVERED_FLOOR {
            return f64::NAN;
        }
        (self.covariance[(parameter, parameter)] + self.prior[(parameter, parameter)]).sqrt()
    }

    /// CR2 variance of cᵀβ̂ without degrees of freedom, which cost much more.
    pub fn variance(&self, contrast: &DVector<f64>) -> f64 {
        contrast.dot(&(&self.covariance * contrast))
    }

    /// What each lap moves cᵀβ̂ by, to first order; the squares add up to [`ClusterRobust::variance`].
    pub fn moved_by_laps(&self, contrast: &DVector<f64>) -> DVector<f64> {
        self.scores.tr_mul(contrast)
    }

    /// The working covariance that the correction supposes.
    pub fn supposed(&self) -> Working {
        self.model.supposed()
    }

    /// What the expectation of each parameter adds to the variance of cᵀβ̂; their sum is that of the prior.
    pub fn prior_parts(&self, contrast: &DVector<f64>) -> DVector<f64> {
        let turned = self.model.bread.transpose() * contrast;
        turned.zip_map(&self.model.prior, |t, p| t * t * p)
    }

    /// CR2 variance of cᵀβ̂ and its Satterthwaite degrees of freedom; cost O(G (J + k) min(G, J + k) + G J²).
    pub fn contrast(&self, contrast: &DVector<f64>) -> ContrastVariance {
        let nan = f64::NAN;
        let unknown = ContrastVariance { variance: nan, dof: nan, recovered: nan, working: nan, prior: nan };
        if contrast.len() != self.covariance.nrows() {
            return unknown;
        }
        let Gram { trace, norm_squared } = self.gram(contrast);
        let working = contrast.dot(&(&self.working * contrast));
        let prior = contrast.dot(&(&self.prior * contrast));
        let recovered = trace / working;
        if recovered.is_nan() || recovered < RECOVERED_FLOOR {
            return ContrastVariance { recovered, working, prior, ..unknown };
        }
        let variance = self.variance(contrast);
        // At least 1 by Cauchy and Schwarz; rounding must not carry it below.
        ContrastVariance { variance, dof: (trace * trace / norm_squared).max(1.0), recovered, working, prior }
    }

    /// Trace and squared norm of Γ_gh = x_gᵀ cov(r_g, r_h) x_h.
    ///
    /// All but the laps' own o_g = v_g x_gᵀW₀x_g is −l_g·t_h − t_g·l_h, with a_g = s_g Cx_g, b_g = s_g v_g W₀x_g in
    /// l_g = (a_g, F_gᵀx_g) and t_g = (b_g − ½v̄W₀a_g, (Y_g − ½F_gK)ᵀx_g). With many laps Γ is never formed:
    ///
    /// ```text
    /// tr Γ² = Σ o_g² − 4 Σ o_g l_g·t_g + 2 tr(LLᵀTTᵀ) + 2 tr(TLᵀTLᵀ)
    /// ```
    fn gram(&self, contrast: &DVector<f64>) -> Gram {
        let model = &self.model;
        let laps = self.root.len();
        let parameters = contrast.len();
        let turned = model.bread.transpose() * contrast;
        let turned = model.instruments.times(DMatrix::from_column_slice(parameters, 1, turned.as_slice()));
        let x: Vec<DVector<f64>> =
            self.root.iter().enumerate().map(|(g, root)| root * turned.block(g).column(0)).collect();
        // Laps of unequal length, for which nothing can have been absorbed, need no room for a and b.
        let steps = if model.mean_variance > 0.0 { model.correlation.nrows() } else { 0 };
        let mut left = DMatrix::zeros(steps + parameters, laps);
        let mut right = DMatrix::zeros(steps + parameters, laps);
        let mut own = DVector::zeros(laps);
        let row_sums = model.correlation.column_sum();
        for (g, x) in x.iter().enumerate() {
            let smooth = corner(&model.correlation, x.len()) * x;
            own[g] = model.variance[g] * x.dot(&smooth);
            if steps > 0 {
                let level = x.mean();
                let s = model.share[g].sqrt();
                left.view_mut((0, g), (steps, 1)).copy_from(&(x.add_scalar(-level) * s));
                let half = &smooth * (model.variance[g] - 0.5 * model.mean_variance)
                    + &row_sums * (0.5 * model.mean_variance * level);
                right.view_mut((0, g), (steps, 1)).copy_from(&(half * s));
            }
        }
        left.rows_mut(steps, parameters).copy_from(&model.fitted_transposed_each(&x));
        right.rows_mut(steps, parameters).copy_from(&model.noise_transposed_each(&x));
        let smoothed = &model.core * left.rows(steps, parameters) * 0.5;
        let mut below = right.rows_mut(steps, parameters);
        below -= smoothed;
        // Transposing first is several times as fast as `tr_mul`, which takes dot products.
        if laps <= left.nrows() {
            let cross = left.transpose() * right;
            let whole = DMatrix::from_diagonal(&own) - &cross - cross.transpose();
            return Gram { trace: whole.trace(), norm_squared: whole.norm_squared() };
        }
        let both = DVector::from_fn(laps, |g, _| left.column(g).dot(&right.column(g)));
        let (left_transposed, right_transposed) = (left.transpose(), right.transpose());
        let of_left = &left * &left_transposed;
        let of_right = &right * &right_transposed;
        let mixed = &right * &left_transposed;
        let norm_squared = own.norm_squared() - 4.0 * own.dot(&both)
            + 2.0 * of_left.dot(&of_right)
            + 2.0 * mixed.dot(&mixed.transpose());
        Gram { trace: own.sum() - 2.0 * both.sum(), norm_squared }
    }
}

/// What the degrees of freedom need of Γ.
struct Gram {
    trace: f64,
    norm_squared: f64,
}

/// Covariance of an estimate if a working covariance were the true one, with what is expected of parameters: what
/// [`ClusterRobust::working`] and [`ClusterRobust::prior`] add up to, without the corrections, which cost much more.
///
/// Errors: those of [`ClusterRobust::new`].
pub fn expected_covariance(laps: &Laps, absorbed: &Absorbed, working: &Working) -> Result<DMatrix<f64>, Error> {
    Ok(ResidualModel::new(laps, absorbed, working)?.expected_covariance())
}
