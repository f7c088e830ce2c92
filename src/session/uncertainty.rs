//! Standard uncertainties that the tester states, and those that hold where nothing is said.
//!
//! Given by a session file; holds values and their defaults. It checks nothing.

use super::circuit::Venue;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Standard uncertainties of what is measured or stated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Uncertainty {
    /// Of each weighing (common practice, no source).
    pub mass_kg: f64,
    /// Scale of the power meter, common to all runs: 2 % unless a calibration says less (common practice; 54 meters as they were
    /// differed with a standard deviation of 3.2 %, Maier et al. 2017, so state more for one that was never checked).
    pub power_fraction: f64,
    /// Zero of the power meter, common to all runs (common practice, no source).
    pub power_zero_w: f64,
    /// Loss of the chain that does not grow with power, common to all runs (common practice, no source).
    pub fixed_loss_w: f64,
    /// CdA in the slowest laps over that in the fastest, as when a rider sits up: what two speeds cannot show
    /// (common practice, no source).
    pub cda_between_speeds_fraction: f64,
    /// Scale of speed (rolling circumference), common to all runs (common practice, no source).
    pub speed_fraction: f64,
    /// Of the air, and of the tyres where they are read (common practice, no source).
    pub temperature_c: f64,
    /// Of the air (common practice, no source).
    pub pressure_hpa: f64,
    /// Of the relative humidity (common practice, no source).
    pub humidity_pct: f64,
    /// Of the stated efficiency (common practice for one chain that is kept clean; chains of many kinds lost 2.1 ± 1.5 %, Smit et al.
    /// 2023).
    pub drivetrain_efficiency: f64,
    /// Of that of both wheels (common practice, no source).
    pub wheel_inertia_kg_m2: f64,
    /// Of its height along the leaning bicycle (common practice, no source).
    pub centre_of_mass_height_m: f64,
    /// Relative, of the whole bearing drag (common practice, no source).
    pub bearing_fraction: f64,
    /// Relative, of a wind speed that was given and scaled to rider height (common practice; the next class of roughness on either
    /// side, WMO-No. 8, changes it by 14 to 21 % at 1.2 m).
    pub wind_fraction: f64,
    /// Of the drums' diameter (common practice, no source).
    pub drum_diameter_m: f64,
    /// Of the distance between the axles (common practice, no source).
    pub drum_spacing_m: f64,
    /// Of the share of weight on the rear wheel (common practice, no source).
    pub rear_weight_fraction: f64,
    /// Relative, of the stated no-load power of the drums (common practice, no source).
    pub no_load_fraction: f64,
    /// Of a temperature coefficient of Crr; a stated one is taken as exact when this is left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_coefficient_per_c: Option<f64>,
    /// What changes between runs of one set-up (sitting, a tyre inflated again), as a fraction of the resistance: 0.007 on loops
    /// (common practice, after Candau 1999), 0.01 of Crr on rollers (common practice, no source) when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run_to_run_fraction: Option<f64>,
    /// Relative, of the conversion from drum to flat road: when left out 0.05 ln(1 + r/R), R the radius of drum and r that of
    /// tyre, which is 0.1 on drums of 111 mm (common practice, no source).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drum_conversion_fraction: Option<f64>,
}

/// Scale of what changes from run to run on loops where none is stated, as a fraction of the resistance (common practice, after
/// Candau et al. 1999, who rode coast-downs of one rider again).
pub const RUN_TO_RUN_ON_LOOPS: f64 = 0.007;
/// The same on rollers, as a fraction of Crr (common practice, no source).
pub const RUN_TO_RUN_ON_ROLLERS: f64 = 0.01;

impl Uncertainty {
    /// Scale of what changes from run to run at a venue.
    pub fn run_to_run(&self, venue: Venue) -> f64 {
        let usual = if venue == Venue::Rollers { RUN_TO_RUN_ON_ROLLERS } else { RUN_TO_RUN_ON_LOOPS };
        self.run_to_run_fraction.unwrap_or(usual)
    }
}

impl Default for Uncertainty {
    fn default() -> Self {
        Uncertainty {
            mass_kg: 0.1,
            power_fraction: 0.02,
            power_zero_w: 2.0,
            fixed_loss_w: 1.5,
            cda_between_speeds_fraction: 0.01,
            speed_fraction: 0.003,
            temperature_c: 0.5,
            pressure_hpa: 1.0,
            humidity_pct: 5.0,
            drivetrain_efficiency: 0.005,
            wheel_inertia_kg_m2: 0.02,
            centre_of_mass_height_m: 0.05,
            bearing_fraction: 0.3,
            wind_fraction: 0.2,
            drum_diameter_m: 0.0005,
            drum_spacing_m: 0.002,
            rear_weight_fraction: 0.02,
            no_load_fraction: 0.1,
            temperature_coefficient_per_c: None,
            run_to_run_fraction: None,
            drum_conversion_fraction: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_usual_value_says_where_it_comes_from() {
        let schema = schemars::schema_for!(Uncertainty).to_value();
        let keys = schema["properties"].as_object().expect("keys");
        assert!(keys.len() > 20, "{}", keys.len());
        for (key, value) in keys {
            let said = value["description"].as_str().unwrap_or_default();
            assert!(said.contains("common practice") || said.contains("taken as exact"), "{key}: {said}");
        }
    }
}
