//! What checks a result: random draws of its inputs, and laps drawn again.
//!
//! Given nothing; plain data.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Propagation of distributions beside the law of propagation (JCGM 101:2008, clause 8).
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct MonteCarlo {
    /// How often all inputs were drawn.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// Significant digits of a standard uncertainty that count.
    pub digits: u32,
    /// Every quantity that has an interval: set-ups and differences with the baseline, venue by venue.
    pub results: Vec<MonteCarloResult>,
}

/// One quantity by draws and by the budget.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct MonteCarloResult {
    /// "road", "track" or "rollers".
    pub venue: String,
    /// Id of the set-up.
    pub setup: String,
    /// `null` for the value of the set-up itself.
    pub baseline: Option<String>,
    /// "crr", "cda_m2", "power_w" or "rolling_power_w".
    pub quantity: String,
    /// Standard deviation of the draws of the instruments alone, and the budget's.
    pub instrument_se: Option<f64>,
    /// The same by the budget.
    pub budget_instrument_se: Option<f64>,
    /// Probabilistically symmetric interval of the draws, scatter drawn as Student's t, and the reported one.
    pub low: Option<f64>,
    /// Upper end by the draws.
    pub high: Option<f64>,
    /// Lower end as reported.
    pub budget_low: Option<f64>,
    /// Upper end as reported.
    pub budget_high: Option<f64>,
    /// δ of JCGM 101, 7.9.2: half a unit in the last of the digits that count.
    pub tolerance: Option<f64>,
    /// Standard error of an end of the interval of the draws, which shrinks as one over the root of their number.
    pub sampling_se: Option<f64>,
    /// Draws for which there was no answer.
    pub failed: usize,
    /// "agrees", "differs" or "too few draws".
    pub verdict: String,
}

/// Standard errors of the scatter from whole laps drawn again, beside those of the sandwich by itself (not `scatter_se`).
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct BootstrapResult {
    /// How often laps were drawn.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// Draws whose equations had no answer and that are not counted.
    pub failed: usize,
    /// Laps alone at their speed in their run, which no draw can change: the standard errors below miss their scatter.
    pub lone_laps: usize,
    /// Whether one of the two standard errors of a Crr, a CdA or a difference is over 25 % larger than the other, beyond
    /// what the number of draws leaves open.
    pub disagrees: bool,
    /// One entry a set-up.
    pub setups: Vec<BootstrapLine>,
    /// Against the baseline.
    pub contrasts: Vec<BootstrapLine>,
}

/// One set-up, or one difference where there is a baseline.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct BootstrapLine {
    /// Id of the set-up.
    pub setup: String,
    /// `null` for the value of the set-up itself.
    pub baseline: Option<String>,
    /// Both standard errors of Crr.
    pub crr: Resampled,
    /// Both standard errors of CdA.
    pub cda_m2: Resampled,
    /// Both standard errors of the watts.
    pub power_w: Resampled,
}

/// Both standard errors of one quantity; `null` where it is not known or held common.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Resampled {
    /// Of the sandwich by itself, before it is shrunk towards the working model.
    pub sandwich_se: Option<f64>,
    /// Of the laps drawn again.
    pub bootstrap_se: Option<f64>,
}

/// Whether what the model leaves along the loop is chance: a randomisation test that turns the signs of whole laps.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct ModelCheck {
    /// Level of the test: at or below it a finding tells what is left.
    pub level: f64,
    /// How often the signs of the laps were drawn.
    pub draws: usize,
    /// Probability of the smallest of those below under chance.
    pub p_value: f64,
    /// Of runs that differ so much along the loop; 1 with one run.
    pub p_by_run: f64,
    /// Of laps of different planned speeds that differ so much along the loop; 1 with one speed.
    pub p_by_speed: f64,
    /// Of laps of one planned speed that leave so much in one step; 1 with one speed.
    pub p_at_one_place: f64,
    /// Of a wind that turns so much along the loop; 1 where no wind was fitted.
    pub p_of_turning_wind: f64,
    /// Whether drag grows with speed as one CdA and one Crr have it; `null` with fewer than three planned speeds, which cannot
    /// show it.
    pub drag_bends: Option<DragBendResult>,
}

/// Drag against speed.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct DragBendResult {
    /// Of so different a CdA at the planned speeds under chance.
    pub p_value: f64,
    /// Power that the model leaves at each planned speed, from the slowest, mean over the lap and less that of all laps.
    pub power_left_w: Vec<f64>,
}

/// What a difference hangs on.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct LeaveOneOut {
    /// Id of the set-up.
    pub setup: String,
    /// Id of the set-up it is compared with.
    pub baseline: String,
    /// Without the lap that moves the difference most.
    pub lap: Option<Without>,
    /// Without the run that moves it most, among those whose set-up was ridden again.
    pub run: Option<Without>,
}

/// A difference with a part of the rides left out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Without {
    /// Number of the run, from 1 in the order of the session.
    pub run: usize,
    /// Number of the lap in its run; `null` where the whole run is left out.
    pub lap: Option<usize>,
    /// Difference in watts at the reference, set-up less baseline.
    pub power_w: f64,
    /// Whether it would still be told from chance, by the standard error of all laps; `null` where that was not asked.
    pub separated: Option<bool>,
}
