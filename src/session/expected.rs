//! What the tester expects before the rides are looked at: it decides only what they cannot tell.
//!
//! Given by a session file; holds values and their defaults. It checks nothing.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// CdA and Crr with standard deviations. Where rides tell both, these weigh nothing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Expected {
    /// From riders on drop bars to those in an aerodynamic position (common practice, no source).
    pub cda_m2: f64,
    pub cda_sd_m2: f64,
    /// Tyres on asphalt (common practice, no source); state more for a rough road.
    pub crr: f64,
    /// Standard deviation of the logarithm of Crr.
    pub crr_fraction: f64,
}

impl Default for Expected {
    fn default() -> Self {
        Expected { cda_m2: 0.28, cda_sd_m2: 0.06, crr: 0.0045, crr_fraction: 0.4 }
    }
}

/// How drag depends on yaw.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Yaw {
    Coefficient(f64),
    Word(YawWord),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum YawWord {
    /// One coefficient for all set-ups.
    Common,
    /// One for each set-up.
    PerSetup,
    /// Drag does not depend on yaw.
    None,
}

impl Default for Yaw {
    fn default() -> Self {
        Yaw::Word(YawWord::Common)
    }
}
