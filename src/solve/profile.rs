//! Elimination of the common profile: the height gained in each step is a nuisance shared by all laps.
//!
//! Given sums over laps; takes out what the profile can explain. Without a survey that is everything but the mean
//! over the lap, because the steps of a closed loop add up to zero. With a survey the profile is known to its standard
//! deviation, so only part is taken out:
//!
//! ```text
//! cov(ε + p) = σ² I + 11ᵀ ⊗ V,   V = sd² (2 I − S − Sᵀ)   (differences of independent heights round a loop)
//! ⇒ weight   = I − (11ᵀ/n) ⊗ K,  K = (n V/σ²)(I + n V/σ²)⁻¹
//! ```
//!
//! (Woodbury). Without a survey K = I − 11ᵀ/J. It never builds a matrix of all rows.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

/// What is absorbed by the profile.
#[derive(Debug, Clone)]
pub struct Absorption {
    /// K, steps × steps, symmetric; eigenvalues between 0 and 1.
    pub share: DMatrix<f64>,
    /// I − (I − K)^½: what has to be taken from each lap to make rows independent.
    pub half: DMatrix<f64>,
    pub has_survey: bool,
}

impl Absorption {
    /// The profile is free: everything but the mean over the lap is absorbed.
    pub fn free(steps: usize) -> Absorption {
        let share = DMatrix::identity(steps, steps) - DMatrix::from_element(steps, steps, 1.0 / steps as f64);
        Absorption { half: share.clone(), share, has_survey: false }
    }

    /// The profile was surveyed: heights have a standard deviation of `survey_sd_m`, a row of the account one of
    /// `row_sd_m`, and `laps` is the sum of lap weights.
    pub fn surveyed(steps: usize, survey_sd_m: f64, row_sd_m: f64, laps: f64) -> Absorption {
        let ratio = laps * (survey_sd_m / row_sd_m).powi(2);
        let v = DMatrix::from_fn(steps, steps, |i, j| {
            let apart = (i + steps - j) % steps;
            ratio
                * if apart == 0 {
                    2.0
                } else if apart == 1 || apart == steps - 1 {
                    -1.0
                } else {
                    0.0
                }
        });
        let eigen = SymmetricEigen::new(v);
        let rebuild = |f: &dyn Fn(f64) -> f64| {
            let scaled = &eigen.eigenvectors * DMatrix::from_diagonal(&eigen.eigenvalues.map(|l| f(l.max(0.0))));
            &scaled * eigen.eigenvectors.transpose()
        };
        Absorption {
            share: rebuild(&|l| l / (1.0 + l)),
            half: rebuild(&|l| 1.0 - (1.0 / (1.0 + l)).sqrt()),
            has_survey: true,
        }
    }

    /// K v for the sum of one column over laps.
    pub fn absorb(&self, sum: &DVector<f64>) -> DVector<f64> {
        if self.has_survey { &self.share * sum } else { sum.add_scalar(-sum.mean()) }
    }

    /// I − (I − K)^½ times v.
    pub fn absorb_half(&self, sum: &DVector<f64>) -> DVector<f64> {
        if self.has_survey { &self.half * sum } else { sum.add_scalar(-sum.mean()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_survey_that_says_nothing_is_no_survey_and_an_exact_one_absorbs_nothing() {
        let free = Absorption::free(12);
        // The longest wave round twelve steps has an eigenvalue of 0.27·4e5, so 1e-5 of it is left.
        let loose = Absorption::surveyed(12, 10.0, 0.05, 10.0);
        assert!((free.share - loose.share).abs().max() < 2e-5);
        let exact = Absorption::surveyed(12, 1e-6, 0.05, 10.0);
        assert!(exact.share.abs().max() < 1e-6);
    }

    #[test]
    fn the_half_absorption_applied_twice_is_the_whole() {
        // (I − H)² = I − K by definition.
        let a = Absorption::surveyed(12, 0.02, 0.05, 10.0);
        let eye = DMatrix::<f64>::identity(12, 12);
        let twice = (&eye - &a.half) * (&eye - &a.half);
        assert!((twice - (&eye - &a.share)).abs().max() < 1e-10);
    }
}
