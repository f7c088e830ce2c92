//! A reported number before it is written: unknown, exact, or with its two kinds of uncertainty.
//!
//! Given values and standard errors of any venue; gives [`Estimate`]s and tests. It fits nothing.

use crate::compare::contrast::{Assessed, Difference};
use crate::solution::Estimate;
use crate::uncertainty::budget::{Combined, welch_satterthwaite};
use crate::uncertainty::student::coverage_factor;

/// A value with the kinds of its uncertainty; `None` where one does not apply or was not asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uncertain {
    pub value: f64,
    /// Of the laps (type A).
    pub scatter: Combined,
    /// What the rides leave to what was expected.
    pub prior_se: Option<f64>,
    /// What changes from run to run.
    pub run_to_run: Option<Combined>,
    /// What the instruments add (type B).
    pub instrument_se: Option<f64>,
}

impl Uncertain {
    /// Of laps alone.
    pub fn of_laps(value: f64, scatter: Combined) -> Uncertain {
        Uncertain { value, scatter, prior_se: None, run_to_run: None, instrument_se: None }
    }

    /// Priors and instruments are taken as known (infinite degrees of freedom), the others have their own; together by
    /// Welch–Satterthwaite (JCGM 100:2008, G.4.1).
    pub fn estimate(&self, confidence: f64) -> Estimate {
        let together = welch_satterthwaite(&[self.of_rides(), self.instrument()]);
        let half = coverage_factor(confidence, together.dof) * together.standard_uncertainty;
        let known = |x: f64| x.is_finite().then_some(x);
        Estimate {
            value: known(self.value),
            se: known(together.standard_uncertainty),
            low: known(self.value - half),
            high: known(self.value + half),
            dof: known(together.dof),
            scatter_se: known(self.scatter.standard_uncertainty),
            prior_se: self.prior_se.and_then(known),
            run_to_run_se: self.run_to_run.and_then(|r| known(r.standard_uncertainty)),
            instrument_se: self.instrument_se,
        }
    }

    /// The same in another unit.
    pub fn times(&self, factor: f64) -> Uncertain {
        let size = factor.abs();
        Uncertain {
            value: self.value * factor,
            scatter: Combined { standard_uncertainty: self.scatter.standard_uncertainty * size, ..self.scatter },
            prior_se: self.prior_se.map(|u| u * size),
            run_to_run: self.run_to_run.map(|r| Combined { standard_uncertainty: r.standard_uncertainty * size, ..r }),
            instrument_se: self.instrument_se.map(|u| u * size),
        }
    }

    /// All but the instruments.
    fn of_rides(&self) -> Combined {
        let nothing = Combined { standard_uncertainty: 0.0, dof: f64::INFINITY };
        let prior = Combined { standard_uncertainty: self.prior_se.unwrap_or(0.0), dof: f64::INFINITY };
        welch_satterthwaite(&[self.scatter, prior, self.run_to_run.unwrap_or(nothing)])
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
            Known::Within(u) => Difference { value: u.value, scatter: u.of_rides(), instrument: u.instrument() },
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
        let e = Uncertain { instrument_se: Some(4.0), ..Uncertain::of_laps(1.0, scatter) }.estimate(0.95);
        assert_eq!(e.se, Some(5.0));
        assert!((e.dof.unwrap() - 625.0 / 9.0).abs() < 1e-9);
        let alone = Uncertain::of_laps(1.0, scatter).estimate(0.95);
        assert_eq!((alone.se, alone.instrument_se), (Some(3.0), None));
    }
}
