//! Elimination of the common profile: the height gained in each step is a nuisance shared by all laps that show it.
//!
//! Given sums over laps, and the sum N_j of the weights of the laps that show a step; gives the height gained in each step that
//! explains them best. The steps of a closed loop add up to zero, so with D = diag(1/N)
//!
//! ```text
//! p = K Σ,   K = D − D 1 1ᵀ D / (1ᵀ D 1)
//! ```
//!
//! where Σ_j sums the weighted rows of a step; a step that no lap shows takes no part. With a survey heights are known to their
//! standard deviation,
//!
//! ```text
//! cov(ε + p) = σ² I + M V Mᵀ,   V = sd² (2 I − S − Sᵀ)   (differences of independent heights round a loop)
//! N^½ V N^½ / σ² = Q Λ Qᵀ   ⇒   K = N^−½ Q Λ/(1 + Λ) Qᵀ N^−½
//! ```
//!
//! (Woodbury; M puts a step into each lap that shows it). It never builds a matrix of all rows.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

/// What is absorbed by the profile.
#[derive(Debug, Clone)]
pub enum Absorption {
    /// The profile is free: 1/N of each step, 0 for a step that no lap shows.
    Free { inverse: DVector<f64> },
    Surveyed {
        /// K, steps × steps, symmetric.
        whole: DMatrix<f64>,
        /// N^−½ Q (1 − (1 + Λ)^−½) Qᵀ N^−½: what has to be taken from each lap to make rows independent.
        half: DMatrix<f64>,
    },
}

/// 1/N, 0 where nothing is shown.
fn inverse(shown: &DVector<f64>) -> DVector<f64> {
    shown.map(|n| if n > 0.0 { 1.0 / n } else { 0.0 })
}

impl Absorption {
    /// The profile is free; `shown` is the sum of the weights of the laps that show each step.
    pub fn free(shown: &DVector<f64>) -> Absorption {
        Absorption::Free { inverse: inverse(shown) }
    }

    /// The profile was surveyed: heights have a standard deviation of `survey_sd_m` and a row of the account one of `row_sd_m`.
    pub fn surveyed(shown: &DVector<f64>, survey_sd_m: f64, row_sd_m: f64) -> Absorption {
        let steps = shown.len();
        let ratio = (survey_sd_m / row_sd_m).powi(2);
        let root = shown.map(f64::sqrt);
        let v = DMatrix::from_fn(steps, steps, |i, j| {
            let apart = (i + steps - j) % steps;
            let of_heights = if apart == 0 {
                2.0
            } else if apart == 1 || apart == steps - 1 {
                -1.0
            } else {
                0.0
            };
            ratio * root[i] * root[j] * of_heights
        });
        let eigen = SymmetricEigen::new(v);
        let back = DMatrix::from_diagonal(&inverse(&root)) * &eigen.eigenvectors;
        let rebuild = |f: &dyn Fn(f64) -> f64| {
            &back * DMatrix::from_diagonal(&eigen.eigenvalues.map(|l| f(l.max(0.0)))) * back.transpose()
        };
        Absorption::Surveyed { whole: rebuild(&|l| l / (1.0 + l)), half: rebuild(&|l| 1.0 - (1.0 / (1.0 + l)).sqrt()) }
    }

    /// The profile of one column, from its sum over laps.
    pub fn profile(&self, sum: &DVector<f64>) -> DVector<f64> {
        match self {
            Absorption::Free { inverse } => {
                let own = sum.component_mul(inverse);
                let level = own.sum() / inverse.sum().max(f64::MIN_POSITIVE);
                own - inverse * level
            }
            Absorption::Surveyed { whole, .. } => whole * sum,
        }
    }

    /// What has to be taken from each row that shows a step to make rows independent.
    pub fn half_profile(&self, sum: &DVector<f64>) -> DVector<f64> {
        match self {
            Absorption::Free { .. } => self.profile(sum),
            Absorption::Surveyed { half, .. } => half * sum,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// K column by column.
    fn whole(a: &Absorption, steps: usize) -> DMatrix<f64> {
        let unit = |j: usize| a.profile(&DVector::from_fn(steps, |i, _| if i == j { 1.0 } else { 0.0 }));
        DMatrix::from_columns(&(0..steps).map(unit).collect::<Vec<_>>())
    }

    fn shown() -> DVector<f64> {
        DVector::from_fn(12, |j, _| 6.0 + (j % 5) as f64)
    }

    #[test]
    fn the_free_profile_is_that_of_least_squares_with_steps_that_add_up_to_zero() {
        // Least squares of Σ N_j (ȳ_j − p_j)² with Σ p_j = 0, by its bordered normal equations.
        let n = shown();
        let sum = DVector::from_fn(12, |j, _| (j as f64 * 0.7).sin() + 0.3);
        let mut bordered = DMatrix::zeros(13, 13);
        let mut right = DVector::zeros(13);
        for j in 0..12 {
            bordered[(j, j)] = n[j];
            bordered[(j, 12)] = 1.0;
            bordered[(12, j)] = 1.0;
            right[j] = sum[j];
        }
        let expected = bordered.lu().solve(&right).unwrap();
        let found = Absorption::free(&n).profile(&sum);
        assert!((found - expected.rows(0, 12)).amax() < 1e-12);
    }

    #[test]
    fn a_step_that_no_lap_shows_takes_no_part() {
        let mut n = shown();
        n[4] = 0.0;
        let mut sum = DVector::from_element(12, 0.2);
        sum[4] = 0.0;
        let found = Absorption::free(&n).profile(&sum);
        assert!(found[4] == 0.0 && found.sum().abs() < 1e-12);
    }

    #[test]
    fn a_survey_that_says_nothing_is_no_survey_and_an_exact_one_absorbs_nothing() {
        let n = shown();
        let free = whole(&Absorption::free(&n), 12);
        // The longest wave round twelve steps has an eigenvalue of 0.27·4e5 a lap, so 1e-5 of it is left.
        let loose = whole(&Absorption::surveyed(&n, 10.0, 0.05), 12);
        assert!((free - loose).abs().max() < 2e-5);
        let exact = whole(&Absorption::surveyed(&n, 1e-6, 0.05), 12);
        assert!(exact.abs().max() < 1e-6);
    }

    #[test]
    fn taking_half_from_each_row_makes_rows_independent() {
        // With H for half and M the rows that show steps, (I − M H Mᵀ)² = I − M K Mᵀ = (I + M V Mᵀ/σ²)⁻¹ by definition;
        // MᵀM = N, so that 2 H − H N H = K.
        let n = shown();
        let Absorption::Surveyed { whole, half } = Absorption::surveyed(&n, 0.02, 0.05) else { panic!() };
        let twice = &half * 2.0 - &half * DMatrix::from_diagonal(&n) * &half;
        assert!((twice - whole).abs().max() < 1e-10);
    }
}
