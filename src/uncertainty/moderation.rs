//! The variance of an estimate from few laps, steadied by what a model of the errors expects.
//!
//! Given the sandwich variance s² of a contrast with ν degrees of freedom and the variance m² by the working covariance; gives
//! both brought together. A sandwich of a dozen laps is itself uncertain by a quarter, and an error hardly depends on whether
//! chance reports a small or a large one; the working covariance scatters by a tenth, but its form may be wrong. The true
//! variance is supposed to lie about m² as a scaled inverse χ² with d degrees of freedom does, which leaves what is below. The
//! model never counts for more than the laps do: what it knows nothing of, such as a position that changes from lap to lap, shows
//! in them alone.
//!
//! ```text
//! σ² = (ν s² + d m²) / (ν + d)   with ν + d degrees of freedom
//! ```
//!
//! Source: Smyth 2004, Stat. Appl. Genet. Mol. Biol. 3:3, section 4 (there with d estimated from many genes); from memory.

use super::budget::Combined;
use super::cluster::{ClusterRobust, ContrastVariance};
use nalgebra::DMatrix;

/// Degrees of freedom d that the working covariance counts for at most.
///
/// In a simulator apart from this program true variances were 0.5, 1.7 and 2.25 times those of the working covariance (no
/// gusts, gusts of 8 s and of 30 s): logarithms of −0.7, 0.5 and 0.8, root mean square 0.7. That of the logarithm of an
/// inverse χ² with 5 degrees of freedom is the root of ψ′(2.5), 0.7.
pub const MODEL_DOF: f64 = 5.0;

impl ContrastVariance {
    /// Standard error and degrees of freedom; NaN where the residuals say nothing, 0 where they are 0.
    ///
    /// ```
    /// use loopwright::uncertainty::cluster::ContrastVariance;
    /// let few_laps = ContrastVariance { variance: 1.0, dof: 5.0, recovered: 1.0, working: 3.0 };
    /// assert_eq!(few_laps.moderated().standard_uncertainty, 2.0_f64.sqrt());
    /// assert_eq!(few_laps.moderated().dof, 10.0);
    /// ```
    pub fn moderated(&self) -> Combined {
        // Without any scatter the working covariance has no size.
        let variance = if self.variance == 0.0 { 0.0 } else { steadied(self.dof, self.variance, self.working) };
        Combined { standard_uncertainty: variance.sqrt(), dof: self.dof + weight(self.dof) }
    }
}

impl ClusterRobust {
    /// Covariance of all parameters, steadied as a contrast with so many degrees of freedom is.
    pub fn moderated_covariance(&self, dof: f64) -> DMatrix<f64> {
        self.covariance.zip_map(&self.working, |sandwich, model| steadied(dof, sandwich, model))
    }
}

/// d for a sandwich of ν degrees of freedom.
fn weight(dof: f64) -> f64 {
    MODEL_DOF.min(dof)
}

fn steadied(dof: f64, sandwich: f64, model: f64) -> f64 {
    let weight = weight(dof);
    (dof * sandwich + weight * model) / (dof + weight)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contrast(variance: f64, dof: f64, working: f64) -> ContrastVariance {
        ContrastVariance { variance, dof, recovered: 1.0, working }
    }

    #[test]
    fn with_many_laps_the_sandwich_stands() {
        let many = contrast(4.0, 5e6, 1.0).moderated();
        assert!((many.standard_uncertainty - 2.0).abs() < 1e-5);
    }

    #[test]
    fn with_few_the_model_counts_for_no_more_than_they_do() {
        // By hand: (1.5 · 4 + 1.5 · 2) / 3, where the full weight would give (6 + 10) / 6.5.
        let few = contrast(4.0, 1.5, 2.0).moderated();
        assert!((few.standard_uncertainty - 3f64.sqrt()).abs() < 1e-12 && few.dof == 3.0);
    }

    #[test]
    fn what_residuals_do_not_say_stays_unknown_and_nothing_stays_nothing() {
        assert!(contrast(f64::NAN, f64::NAN, 1.0).moderated().standard_uncertainty.is_nan());
        assert_eq!(contrast(0.0, 3.0, 1.0).moderated().standard_uncertainty, 0.0);
    }

    /// ψ′(x) by its series, the rest after n terms taken as the integral: 1/(n + x) and half the next term.
    fn trigamma(x: f64) -> f64 {
        let n = 1000;
        let rest = f64::from(n) + x;
        (0..n).map(|k| (f64::from(k) + x).powi(-2)).sum::<f64>() + 1.0 / rest + 0.5 / (rest * rest)
    }

    #[test]
    fn the_weight_of_the_model_is_what_it_was_found_to_be_worth() {
        assert!((trigamma(1.0) - std::f64::consts::PI.powi(2) / 6.0).abs() < 1e-9);
        let rms = ([0.5_f64, 1.7, 2.25].iter().map(|ratio| ratio.ln().powi(2)).sum::<f64>() / 3.0).sqrt();
        let dof_for = |dof: f64| (trigamma(0.5 * dof).sqrt() - rms).abs();
        assert!(dof_for(MODEL_DOF) < dof_for(MODEL_DOF - 1.0) && dof_for(MODEL_DOF) < dof_for(MODEL_DOF + 1.0));
    }
}
