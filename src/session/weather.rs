//! What the tester states of the air: weather, wind and gusts.
//!
//! Given nothing; the keys with their defaults. It checks nothing and works out no density.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Weather, one line or a log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(default, deny_unknown_fields)]
pub struct Air {
    /// In the shade.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Station pressure, not reduced to sea level.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pressure_hpa: Option<f64>,
    /// Relative humidity.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub humidity_pct: Option<f64>,
    /// CSV with time,temperature_c,pressure_hpa,humidity_pct and, if there, wind_speed_m_s,wind_from_deg.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub log: Option<String>,
}

/// Air of one venue or one run, where it is not that of `[air]`; what is left out is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(default, deny_unknown_fields)]
pub struct AirHere {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Station pressure, not reduced to sea level.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pressure_hpa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub humidity_pct: Option<f64>,
}

impl AirHere {
    /// These readings, and those of another where there is none.
    pub fn or(self, other: AirHere) -> AirHere {
        AirHere {
            temperature_c: self.temperature_c.or(other.temperature_c),
            pressure_hpa: self.pressure_hpa.or(other.pressure_hpa),
            humidity_pct: self.humidity_pct.or(other.humidity_pct),
        }
    }

    /// Whether nothing else of the air is needed.
    pub fn is_whole(self) -> bool {
        [self.temperature_c, self.pressure_hpa, self.humidity_pct].iter().all(Option::is_some)
    }
}

impl Air {
    /// With the readings of a venue or a run in the place of these.
    pub fn with(&self, here: AirHere) -> Air {
        let own = AirHere {
            temperature_c: self.temperature_c,
            pressure_hpa: self.pressure_hpa,
            humidity_pct: self.humidity_pct,
        };
        let AirHere { temperature_c, pressure_hpa, humidity_pct } = here.or(own);
        Air { temperature_c, pressure_hpa, humidity_pct, log: self.log.clone() }
    }
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
    /// Solved for, stated, or still air.
    pub mode: WindMode,
    /// With mode "given".
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed_m_s: Option<f64>,
    /// Where it blows from, clockwise from north.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from_deg: Option<f64>,
    /// Height of the wind gauge above ground.
    pub mast_height_m: f64,
    /// Of the ground around the wind gauge.
    pub roughness_length_m: f64,
    /// Gusts add mean drag: "estimate", "none", or their standard deviation along travel in m/s.
    pub gusts: Gusts,
    /// What wind was expected where it is estimated, as the standard deviation of each component: hardly any 0.5, light 1.5,
    /// fresh 4 (common practice, no source).
    pub expected_m_s: f64,
    /// The wind along the loop: "estimate", "even", or the shares of it that are met at places equally far apart, from the gate
    /// on.
    pub along_loop: AlongLoop,
}

/// How the wind differs along the loop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum AlongLoop {
    Word(AlongLoopWord),
    Shares(Vec<f64>),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum AlongLoopWord {
    /// Common to all runs, solved with the rest.
    Estimate,
    /// The same everywhere.
    Even,
}

impl Default for AlongLoop {
    fn default() -> Self {
        AlongLoop::Word(AlongLoopWord::Estimate)
    }
}

/// Wind that is expected where nothing is said, m/s a component.
pub const EXPECTED_WIND_M_S: f64 = 2.0;

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
            expected_m_s: EXPECTED_WIND_M_S,
            along_loop: AlongLoop::default(),
        }
    }
}
