//! What the tester chooses for the solution, and the conditions at which watts are given.
//!
//! Given by a session file; holds values and their defaults. It checks nothing.

use super::expected::Yaw;
use super::speed_scale::SpeedScale;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(rename_all = "kebab-case")]
pub enum Sharing {
    /// One value for all set-ups.
    Common,
    /// One value for each set-up.
    #[default]
    PerSetup,
}

/// The delay of speed against power: solved for, or stated in seconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Lag {
    Seconds(f64),
    Word(LagWord),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LagWord {
    Estimate,
}

impl Default for Lag {
    fn default() -> Self {
        Lag::Word(LagWord::Estimate)
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Solve {
    pub cda: Sharing,
    pub crr: Sharing,
    /// Fit a change of Crr linear in time over the day, common to all set-ups, as of tyres that warm up (loops only).
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub crr_drift: bool,
    /// Drag against yaw, CdA (1 + k sin²ψ): one k for the day ("common"), one for each set-up ("per-setup"), as for wheels,
    /// "none", or its value.
    pub yaw: Yaw,
    /// Seconds that speed runs behind power, or "estimate".
    pub lag: Lag,
    /// Whether the scale of speed is that of the device or that with which laps have their known length.
    #[serde(skip_serializing_if = "SpeedScale::is_as_measured")]
    pub speed_scale: SpeedScale,
    /// Confidence of the intervals, a fraction.
    pub confidence: f64,
    /// Factor of which a curve must be drawn; refused where it has too few levels. Every quantity of three levels or more has one
    /// when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub curve: Option<String>,
    /// A difference below this is of no interest; turns on the verdict "equivalent".
    #[serde(skip_serializing_if = "Option::is_none")]
    pub negligible_power_w: Option<f64>,
    /// Seed of what is drawn at random.
    pub seed: u64,
}

impl Default for Solve {
    fn default() -> Self {
        Solve {
            cda: Sharing::PerSetup,
            crr: Sharing::PerSetup,
            crr_drift: false,
            yaw: Yaw::default(),
            lag: Lag::default(),
            speed_scale: SpeedScale::AsMeasured,
            confidence: 0.95,
            curve: None,
            negligible_power_w: None,
            seed: 1,
        }
    }
}

/// Conditions at which watts are given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Reference {
    /// Speed at which watts are given.
    pub speed_km_h: f64,
    /// Mass for which watts are given; that of rider and bike when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mass_kg: Option<f64>,
    /// Air density at which watts are given.
    pub air_density_kg_m3: f64,
}

impl Default for Reference {
    fn default() -> Self {
        Reference { speed_km_h: 40.0, mass_kg: None, air_density_kg_m3: 1.2 }
    }
}
