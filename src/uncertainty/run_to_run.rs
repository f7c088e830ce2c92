//! What is known of a difference once runs were held against each other, and of what changes between them.
//!
//! Given distributions that `replication` has mixed; parts them into laps and runs, and says whether the runs told anything.

use super::budget::Combined;
use super::mixture::Mixture;

/// A contrast of set-ups.
#[derive(Debug, Clone, PartialEq)]
pub struct Contrast {
    pub distribution: Mixture,
    /// By laps and priors alone, averaged over τ.
    pub within: Combined,
    /// Standard deviation by what changes from run to run, averaged over τ.
    pub between_sd: f64,
}

impl Contrast {
    /// Laps and priors, and what changes from run to run, as two parts that Welch and Satterthwaite's formula puts together to
    /// the t distribution of [`Mixture::as_student`]. The second is told by runs of the same set-up, so the first keeps its own
    /// degrees of freedom.
    pub fn parts(&self, confidence: f64) -> [Combined; 2] {
        let whole = self.distribution.as_student(confidence);
        let (all, laps) = (whole.standard_uncertainty.powi(2), self.within.standard_uncertainty.powi(2));
        // A NaN stays what it is.
        if all <= laps {
            return self.shares_of(whole);
        }
        let between = all - laps;
        let loss = all * all / whole.dof - laps * laps / self.within.dof;
        let dof = if loss > 0.0 { between * between / loss } else { f64::INFINITY };
        [self.within, Combined { standard_uncertainty: between.sqrt(), dof }]
    }
}

impl Contrast {
    /// The whole in the shares of both variances. Where what may change between runs is small beside the laps, its long tails
    /// make a t distribution of fewer degrees of freedom and a smaller scale than that of the laps, and a difference of squares
    /// would leave nothing between runs.
    fn shares_of(&self, whole: Combined) -> [Combined; 2] {
        let (laps, between) = (self.within.standard_uncertainty.powi(2), self.between_sd.powi(2));
        let share = between / (laps + between).max(f64::MIN_POSITIVE);
        let of_laps = whole.standard_uncertainty * (1.0 - share).sqrt();
        let of_runs = Combined { standard_uncertainty: whole.standard_uncertainty * share.sqrt(), dof: f64::INFINITY };
        [Combined { standard_uncertainty: of_laps, dof: whole.dof * (1.0 - share).powi(2) }, of_runs]
    }
}

/// What is known of τ, as a fraction of the resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunToRun {
    pub median: f64,
    pub low: f64,
    pub high: f64,
    /// Runs less set-ups: how often anything was repeated.
    pub repeats: usize,
    /// Width of the middle 68 % of τ over that of its prior, at most 1.
    pub left_of_prior: f64,
}

/// Above this share of the prior's width the runs have told little about τ (a choice; two repeats leave about so much).
const RESTS_ON_PRIOR_FROM: f64 = 0.8;

impl RunToRun {
    /// Whether τ, and with it every interval, is what was supposed and not what was seen.
    pub fn rests_on_prior(&self) -> bool {
        self.repeats == 0 || self.left_of_prior > RESTS_ON_PRIOR_FROM
    }
}
