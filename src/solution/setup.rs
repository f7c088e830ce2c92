//! What is known of one set-up, and of the difference of two.
//!
//! Given nothing; `analysis` fills it.

use super::Estimate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

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

impl Contrast {
    /// Whether it is of these two set-ups, whichever is the baseline.
    pub fn is_between(&self, a: &str, b: &str) -> bool {
        (self.setup == a && self.baseline == b) || (self.setup == b && self.baseline == a)
    }
}
