//! The working covariance of the errors of laps: what is supposed about them when a covariance is corrected for the
//! smoothness of residuals.
//!
//! Given the correlation between steps of a lap and the variance of each lap; gives the matrix of one lap. `moments`
//! estimates both. A wrong working covariance costs the sandwich accuracy of second order only, because the errors
//! themselves enter it through the residuals; `moderation` takes it at its word. It never enters the parameters.
//!
//! # Model
//!
//! ```text
//! W_g = v_c(g) W₀,   W₀ Toeplitz; estimated as W₀_ij = φ^|i−j|
//! ```
//!
//! Gusts last seconds and so do steps, hence φ. At speed a gust weighs more, hence a variance for every class.

use nalgebra::DMatrix;

/// What is supposed about the errors before step means are taken out.
#[derive(Debug, Clone, PartialEq)]
pub struct Working {
    /// Correlation of steps of a lap that are 0, 1, 2… apart; the first is 1, those beyond the end are 0.
    pub correlation: Vec<f64>,
    /// Variance of a row of each lap, any common unit; in the unit of the rows [`super::cluster::ClusterRobust::working`]
    /// is the covariance that the model expects.
    pub variance: Vec<f64>,
}

impl Working {
    /// Independent rows of unit variance.
    ///
    /// ```
    /// let working = loopwright::uncertainty::working::Working::independent(2);
    /// assert_eq!((working.correlation, working.variance), (vec![1.0], vec![1.0, 1.0]));
    /// ```
    pub fn independent(laps: usize) -> Self {
        Working { correlation: vec![1.0], variance: vec![1.0; laps] }
    }

    /// Correlation φ^l at a distance of l steps, −1 < φ < 1, and a variance for each lap.
    pub fn autoregressive(phi: f64, steps: usize, variance: Vec<f64>) -> Self {
        let mut correlation = vec![1.0];
        for lag in 1..steps.max(1) {
            correlation.push(correlation[lag - 1] * phi);
        }
        Working { correlation, variance }
    }

    /// W₀ for a lap of so many steps.
    pub(super) fn correlation_matrix(&self, steps: usize) -> DMatrix<f64> {
        DMatrix::from_fn(steps, steps, |i, j| self.correlation.get(i.abs_diff(j)).copied().unwrap_or(0.0))
    }
}
