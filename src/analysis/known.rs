//! A reported number before it is written: unknown, exact, or with its two kinds of uncertainty.
//!
//! Given values and standard errors of any venue; gives [`Estimate`]s and tests. It fits nothing.

use crate::compare::contrast::{Assessed, Difference};
use crate::solution::Estimate;
use crate::uncertainty::budget::{Combined, welch_satterthwaite};
use crate::uncertainty::student::coverage_factor;

/// A value with its scatter (type A) and what the measuring chain adds (type B), `None` where that was not asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uncertain {
    pub value: f64,
    pub scatter: Combined,
    pub instrument_se: Option<f64>,
}

impl Uncertain {
    /// The instrument part is taken as known (infinite degrees of freedom), the scatter part has its own; together by
    /// Welch–Satterthwaite (JCGM 100:2008, G.4.1).
    pub fn estimate(&self, confidence: f64) -> Estimate {
        let together = welch_satterthwaite(&[self.scatter, self.instrument()]);
        let half = coverage_factor(confidence, together.dof) * together.standard_uncertainty;
        let known = |x: f64| x.is_finite().then_some(x);
        Estimate {
            value: known(self.value),
            se: known(together.standard_uncertainty),
            low: known(self.value - half),
            high: known(self.value + half),
            dof: known(together.dof),
            scatter_se: known(self.scatter.standard_uncertainty),
            instrument_se: self.instrument_se,
        }
    }

    /// The same in another unit.
    pub fn times(&self, factor: f64) -> Uncertain {
        let size = factor.abs();
        Uncertain {
            value: self.value * factor,
            scatter: Combined { standard_uncertainty: self.scatter.standard_uncertainty * size, ..self.scatter },
            instrument_se: self.instrument_se.map(|u| u * size),
        }
    }

    fn instrument(&self) -> Combined {
        Combined { standard_uncertainty: self.instrument_se.unwrap_or(0.0), dof: f64::INFINITY }
    }
}

/// What is known of a number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    Not,
    /// Held: it has no uncertainty and is not tested.
    Exactly(f64),
    Within(Uncertain),
}

impl Known {
    pub fn estimate(&self, confidence: f64) -> Estimate {
        match self {
            Known::Not => Estimate::default(),
            Known::Exactly(value) => Estimate { value: Some(*value), ..Estimate::default() },
            Known::Within(uncertain) => uncertain.estimate(confidence),
        }
    }

    /// The tests of a difference; what is not known or held exactly has none, which leaves every number of it NaN.
    pub fn assess(&self, confidence: f64, margin: Option<f64>) -> Assessed {
        let nothing = Combined { standard_uncertainty: f64::NAN, dof: f64::NAN };
        let difference = match self {
            Known::Within(u) => Difference { value: u.value, scatter: u.scatter, instrument: u.instrument() },
            Known::Not | Known::Exactly(_) => Difference { value: f64::NAN, scatter: nothing, instrument: nothing },
        };
        difference.assess(confidence, margin)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exact_number_has_no_error_and_no_test() {
        let exact = Known::Exactly(0.0);
        assert_eq!(exact.estimate(0.95), Estimate { value: Some(0.0), ..Estimate::default() });
        assert!(exact.assess(0.95, Some(1.0)).p_value.is_nan());
        assert_eq!(Known::Not.estimate(0.95), Estimate::default());
    }

    #[test]
    fn scatter_and_instruments_combine_as_the_guide_says() {
        // JCGM 100, eq. G.2b by hand: u² = 9 + 16, ν = 625/(81/9).
        let scatter = Combined { standard_uncertainty: 3.0, dof: 9.0 };
        let e = Uncertain { value: 1.0, scatter, instrument_se: Some(4.0) }.estimate(0.95);
        assert_eq!(e.se, Some(5.0));
        assert!((e.dof.unwrap() - 625.0 / 9.0).abs() < 1e-9);
        let alone = Uncertain { value: 1.0, scatter, instrument_se: None }.estimate(0.95);
        assert_eq!((alone.se, alone.instrument_se), (Some(3.0), None));
    }
}
