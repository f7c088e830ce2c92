//! What the tester states of the air: weather, wind and gusts.
//!
//! Given nothing; the keys with their defaults. It checks nothing and works out no density.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Weather, one line or a log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(default, deny_unknown_fields)]
pub struct Air {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Station pressure, not reduced to sea level.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pressure_hpa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub humidity_pct: Option<f64>,
    /// CSV with time,temperature_c,pressure_hpa,humidity_pct and, if there, wind_speed_m_s,wind_from_deg.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub log: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(rename_all = "kebab-case")]
pub enum WindMode {
    /// A vector for each run, solved with the rest.
    #[default]
    Estimate,
    /// Stated here or in the weather log.
    Given,
    /// Still air, as indoors.
    None,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Wind {
    pub mode: WindMode,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed_m_s: Option<f64>,
    /// Where it blows from, clockwise from north.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from_deg: Option<f64>,
    pub mast_height_m: f64,
    pub roughness_length_m: f64,
    /// Gusts add mean drag: "estimate", "none", or their standard deviation along travel in m/s.
    pub gusts: Gusts,
}

/// How gusts are treated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Gusts {
    StandardDeviation(f64),
    Word(GustsWord),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum GustsWord {
    Estimate,
    None,
}

impl Default for Gusts {
    fn default() -> Self {
        Gusts::Word(GustsWord::Estimate)
    }
}

impl Default for Wind {
    fn default() -> Self {
        Wind {
            mode: WindMode::Estimate,
            speed_m_s: None,
            from_deg: None,
            mast_height_m: 10.0,
            roughness_length_m: 0.03,
            gusts: Gusts::default(),
        }
    }
}
