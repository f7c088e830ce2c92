//! The result as it is written to `solution.json` (schema 1): every number in the unit of its key, an unknown
//! as `null`, never as 0.
//!
//! Given nothing; `analysis` fills it, `report` and `plot` read it, `compare::pooling` reads it back.

mod check;
mod run;
mod venue;

pub use check::{BootstrapLine, BootstrapResult, DragBendResult, ModelCheck, MonteCarlo, MonteCarloResult, Resampled};
pub use run::{LapResult, Pressures, RollerWindow, RunResult, WindResult};
pub use venue::{Agreement, CombinedContrast, SurfaceLoss, VenueResult, Venues};

use crate::factor::FactorResult;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Version of the schema below.
pub const SCHEMA: u32 = 1;

/// A value with its standard error and interval.
///
/// `se` combines `scatter_se` (type A, from the laps, shrunk towards a model of their scatter) and `instrument_se` (type B, from
/// the instruments).
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Estimate {
    /// Best estimate, in the unit of the key that holds it; `null` where it is not known.
    pub value: Option<f64>,
    /// Combined standard uncertainty; `null` where the value is held or shared.
    pub se: Option<f64>,
    /// Lower end of the interval at `confidence`.
    pub low: Option<f64>,
    /// Upper end of the interval at `confidence`.
    pub high: Option<f64>,
    /// Degrees of freedom of `se`; `null` where there are so many that they do not matter.
    pub dof: Option<f64>,
    /// From the scatter of the laps.
    pub scatter_se: Option<f64>,
    /// From what the rides left to what was expected: wind, its share along the loop, yaw, delay, and CdA or Crr at one speed.
    #[serde(default)]
    pub prior_se: Option<f64>,
    /// From what changes between one run and the next.
    #[serde(default)]
    pub run_to_run_se: Option<f64>,
    /// From power meter, wheel, scale and thermometer (type B).
    pub instrument_se: Option<f64>,
}

/// A nuisance parameter: value and standard error; `se` is `null` when it was held fixed.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Measured {
    /// Estimate, in the unit of the key.
    pub value: Option<f64>,
    /// Standard error; `null` when the value was held.
    pub se: Option<f64>,
}

impl Measured {
    fn is_unknown(&self) -> bool {
        *self == Measured::default()
    }
}

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

/// The share of the wind that is met at a place of the loop.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct WindShare {
    /// From the gate.
    pub distance_m: f64,
    /// Of the wind of the run, 1 in the geometric mean over the loop.
    pub share: f64,
    /// Interval of ± one standard error.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
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
pub struct SetupResult {
    /// The set-up's id in the session.
    pub id: String,
    /// Its label for people.
    pub label: String,
    /// Coefficient of rolling resistance.
    pub crr: Estimate,
    /// Drag area.
    pub cda_m2: Estimate,
    /// At the reference conditions, at the place where power is measured.
    pub power_w: Estimate,
    /// The part of the watts that rolling takes; on rollers the only one.
    pub rolling_power_w: Estimate,
    /// The part of the watts that air takes. What is left of `power_w` goes to the bearings.
    pub aero_power_w: Estimate,
    /// Correlation of CdA and Crr of this set-up.
    pub correlation: Option<f64>,
    /// Least-squares cross-check.
    pub least_squares_crr: Option<f64>,
    /// CdA by least squares, as a cross-check.
    pub least_squares_cda_m2: Option<f64>,
    /// Resistance at the mean speed of the set-up: the combination that is known even when the parts are not.
    pub drag_at_mean_speed_n: Option<Estimate>,
    /// CdA with Crr held at a usual value, only where the two cannot be told apart.
    pub cda_m2_with_crr_held: Option<Estimate>,
    /// The Crr that `cda_m2_with_crr_held` goes with.
    pub crr_held: Option<f64>,
    /// Where that comes from: "rollers", on which the set-up was ridden too, or "expected" of the session.
    #[serde(default)]
    pub crr_held_from: Option<String>,
    /// Mean speed of the used laps.
    pub mean_speed_m_s: Option<f64>,
    /// Laps that count.
    pub laps_used: usize,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Contrast {
    /// Id of the set-up.
    pub setup: String,
    /// Id of the set-up it is compared with; every value is set-up less baseline.
    pub baseline: String,
    /// Difference in Crr; value 0 without an error where Crr is shared.
    pub crr: Estimate,
    /// Difference in CdA; value 0 without an error where CdA is shared.
    pub cda_m2: Estimate,
    /// Difference in watts at the reference; on rollers of rolling alone.
    pub power_w: Estimate,
    /// Two-sided, of no difference in watts.
    pub p_value: Option<f64>,
    /// The same adjusted for the number of comparisons (Holm).
    pub p_holm: Option<f64>,
    /// Smallest difference this test would have found with 80 % power.
    pub detectable_power_w: Option<f64>,
    /// Two one-sided tests against the stated margin, `null` when none was stated.
    pub p_equivalence: Option<f64>,
    /// "separated", "not separated" or "equivalent".
    pub verdict: String,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct CircuitResult {
    /// "road", "track" or "rollers".
    pub kind: String,
    /// Length of the loop as ridden, which the account goes by; `null` on rollers.
    pub length_m: Option<f64>,
    /// The length that the session states; on a track it holds on the measurement line.
    #[serde(default)]
    pub stated_length_m: Option<f64>,
    /// Where laps begin; `null` without positions.
    pub gate: Option<Gate>,
    /// How old the speed reading is against positions or lap marks, which places the laps; unknown where there are neither.
    #[serde(default)]
    pub speed_age_s: Measured,
    /// Mean lap by the speed channel, where laps are seen otherwise.
    #[serde(default)]
    pub length_by_wheel_m: Option<f64>,
    /// The lap by positions alone, with its standard deviation.
    #[serde(default)]
    pub length_by_positions_m: Measured,
    /// What `length_m` rests on: "wheel" or "stated length".
    #[serde(default)]
    pub length_from: Option<String>,
    /// Common elevation at the edges of the steps.
    pub profile: Vec<ProfilePoint>,
    /// How Crr is brought to one temperature; `null` where it is that of the ride.
    #[serde(default)]
    pub tyre_rule: Option<TyreRule>,
    /// At the middle of each step, where the wind along the loop was estimated.
    #[serde(default)]
    pub wind_along: Vec<WindShare>,
}

/// A linear rule of Crr against the temperature of the tyres.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct TyreRule {
    /// Relative fall of Crr per °C.
    pub coefficient_per_c: f64,
    /// Of the coefficient; 0 where it is taken as exact.
    pub standard_uncertainty_per_c: f64,
    /// Temperature that Crr is given at.
    pub reference_c: f64,
    /// Nobody stated it: it is what is known of bicycle tyres.
    pub is_supposed: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Gate {
    /// North is positive.
    pub lat_deg: f64,
    /// East is positive.
    pub lon_deg: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct ProfilePoint {
    /// From the gate.
    pub distance_m: f64,
    /// Above the gate.
    pub elevation_m: f64,
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

/// One line of the uncertainty budget: how far the results move by one standard uncertainty of the source.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct BudgetLine {
    /// What errs.
    pub source: String,
    /// Of the source, in `unit`.
    pub standard_uncertainty: f64,
    /// "1" for a fraction.
    pub unit: String,
    /// Contribution to Crr, CdA and watts of the baseline set-up.
    pub crr: Option<f64>,
    /// Contribution to the CdA of the baseline.
    pub cda_m2: Option<f64>,
    /// Contribution to the watts of the baseline.
    pub power_w: Option<f64>,
    /// Contribution to the resistance at the mean speed of the baseline set-up, where CdA and Crr cannot be told apart.
    #[serde(default)]
    pub drag_n: Option<f64>,
    /// The same for every set-up.
    pub setups: Vec<Contribution>,
    /// The same for every contrast with the baseline; common errors cancel here.
    pub contrasts: Vec<Contribution>,
    /// The same for every pair of `all_pairs`.
    #[serde(default)]
    pub pairs: Vec<PairContribution>,
}

/// What one source does to the difference of a pair.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct PairContribution {
    /// Id of the set-up.
    pub setup: String,
    /// Id of the set-up it is compared with.
    pub baseline: String,
    /// Contribution to Crr.
    pub crr: Option<f64>,
    /// Contribution to CdA.
    pub cda_m2: Option<f64>,
    /// Contribution to the watts at the reference.
    pub power_w: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Contribution {
    /// Id of the set-up.
    pub setup: String,
    /// Contribution to Crr.
    pub crr: Option<f64>,
    /// Contribution to CdA.
    pub cda_m2: Option<f64>,
    /// Contribution to the watts at the reference.
    pub power_w: Option<f64>,
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
