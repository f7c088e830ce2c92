//! The uncertainty budget as it is written: what each source does to set-ups and differences.
//!
//! Given nothing; `analysis` fills it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

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
