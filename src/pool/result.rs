//! The pooled result as it is written to `pool.json`: every number in the unit of its key, an unknown as `null`.
//!
//! Given nothing; [`super::pool`] fills it, the report reads it.

use super::choose::{Agreed, PowerLeftOut};
use super::day::{Day, SetupName};
use super::family::Seen;
use super::told::{Measure, Told};
use crate::factor::{Curve, Test};
use crate::solution::{Estimate, FindingResult, ReferenceConditions};
use crate::uncertainty::student::coverage_factor;
use serde::Serialize;

/// Version of the schema below.
pub const SCHEMA: u32 = 1;
/// What tells a pooled result from a solution.
pub const KIND: &str = "pool";

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PooledResult {
    pub schema: u32,
    pub kind: String,
    pub loopwright: String,
    pub confidence: f64,
    pub baseline: String,
    /// "shared" or "separate": whether errors of the instruments are one and the same on all days.
    pub instruments: String,
    /// Of the first result; watts of results with another one are left out.
    pub reference: ReferenceConditions,
    pub setups: Vec<SetupName>,
    pub days: Vec<PooledDay>,
    pub contrasts: Vec<PooledContrast>,
    /// The fastest set-up and the next best, with p adjusted over all pairs; `null` where one of them is the baseline or no two
    /// results have both.
    pub best_two: Option<PooledContrast>,
    /// Effects of factors that two results or more have.
    pub effects: Vec<PooledEffect>,
    /// Over quantities that two results or more have varied, at three levels or more together.
    pub curves: Vec<PooledCurve>,
    /// Differences that one result alone has.
    pub single: Vec<SingleContrast>,
    pub findings: Vec<FindingResult>,
}

impl PooledResult {
    /// Label of a set-up, or its id.
    pub fn name_of(&self, id: &str) -> String {
        let found = self.setups.iter().find(|s| s.id == id && !s.label.trim().is_empty());
        found.map_or(id, |s| s.label.as_str()).to_string()
    }
}

impl PooledResult {
    /// Days of riding: results of one date, such as loop and rollers of one morning, are one day. A result without a date
    /// is a day of its own file.
    pub fn days_of_riding(&self, results: impl Iterator<Item = usize>) -> usize {
        let days: std::collections::BTreeSet<&str> = results
            .filter_map(|place| self.days.get(place.checked_sub(1)?))
            .map(|day| day.date.as_deref().unwrap_or(&day.file))
            .collect();
        days.len()
    }
}

/// A result that was pooled.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PooledDay {
    pub name: String,
    pub file: String,
    pub sha256: String,
    pub title: String,
    pub date: Option<String>,
    pub venue: String,
    pub baseline: String,
    /// Findings of the result itself, carried along: a mean is no better than its parts.
    pub findings: Vec<FindingResult>,
}

impl PooledDay {
    pub fn of(day: &Day, name: String) -> PooledDay {
        PooledDay {
            name,
            file: day.file.clone(),
            sha256: day.sha256.clone(),
            title: day.title.clone(),
            date: day.date.clone(),
            venue: day.venue.clone(),
            baseline: day.baseline.clone(),
            findings: day.findings.clone(),
        }
    }
}

/// One difference over the days that have it.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct PooledContrast {
    pub setup: String,
    pub baseline: String,
    /// `null` where fewer than two days have measured it.
    pub crr: Option<PooledQuantity>,
    pub cda_m2: Option<PooledQuantity>,
    pub power_w: Option<PooledQuantity>,
    /// The quantity that is tested: "power_w", or "crr" or "cda_m2" where watts are not pooled.
    pub tested: Option<String>,
    pub p_value: Option<f64>,
    /// Adjusted over the pooled differences.
    pub p_holm: Option<f64>,
    /// Smallest difference found with 80 % power, in the unit of what is tested.
    pub detectable: Option<f64>,
    pub p_equivalence: Option<f64>,
    pub verdict: String,
    pub days: Vec<DayContrast>,
}

/// One quantity over several days.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct PooledQuantity {
    /// The value to report. `scatter_se` is what the days' own errors (and, where they disagree, the spread between them)
    /// leave; `instrument_se` what all days share.
    pub together: Estimate,
    /// Whether the days differ by no more than their own errors allow, at the level of the confidence.
    pub agree: bool,
    /// Cochran's Q, its degrees of freedom, and the chance of so large a Q without disagreement.
    pub q: Option<f64>,
    pub q_dof: Option<f64>,
    pub p_value: Option<f64>,
    /// √(Q/(k − 1)) and the standard error of the mean blown up by it where it exceeds one (own errors alone).
    pub birge_ratio: Option<f64>,
    pub birge_se: Option<f64>,
    pub i_squared: Option<f64>,
    /// Standard deviation between days (DerSimonian–Laird).
    pub between_sd: Option<f64>,
    /// The mean when the days agree, and the mean of DerSimonian–Laird; both with the shared error put back.
    pub common: Estimate,
    pub random: Estimate,
    pub days: Vec<DayWeight>,
}

/// What a day counts in a mean.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct DayWeight {
    /// From 1.
    pub day: usize,
    /// Share in the reported mean.
    pub weight: f64,
    pub own_se: f64,
    pub shared_se: f64,
}

/// A difference as one day has it, signs turned where its baseline is another.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct DayContrast {
    /// From 1.
    pub day: usize,
    /// The day's own result has the opposite sign.
    pub turned: bool,
    pub crr: Estimate,
    pub cda_m2: Estimate,
    pub power_w: Estimate,
    /// Why the watts are not pooled: "other reference" or "rolling only".
    pub power_left_out: Option<String>,
}

impl DayContrast {
    pub fn of(seen: &Seen, left_out: Option<PowerLeftOut>, agreed: &Agreed) -> DayContrast {
        let estimate = |told: &Told| match told {
            Told::Unknown => Estimate::default(),
            Told::Shared => Estimate { value: Some(0.0), ..Estimate::default() },
            Told::Measured(m) => at_confidence(m, agreed.confidence),
        };
        DayContrast {
            day: seen.day + 1,
            turned: seen.turned,
            crr: estimate(&seen.told.crr),
            cda_m2: estimate(&seen.told.cda_m2),
            power_w: estimate(&seen.told.power_w),
            power_left_out: left_out.map(|l| l.word().to_string()),
        }
    }
}

fn at_confidence(m: &Measure, confidence: f64) -> Estimate {
    let half = coverage_factor(confidence, m.dof) * m.se;
    Estimate {
        value: Some(m.value),
        se: Some(m.se),
        low: Some(m.value - half),
        high: Some(m.value + half),
        dof: Some(m.dof).filter(|d| d.is_finite()),
        scatter_se: m.scatter_se,
        prior_se: m.prior_se,
        run_to_run_se: m.run_to_run_se,
        instrument_se: m.instrument_se,
    }
}

/// A difference that one result alone has.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SingleContrast {
    pub setup: String,
    pub baseline: String,
    /// From 1.
    pub day: usize,
}

/// An effect of a factor over the days that have it.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct PooledEffect {
    /// "crr", "cda_m2", "power_w" or "rolling_power_w".
    pub output: String,
    /// Key of the factor.
    pub factor: String,
    /// Level less `against`.
    pub level: String,
    pub against: String,
    pub effect: PooledQuantity,
    pub p_value: Option<f64>,
    /// Adjusted over the pooled effects of the output.
    pub p_holm: Option<f64>,
    /// Whether effects add on every day that can tell; where not, the differences of set-ups count and not the effects.
    pub adds: Option<bool>,
    pub days: Vec<DayEffect>,
}

/// A curve over a quantity that several days have in common.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct PooledCurve {
    /// "crr", "cda_m2", "power_w" or "rolling_power_w".
    pub output: String,
    /// Whether the days have the same curve, at the level of the confidence; where not, the errors are those of their disagreement.
    pub agree: bool,
    /// The test of that; `null` where the days have too few levels in common to tell.
    pub agreement: Option<Test>,
    /// Whether effects add on every day that can tell.
    pub adds: Option<bool>,
    /// From 1.
    pub days: Vec<usize>,
    /// Its points and line are above the least of the line, since days have no level in common; no level to ride next is named.
    pub curve: Curve,
}

/// The same as one day has it.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct DayEffect {
    /// From 1.
    pub day: usize,
    pub value: f64,
    pub se: f64,
}
