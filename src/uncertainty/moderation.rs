//! The variance of an estimate from few laps, steadied by what a model of the errors expects.
//!
//! Given the sandwich variance s² of a contrast with ν degrees of freedom and the variance m² by the working covariance; gives
//! both brought together. A sandwich of a dozen laps is itself uncertain by a quarter, and where chance makes it small the
//! error is no smaller. The working covariance scatters by a tenth, but its form may be wrong. The true variance is supposed to
//! lie about m² as a scaled inverse χ² with d degrees of freedom does, which leaves
//!
//! ```text
//! σ² = (ν s² + d m²) / (ν + d)   with ν + d degrees of freedom
//! ```
//!
//! Two rules of ours keep the model in its place. It never counts for more than the laps, d ≤ ν. And where the laps scatter
//! more than the model can have it they count alone: what changes from lap to lap, such as a position, shows in them only.
//!
//! Source of the formula: Smyth 2004, Stat. Appl. Genet. Mol. Biol. 3:3, section 4 (there with d estimated from many genes);
//! from memory.

use super::budget::Combined;
use super::cluster::ContrastVariance;
use super::student::{chi_squared_upper_tail, f_upper_tail};

/// Degrees of freedom d that the working covariance counts for at most.
///
/// A choice: in a simulator apart from this program true variances were 0.5, 1.7 and 2.25 times those of the working
/// covariance (no gusts, gusts of 8 s and of 30 s), logarithms of −0.7, 0.5 and 0.8. Their root mean square, 0.69, lies between
/// that of the logarithm of a scaled inverse χ² with 5 degrees of freedom, 0.73, and with 6, 0.65.
pub const MODEL_DOF: f64 = 5.0;
/// Probability of so large a sandwich if the model were true, below which the laps count alone.
const LEAST_PROBABILITY: f64 = 0.05;

impl ContrastVariance {
    /// Standard error and degrees of freedom; NaN where the residuals say nothing, 0 where they are 0.
    ///
    /// The working covariance must have been estimated from the same residuals, so that it has their unit.
    ///
    /// ```
    /// use loopwright::uncertainty::cluster::ContrastVariance;
    /// let few_laps = ContrastVariance { variance: 1.0, dof: 5.0, recovered: 1.0, working: 3.0, prior: 0.0 };
    /// assert_eq!(few_laps.moderated().standard_uncertainty, 2.0_f64.sqrt());
    /// assert_eq!(few_laps.moderated().dof, 10.0);
    /// ```
    pub fn moderated(&self) -> Combined {
        let variance = self.steadied(self.variance, self.working);
        Combined { standard_uncertainty: variance.sqrt(), dof: self.dof + self.model_dof() }
    }

    /// Probability of a sandwich as large as this one or larger if the working covariance is as true as it usually is.
    pub fn probability(&self) -> f64 {
        f_upper_tail(self.variance / self.working, self.dof, MODEL_DOF)
    }

    /// d.
    fn model_dof(&self) -> f64 {
        // Without any scatter the working covariance has no size.
        if self.variance == 0.0 {
            return 0.0;
        }
        let of_so_large_a_sandwich = chi_squared_upper_tail(self.dof * self.variance / self.working, self.dof);
        if of_so_large_a_sandwich < LEAST_PROBABILITY { 0.0 } else { MODEL_DOF.min(self.dof) }
    }

    /// Any variance or covariance by the sandwich and by the working covariance, steadied as that of this contrast is.
    pub fn steadied(&self, sandwich: f64, model: f64) -> f64 {
        let model_dof = self.model_dof();
        (self.dof * sandwich + model_dof * model) / (self.dof + model_dof)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{ChiSquared, Distribution};
    use rand_xoshiro::Xoshiro256PlusPlus;

    fn contrast(variance: f64, dof: f64, working: f64) -> ContrastVariance {
        ContrastVariance { variance, dof, recovered: 1.0, working, prior: 0.0 }
    }

    #[test]
    fn with_many_laps_the_sandwich_stands() {
        let many = contrast(4.0, 5e6, 3.999).moderated();
        assert!((many.standard_uncertainty - 2.0).abs() < 1e-5);
    }

    #[test]
    fn with_few_the_model_counts_for_no_more_than_they_do() {
        // By hand: (1.5 · 4 + 1.5 · 2) / 3, where the full weight would give (6 + 10) / 6.5.
        let few = contrast(4.0, 1.5, 2.0).moderated();
        assert!((few.standard_uncertainty - 3f64.sqrt()).abs() < 1e-12 && few.dof == 3.0);
    }

    #[test]
    fn laps_that_scatter_more_than_the_model_can_have_it_count_alone() {
        // The 95 % point of χ² with 10 degrees of freedom is 18.307 (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
        assert_eq!(contrast(1.830, 10.0, 1.0).moderated().dof, 15.0);
        let above = contrast(1.831, 10.0, 1.0);
        assert_eq!((above.moderated().dof, above.moderated().standard_uncertainty), (10.0, 1.831_f64.sqrt()));
    }

    #[test]
    fn a_sandwich_is_beyond_belief_where_even_a_doubtful_model_does_not_allow_it() {
        // The 99 % point of F with 10 and 5 degrees of freedom is 10.051 (NIST/SEMATECH e-Handbook, 1.3.6.7.3).
        assert!((contrast(10.051, 10.0, 1.0).probability() - 0.01).abs() < 1e-4);
    }

    #[test]
    fn what_residuals_do_not_say_stays_unknown_and_nothing_stays_nothing() {
        assert!(contrast(f64::NAN, f64::NAN, 1.0).moderated().standard_uncertainty.is_nan());
        assert_eq!(contrast(0.0, 3.0, 1.0).moderated().standard_uncertainty, 0.0);
    }

    /// Root mean square of ln(d/χ²) for χ² with d degrees of freedom.
    fn root_mean_square_of_logarithm(dof: f64) -> f64 {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(5);
        let drawn = ChiSquared::new(dof).unwrap();
        let draws = 200_000;
        let sum: f64 = (0..draws).map(|_| (dof / drawn.sample(&mut random)).ln().powi(2)).sum();
        (sum / f64::from(draws)).sqrt()
    }

    #[test]
    fn the_weight_of_the_model_is_what_it_was_found_to_be_worth() {
        let found = ([0.5_f64, 1.7, 2.25].iter().map(|ratio| ratio.ln().powi(2)).sum::<f64>() / 3.0).sqrt();
        let (less, more) = (root_mean_square_of_logarithm(MODEL_DOF), root_mean_square_of_logarithm(MODEL_DOF + 1.0));
        assert!(less > found && found > more, "{less} {found} {more}");
    }
}
