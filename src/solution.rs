//! The result as it is written to `solution.json` (schema 1): every number in the unit of its key, an unknown
//! as `null`, never as 0.
//!
//! Given nothing; `analysis` fills it, `report` and `plot` read it, `compare::pooling` reads it back.

mod budget;
mod check;
mod circuit;
mod estimate;
mod quantity;
mod run;
mod setup;
mod venue;

pub use budget::{BudgetLine, Contribution, PairContribution};
pub use check::{
    BootstrapLine, BootstrapResult, DragBendResult, LeaveOneOut, ModelCheck, MonteCarlo, MonteCarloResult, Resampled,
    Without,
};
pub use circuit::{CircuitResult, Gate, ProfilePoint, TyreRule, WindShare};
pub use estimate::{Estimate, Measured};
pub use quantity::{Quantities, Quantity};
pub use run::{LapResult, Pressures, RollerWindow, RunResult, WindResult};
pub use setup::{Contrast, SetupResult};
pub use venue::{Agreement, CombinedContrast, SurfaceLoss, VenueResult, Venues};

use crate::factor::FactorResult;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Version of the schema below.
pub const SCHEMA: u32 = 1;

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Solution {
    /// Version of this schema.
    pub schema: u32,
    /// Version of the program that wrote the result.
    pub loopwright: String,
    /// The session's title.
    pub title: String,
    /// Level of every interval, 0 to 1.
    pub confidence: f64,
    /// Whether CdA and Crr can be told apart from these rides.
    pub separable: bool,
    /// Id of the set-up that the others are compared with.
    pub baseline: String,
    /// At what speed, mass and air density watts are given.
    pub reference: ReferenceConditions,
    /// One entry a set-up, in the order of the session.
    pub setups: Vec<SetupResult>,
    /// Every set-up against the baseline, with p-values Holm-adjusted over these.
    pub contrasts: Vec<Contrast>,
    /// Every pair, with p-values Holm-adjusted over all pairs.
    pub all_pairs: Vec<Contrast>,
    /// One entry a run, in the order of the session.
    pub runs: Vec<RunResult>,
    /// Where it was ridden.
    #[serde(rename = "loop")]
    pub circuit: CircuitResult,
    /// What tells CdA from Crr.
    pub separation: Separation,
    /// The uncertainty budget, source by source.
    pub budget: Vec<BudgetLine>,
    /// How the solver got there.
    pub solver: Solver,
    /// What must be told beside the numbers.
    pub findings: Vec<FindingResult>,
    /// Change of Crr over the day where one was asked for, else `null`.
    #[serde(default)]
    pub crr_drift: Option<CrrDriftResult>,
    /// The bootstrap over laps; `null` when it was not asked for or there is no loop.
    #[serde(default)]
    pub bootstrap: Option<BootstrapResult>,
    /// Results of each venue and what they say together when a session mixes loop and rollers, else `null`.
    #[serde(default)]
    pub venues: Option<Venues>,
    /// Check of the budget by random draws of its inputs, `null` unless it was asked for.
    #[serde(default)]
    pub monte_carlo: Option<MonteCarlo>,
    /// What changes from run to run of one set-up, as the runs tell it.
    #[serde(default)]
    pub run_to_run: Option<RunToRunResult>,
    /// k of drag against yaw, CdA (1 + k sin²ψ): one for the day, or one for each set-up; empty where it was held.
    #[serde(default)]
    pub yaw: Vec<YawResult>,
    /// What the factors of the set-ups do, where they were stated.
    #[serde(default)]
    pub factors: Option<FactorResult>,
    /// Whether what the model leaves along the loop is chance; `null` where there is no loop or too few laps to tell.
    #[serde(default)]
    pub model_check: Option<ModelCheck>,
    /// Differences without the lap and the run that move them most; empty where there is no loop.
    #[serde(default)]
    pub leave_one_out: Vec<LeaveOneOut>,
}

/// k of drag against yaw.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct YawResult {
    /// `null` where all set-ups have one.
    pub setup: Option<String>,
    /// Value and standard error of k.
    pub k: Measured,
    /// Whether the rides told more than what was expected.
    pub told: bool,
}

/// What changes from run to run, as a standard deviation relative to `of`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct RunToRunResult {
    /// "resistance" or, on rollers, "Crr".
    pub of: String,
    /// What was supposed before the runs were looked at.
    pub supposed_fraction: f64,
    /// Median and interval of what the runs leave of that.
    pub fraction: f64,
    /// Lower end of the interval of `fraction`.
    pub low: f64,
    /// Upper end of the interval of `fraction`.
    pub high: f64,
    /// Runs less set-ups.
    pub repeats: usize,
    /// Whether the runs told little, so that the intervals rest on what was supposed.
    pub rests_on_prior: bool,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct ReferenceConditions {
    /// Speed at which watts are given.
    pub speed_km_h: f64,
    /// Rider, bicycle and kit.
    pub mass_kg: f64,
    /// Density of the air.
    pub air_density_kg_m3: f64,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Separation {
    /// Correlation of CdA and Crr of the baseline; each set-up has its own under `setups`.
    pub correlation: Option<f64>,
    /// Condition number of the scaled equations.
    pub condition: Option<f64>,
    /// Mean speed of the slowest used lap.
    pub speed_min_m_s: Option<f64>,
    /// Mean speed of the fastest used lap.
    pub speed_max_m_s: Option<f64>,
    /// Strength of the planned-speed instruments.
    pub first_stage_f: Option<f64>,
    /// Standard error each would have if the other were known.
    pub se_crr_if_cda_known: Option<f64>,
    /// The same for CdA.
    pub se_cda_m2_if_crr_known: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Solver {
    /// Steps of the outer solver.
    pub iterations: u64,
    /// Whether it settled.
    pub converged: bool,
    /// Starts of the wind that were tried.
    pub starts: usize,
    /// "instruments", "least squares" or "energy account" (rollers).
    pub estimator: String,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct FindingResult {
    /// A short word a script can test for.
    pub code: String,
    /// From 1; `null` when it concerns the whole session.
    pub run: Option<usize>,
    /// What was seen, the limit or likely cause, and what to do next.
    pub message: String,
}

impl Solution {
    /// The results venue by venue: those of a mixed day, or the one there is.
    pub fn by_venue(&self) -> Vec<VenueResult> {
        match &self.venues {
            Some(venues) => venues.results.clone(),
            None => vec![VenueResult {
                venue: self.circuit.kind.clone(),
                baseline: self.baseline.clone(),
                setups: self.setups.clone(),
                contrasts: self.contrasts.clone(),
                all_pairs: self.all_pairs.clone(),
                budget: self.budget.clone(),
                run_to_run: self.run_to_run.clone(),
                factors: self.factors.clone(),
            }],
        }
    }
}

/// A change of Crr linear in time, the same for all set-ups.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct CrrDriftResult {
    /// Per hour, with its scatter.
    pub crr_per_h: Estimate,
    /// Of no drift at all.
    pub p_value: Option<f64>,
    /// The moment to which every Crr belongs: the mean over the laps used, by their weights.
    pub reference_time: Option<String>,
    /// The same from the first record of the day.
    pub reference_s: f64,
    /// Whether a difference of Crr with the baseline can hardly be told from it.
    pub confounded: bool,
}
