//! The loop as it is written: where it begins, how long it is, its profile and the wind along it.
//!
//! Given nothing; `analysis` fills it.

use super::Measured;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

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
    /// What `length_m` rests on: "speed channel" or "stated length".
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
