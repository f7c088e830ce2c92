//! Is a difference small enough not to matter: two one-sided tests against a stated margin.
//!
//! Given a difference, its standard error, degrees of freedom and the margin; gives one p-value. What is negligible is
//! for the user to say.

use crate::uncertainty::student::t_upper_tail;

/// p-value of the claim |difference| < margin: the larger of the two one-sided p-values.
///
/// P(T > (margin − |d|)/se) with Student's t, which is the larger one because the nearer bound is the harder. Below α
/// exactly when the 1 − 2α interval lies within ±margin. NaN when an argument is unknown or the margin not positive.
/// Source: Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657.
///
/// ```
/// // A difference of 0.2 ± 0.3 W on 10 degrees of freedom, 1 W negligible: t = 0.8/0.3.
/// let p = loopwright::compare::equivalence::two_one_sided_p(0.2, 0.3, 10.0, 1.0);
/// assert!((p - 0.011_813_7).abs() < 1e-6);
/// ```
pub fn two_one_sided_p(difference: f64, standard_error: f64, dof: f64, margin: f64) -> f64 {
    if !(margin > 0.0 && standard_error > 0.0) {
        return f64::NAN;
    }
    t_upper_tail((margin - difference.abs()) / standard_error, dof)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::student::coverage_factor;

    #[test]
    fn the_claim_holds_at_five_percent_exactly_when_the_90_percent_interval_fits_into_the_margin() {
        // Schuirmann 1987: both formulations agree; the interval here just touches the margin.
        let (difference, standard_error, dof) = (-0.4, 0.25, 7.3);
        let margin = 0.4 + coverage_factor(0.90, dof) * standard_error;
        assert!((two_one_sided_p(difference, standard_error, dof, margin) - 0.05).abs() < 1e-9);
    }

    #[test]
    fn a_difference_at_the_margin_is_a_coin_toss_and_beyond_it_hopeless() {
        assert!((two_one_sided_p(1.0, 0.1, 5.0, 1.0) - 0.5).abs() < 1e-12);
        assert!(two_one_sided_p(2.0, 0.1, 5.0, 1.0) > 0.999);
    }

    #[test]
    fn without_margin_or_error_there_is_no_p_value() {
        assert!(two_one_sided_p(0.0, 0.1, 5.0, 0.0).is_nan());
        assert!(two_one_sided_p(0.0, 0.0, 5.0, 1.0).is_nan());
        assert!(two_one_sided_p(f64::NAN, 0.1, 5.0, 1.0).is_nan());
    }
}
