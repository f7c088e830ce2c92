//! The three verdicts on a pair of set-ups.
//!
//! Given p-values and the level; gives one of three words. "No difference" is not among them, because a test that saw
//! nothing has not shown that there is nothing.

use std::fmt;

/// What can be said of two set-ups.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The difference is real at the stated confidence.
    Separated,
    /// The test could not tell; it may have been too weak.
    NotSeparated,
    /// The difference, whatever it is, lies within what the user calls negligible.
    Equivalent,
}

impl Verdict {
    /// Decide at level `alpha` = 1 − confidence.
    ///
    /// `p_difference` is the (adjusted) two-sided p-value, `p_equivalence` that of the two one-sided tests when a
    /// margin was stated. A difference that is both real and negligible is called equivalent, because the margin is
    /// the user's answer to "does it matter"; the p-value beside the verdict still shows that it is real. A p-value
    /// that is not a number decides nothing.
    pub fn decide(p_difference: f64, p_equivalence: Option<f64>, alpha: f64) -> Verdict {
        if p_equivalence.is_some_and(|p| p < alpha) {
            Verdict::Equivalent
        } else if p_difference < alpha {
            Verdict::Separated
        } else {
            Verdict::NotSeparated
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Verdict::Separated => "separated",
            Verdict::NotSeparated => "not separated",
            Verdict::Equivalent => "equivalent",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_are_those_of_the_result_schema() {
        // Design: three verdicts only.
        assert_eq!(Verdict::decide(0.01, None, 0.05).to_string(), "separated");
        assert_eq!(Verdict::decide(0.20, None, 0.05).to_string(), "not separated");
        assert_eq!(Verdict::decide(0.20, Some(0.01), 0.05).to_string(), "equivalent");
    }

    #[test]
    fn without_evidence_nothing_is_separated_or_equivalent() {
        assert_eq!(Verdict::decide(f64::NAN, Some(f64::NAN), 0.05), Verdict::NotSeparated);
    }

    #[test]
    fn a_real_but_negligible_difference_is_equivalent() {
        assert_eq!(Verdict::decide(1e-6, Some(1e-3), 0.05), Verdict::Equivalent);
        assert_eq!(Verdict::decide(1e-6, Some(0.4), 0.05), Verdict::Separated);
    }
}
