//! A linear model of all set-ups, fitted by generalised least squares.
//!
//! Given the joint estimates of all set-ups and columns; gives coefficients with covariance and what is left over. It chooses no
//! columns and tests nothing by itself.
//!
//! ```text
//! y = X γ + e,  e ~ t(0, Σ, ν)        γ̂ = (Xᵀ Σ⁻¹ X)⁻¹ Xᵀ Σ⁻¹ y,  Q = rᵀ Σ⁻¹ r        (Aitken 1936)
//! ```

use crate::uncertainty::student::{coverage_factor, f_upper_tail, t_two_sided_p};
use nalgebra::{Cholesky, DMatrix, DVector};

/// Columns whose singular value is smaller than this fraction of the largest say nothing new.
const RANK_FROM: f64 = 1e-8;

/// Values of all set-ups with everything that is uncertain about them.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    pub values: DVector<f64>,
    /// Laps, priors, instruments and what changes from run to run.
    pub covariance: DMatrix<f64>,
    /// Degrees of freedom of differences.
    pub dof: f64,
    /// Runs behind each set-up.
    pub runs: Vec<usize>,
    /// Day of each set-up: what moves all set-ups of a day alike is free.
    pub day: Vec<usize>,
}

impl Joint {
    /// Variance of one more run of a set-up, without what moves all set-ups alike.
    pub fn of_one_run(&self) -> f64 {
        let k = self.values.len();
        let common = if k > 1 { (self.covariance.sum() - self.covariance.trace()) / (k * (k - 1)) as f64 } else { 0.0 };
        let own = (0..k).map(|s| (self.covariance[(s, s)] - common).max(0.0) * self.runs[s] as f64);
        own.sum::<f64>() / k as f64
    }
}

/// A fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    pub coefficients: DVector<f64>,
    pub covariance: DMatrix<f64>,
    pub q: f64,
    pub columns: usize,
}

/// A linear function of the coefficients.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimated {
    pub value: f64,
    pub se: f64,
    pub dof: f64,
}

impl Estimated {
    pub fn interval(&self, confidence: f64) -> super::Interval {
        let half = coverage_factor(confidence, self.dof) * self.se;
        let p = t_two_sided_p(self.value / self.se, self.dof);
        super::Interval {
            value: self.value,
            se: self.se,
            low: self.value - half,
            high: self.value + half,
            dof: Some(self.dof).filter(|d| d.is_finite()),
            p_value: Some(p).filter(|p| p.is_finite()),
        }
    }
}

impl Fit {
    /// `None` where the columns do not stand by themselves or the covariance is none.
    pub fn of(design: &DMatrix<f64>, joint: &Joint) -> Option<Fit> {
        let whiten = Whitened::of(joint)?;
        whiten.fit(design)
    }

    pub fn estimated(&self, weights: &DVector<f64>, dof: f64) -> Estimated {
        let variance = (&self.covariance * weights).dot(weights).max(0.0);
        Estimated { value: self.coefficients.dot(weights), se: variance.sqrt(), dof }
    }

    /// F of some coefficients being 0 (Wald).
    pub fn wald(&self, which: &[usize], of: String, dof: f64) -> Option<super::Test> {
        let b = DVector::from_fn(which.len(), |i, _| self.coefficients[which[i]]);
        let v = DMatrix::from_fn(which.len(), which.len(), |i, j| self.covariance[(which[i], which[j])]);
        let q = b.dot(&Cholesky::new(v)?.solve(&b));
        Some(test(of, q, which.len() as f64, dof))
    }
}

/// F = Q/n on n and ν degrees of freedom.
pub fn test(of: String, q: f64, numerator_dof: f64, dof: f64) -> super::Test {
    let f = (q / numerator_dof).max(0.0);
    super::Test {
        of,
        f,
        numerator_dof,
        denominator_dof: Some(dof).filter(|d| d.is_finite()),
        p_value: f_upper_tail(f, numerator_dof, dof),
    }
}

/// Set-ups in units of their errors.
struct Whitened {
    lower: DMatrix<f64>,
    values: DVector<f64>,
}

impl Whitened {
    fn of(joint: &Joint) -> Option<Whitened> {
        let scale = joint.covariance.diagonal().amax();
        if !(scale > 0.0 && scale.is_finite()) {
            return None;
        }
        let lower = Cholesky::new(&joint.covariance / scale)?.l() * scale.sqrt();
        let values = lower.solve_lower_triangular(&joint.values)?;
        Some(Whitened { lower, values })
    }

    fn fit(&self, design: &DMatrix<f64>) -> Option<Fit> {
        if rank(design) < design.ncols() {
            return None;
        }
        let x = self.lower.solve_lower_triangular(design)?;
        let normal = Cholesky::new(x.tr_mul(&x))?;
        let coefficients = normal.solve(&x.tr_mul(&self.values));
        let left = &self.values - &x * &coefficients;
        Some(Fit { coefficients, covariance: normal.inverse(), q: left.norm_squared(), columns: design.ncols() })
    }
}

pub(super) fn rank(design: &DMatrix<f64>) -> usize {
    spanning(&design.clone().svd(false, false).singular_values).count()
}

/// Places of the singular values that span something.
fn spanning(singular: &DVector<f64>) -> impl Iterator<Item = usize> + '_ {
    let least = RANK_FROM * singular.amax();
    singular.iter().enumerate().filter(move |(_, s)| **s > least).map(|(i, _)| i)
}

/// One number for the degrees of freedom of many differences, their harmonic mean; infinite where none is finite.
pub fn common_dof(each: &[f64]) -> f64 {
    let loss: f64 = each.iter().map(|dof| dof.recip()).sum();
    if loss > 0.0 { each.len() as f64 / loss } else { f64::INFINITY }
}

/// Columns at right angles that span the same.
pub fn basis(design: &DMatrix<f64>) -> DMatrix<f64> {
    let svd = design.clone().svd(true, false);
    let kept: Vec<usize> = spanning(&svd.singular_values).collect();
    svd.u.map_or_else(|| design.clone(), |u| u.select_columns(&kept))
}
