//! A difference between two set-ups with everything that is said about it.
//!
//! Given the difference with its type A and type B uncertainty; gives interval, p-values, the smallest difference the
//! test could have found, and, over a family of differences, adjusted p-values and verdicts. It never estimates.

use super::equivalence::two_one_sided_p;
use super::multiplicity::holm;
use super::verdict::Verdict;
use crate::uncertainty::budget::{Combined, welch_satterthwaite};
use crate::uncertainty::interval::Interval;
use crate::uncertainty::power::detectable_difference;
use crate::uncertainty::student::{coverage_factor, t_two_sided_p};

/// Power for which the smallest detectable difference is stated.
pub const POWER: f64 = 0.8;

/// One difference before it is judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    pub value: f64,
    /// From the laps (type A).
    pub scatter: Combined,
    /// From the instruments (type B), propagated through the difference so that common errors have cancelled.
    pub instrument: Combined,
}

/// One difference, judged on its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Assessed {
    pub standard_error: f64,
    pub dof: f64,
    pub interval: Interval,
    /// Two-sided, against no difference.
    pub p_value: f64,
    /// Found with [`POWER`] by a two-sided test at 1 − confidence.
    pub detectable: f64,
    /// `None` when no margin was stated.
    pub p_equivalence: Option<f64>,
}

impl Difference {
    /// Combine both kinds of uncertainty (Welch–Satterthwaite) and test. An unknown uncertainty makes everything but
    /// the value unknown.
    ///
    /// ```
    /// use loopwright::compare::contrast::Difference;
    /// use loopwright::uncertainty::budget::Combined;
    /// let difference = Difference {
    ///     value: 2.262157,
    ///     scatter: Combined { standard_uncertainty: 1.0, dof: 9.0 },
    ///     instrument: Combined { standard_uncertainty: 0.0, dof: f64::INFINITY },
    /// };
    /// let assessed = difference.assess(0.95, None);
    /// assert!((assessed.p_value - 0.05).abs() < 1e-6);
    /// assert!(assessed.interval.low.abs() < 1e-6);
    /// ```
    pub fn assess(&self, confidence: f64, margin: Option<f64>) -> Assessed {
        let both = welch_satterthwaite(&[self.scatter, self.instrument]);
        let (standard_error, dof) = (both.standard_uncertainty, both.dof);
        let half = coverage_factor(confidence, dof) * standard_error;
        Assessed {
            standard_error,
            dof,
            interval: Interval { low: self.value - half, high: self.value + half },
            p_value: t_two_sided_p(self.value / standard_error, dof),
            detectable: detectable_difference(standard_error, dof, 1.0 - confidence, POWER),
            p_equivalence: margin.map(|margin| two_one_sided_p(self.value, standard_error, dof, margin)),
        }
    }
}

/// One member of a family after adjustment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    pub p_holm: f64,
    pub verdict: Verdict,
}

/// Holm-adjusted p-values and verdicts of a family of differences, in the same order.
pub fn judge(family: &[Assessed], confidence: f64) -> Vec<Judged> {
    let adjusted = holm(&family.iter().map(|assessed| assessed.p_value).collect::<Vec<f64>>());
    adjusted
        .into_iter()
        .zip(family)
        .map(|(p_holm, assessed)| Judged {
            p_holm,
            verdict: Verdict::decide(p_holm, assessed.p_equivalence, 1.0 - confidence),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn difference(value: f64, scatter: f64) -> Difference {
        Difference {
            value,
            scatter: Combined { standard_uncertainty: scatter, dof: 12.0 },
            instrument: Combined { standard_uncertainty: 0.05, dof: f64::INFINITY },
        }
    }

    #[test]
    fn one_that_stands_alone_may_not_stand_in_a_family() {
        // Student's t on 12 degrees of freedom: 2.3 is beyond the 5 % point 2.179, but not beyond the 1.67 % one, 2.78.
        let one = difference(0.23, 0.0866).assess(0.95, None);
        assert!(one.p_value < 0.05 && one.p_value > 0.017, "{}", one.p_value);
        assert_eq!(judge(&[one], 0.95)[0].verdict, Verdict::Separated);
        let rest = difference(0.01, 0.0866).assess(0.95, None);
        let family = judge(&[one, rest, rest], 0.95);
        assert!(family.iter().all(|judged| judged.verdict == Verdict::NotSeparated));
    }

    #[test]
    fn a_margin_turns_a_small_sharp_difference_into_equivalence_but_not_a_blurred_one() {
        // A difference of 0.1 W against 1 W: twelve standard errors inside in the first case, half of one in the second.
        let sharp = difference(0.1, 0.05).assess(0.95, Some(1.0));
        let blurred = difference(0.1, 2.0).assess(0.95, Some(1.0));
        let verdicts: Vec<Verdict> = judge(&[sharp, blurred], 0.95).iter().map(|judged| judged.verdict).collect();
        assert_eq!(verdicts, [Verdict::Equivalent, Verdict::NotSeparated]);
        assert!(blurred.detectable > 5.0);
    }

    #[test]
    fn an_unknown_standard_error_leaves_everything_unknown_and_nothing_separated() {
        let unknown = difference(5.0, f64::NAN).assess(0.95, Some(1.0));
        assert!(unknown.p_value.is_nan() && unknown.interval.low.is_nan() && unknown.detectable.is_nan());
        assert_eq!(judge(&[unknown], 0.95)[0].verdict, Verdict::NotSeparated);
    }
}
