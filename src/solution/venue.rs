//! A result venue by venue, and what loop and rollers say together.
//!
//! Given nothing; plain data.

use super::{BudgetLine, Contrast, Estimate, FactorResult, RunToRunResult, SetupResult};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a session on loop and rollers says. The loop's values also stand at the top of the solution, because only a loop
/// shows CdA; nothing is averaged there.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Venues {
    /// One entry a venue.
    pub results: Vec<VenueResult>,
    /// Differences that both venues have seen, brought together.
    pub combined: Vec<CombinedContrast>,
    /// Every pair that both venues have seen, brought together, judged as a family of its own.
    pub combined_pairs: Vec<CombinedContrast>,
    /// What the road surface costs each set-up.
    pub surface_loss: Vec<SurfaceLoss>,
}

/// One venue on its own.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct VenueResult {
    /// "road", "track" or "rollers".
    pub venue: String,
    /// Id of the set-up that the others are compared with.
    pub baseline: String,
    /// As at the top of the result.
    pub setups: Vec<SetupResult>,
    /// Every set-up against the baseline.
    pub contrasts: Vec<Contrast>,
    /// Every pair.
    pub all_pairs: Vec<Contrast>,
    /// The uncertainty budget of this venue.
    pub budget: Vec<BudgetLine>,
    /// What changes from run to run on this venue.
    #[serde(default)]
    pub run_to_run: Option<RunToRunResult>,
    /// What the factors of the set-ups do on this venue.
    #[serde(default)]
    pub factors: Option<FactorResult>,
}

/// One difference in Crr from both venues.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct CombinedContrast {
    /// Id of the set-up.
    pub setup: String,
    /// Id of the set-up it is compared with.
    pub baseline: String,
    /// Inverse-variance mean while the venues agree, else the random-effects one.
    pub crr: Estimate,
    /// At the reference speed and mass.
    pub rolling_power_w: Estimate,
    /// Two-sided, of no difference.
    pub p_value: Option<f64>,
    /// Adjusted over the combined contrasts.
    pub p_holm: Option<f64>,
    /// Smallest detectable difference: found with 80 % power.
    pub detectable_power_w: Option<f64>,
    /// Two one-sided tests against the stated margin, `null` when none was stated.
    pub p_equivalence: Option<f64>,
    /// "separated", "not separated" or "equivalent".
    pub verdict: String,
    /// Whether the venues see the same difference.
    pub agreement: Agreement,
}

/// Whether the venues see the same difference.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Agreement {
    /// Whether they differ by no more than their own errors allow.
    pub agree: bool,
    /// Cochran's Q.
    pub q: Option<f64>,
    /// Degrees of freedom of Q.
    pub dof: Option<f64>,
    /// Chance of so large a Q without disagreement.
    pub p_value: Option<f64>,
    /// √(Q/dof).
    pub birge_ratio: Option<f64>,
    /// Standard deviation between venues (DerSimonian–Laird).
    pub between_sd_crr: Option<f64>,
}

/// Crr on the loop less Crr on the rollers: what the road's surface, and the tyre's casing on it, cost.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct SurfaceLoss {
    /// Id of the set-up.
    pub setup: String,
    /// Crr on the loop less Crr on the rollers.
    pub crr: Estimate,
    /// At the reference speed and mass.
    pub rolling_power_w: Estimate,
}
