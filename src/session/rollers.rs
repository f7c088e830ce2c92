//! What the tester states of rollers.
//!
//! Given by a session file; holds values and their defaults. It checks nothing.

use super::weather::AirHere;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Reference temperature of Crr where none is stated, °C, as on rollers.
pub const REFERENCE_TEMPERATURE_C: f64 = 20.0;

/// Geometry of twin-drum rollers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Rollers {
    /// Diameter of the drums.
    pub drum_diameter_m: f64,
    /// Between the axles of the two drums under the rear wheel.
    pub drum_spacing_m: f64,
    /// Share of the weight on the rear wheel.
    pub rear_weight_fraction: f64,
    /// A belt turns the drum under the front wheel.
    pub front_driven: bool,
    /// Drag of the drums without a bicycle at 40 km/h; taken as zero and flagged when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_load_power_w_at_40_km_h: Option<f64>,
    /// Relative change of Crr per °C (ISO 28580 uses 0.008 for car tyres); 0 unless stated.
    pub temperature_coefficient_per_c: f64,
    /// To which Crr is brought.
    pub reference_temperature_c: f64,
    /// Of the room with the rollers, where it is not that of `[air]`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub air: Option<AirHere>,
}

impl Default for Rollers {
    fn default() -> Self {
        Rollers {
            drum_diameter_m: 0.11,
            drum_spacing_m: 0.27,
            rear_weight_fraction: 0.55,
            front_driven: true,
            no_load_power_w_at_40_km_h: None,
            temperature_coefficient_per_c: 0.0,
            reference_temperature_c: REFERENCE_TEMPERATURE_C,
            air: None,
        }
    }
}
