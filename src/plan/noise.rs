//! How a simulated day departs from the ideal: riders, air, devices and mishaps.
//!
//! Given nothing; the types of `[noise]` and `[[mishap]]` in a plan file, each default with its source. Values
//! are means and standard deviations: no random number is drawn here.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where the speed channel comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(rename_all = "kebab-case")]
pub enum SpeedSource {
    /// Mean over the whole wheel revolutions within the last second.
    #[default]
    Wheel,
    /// The speed at the instant of the stamp.
    Exact,
    /// Smoothed and noisy, as a satellite receiver gives it.
    Satellite,
}

/// Whether the instrument errs as the uncertainties say.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(rename_all = "kebab-case")]
pub enum InstrumentErrors {
    /// One draw from every standard uncertainty of `[uncertainty]`, masses once a run.
    #[default]
    Drawn,
    /// What is stated is true.
    None,
}

/// How riders, air and devices depart from the ideal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Noise {
    /// Scatter of the power meter from second to second, relative (common practice, no source; the mean of a
    /// longer test scatters by 1.2 %, Maier et al. 2017, Int. J. Sports Med. 38:456).
    pub power_cv: f64,
    /// Recorded over true power.
    pub power_scale: f64,
    /// How long before its stamp the averaging second of the power meter ends.
    pub power_lag_s: f64,
    /// Standard deviation of each wind component (turbulence intensity 0.27 at 1.2 m over short grass, from
    /// I = 1/ln(z/z₀), times a breeze of 1.1 m/s).
    pub gust_sd_m_s: f64,
    /// Correlation time of gusts (integral length of 24 m at 1.2 m height by EN 1991-1-4 annex B, passed at 8 m/s).
    pub gust_time_s: f64,
    /// Growth of the mean wind over the day.
    pub wind_drift_m_s_per_h: f64,
    /// Growth of every Crr on the loop through the day, about the middle of it; below 0 as tyres warm up.
    #[serde(skip_serializing_if = "is_zero")]
    pub crr_drift_per_h: f64,
    pub speed_source: SpeedSource,
    /// Rolled-out circumference (common practice, no source).
    pub wheel_circumference_m: f64,
    /// Recorded over true speed.
    pub speed_scale: f64,
    /// Delay of the speed channel beyond its averaging; 0.25 s for a wheel sensor that reports four times a
    /// second, else none (common practice, no source).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed_lag_s: Option<f64>,
    /// Slow drift of each position component (common practice, no source, like the two below).
    pub position_sd_m: f64,
    pub position_time_s: f64,
    pub position_white_m: f64,
    /// Slow drift of a barometric altitude (common practice, no source).
    pub altitude_sd_m: f64,
    /// Scatter of lap marks at the line, as from a timing strip (common practice, no source).
    pub lap_mark_sd_s: f64,
    /// Rider's own variation of power, relative, and its correlation time (common practice, no source).
    pub rider_cv: f64,
    pub rider_time_s: f64,
    /// Slow wandering of the speed the rider aims at, relative (common practice, no source).
    pub pace_cv: f64,
    /// Scatter of the true mass between runs: bottles emptied, clothes changed.
    pub mass_scatter_kg: f64,
    /// Rolling resistance of a cold tyre on rollers above its warm value, relative (common practice, no source).
    pub warm_up_excess: f64,
    pub warm_up_time_s: f64,
    /// Turning drums as a mass at their rim (common practice, no source).
    pub drum_mass_kg: f64,
    pub instrument_errors: InstrumentErrors,
}

fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

impl Default for Noise {
    fn default() -> Self {
        Noise {
            power_cv: 0.05,
            power_scale: 1.0,
            power_lag_s: 0.0,
            gust_sd_m_s: 0.3,
            gust_time_s: 3.0,
            wind_drift_m_s_per_h: 0.0,
            crr_drift_per_h: 0.0,
            speed_source: SpeedSource::Wheel,
            wheel_circumference_m: 2.105,
            speed_scale: 1.0,
            speed_lag_s: None,
            position_sd_m: 1.5,
            position_time_s: 60.0,
            position_white_m: 0.2,
            altitude_sd_m: 0.5,
            lap_mark_sd_s: 0.02,
            rider_cv: 0.08,
            rider_time_s: 3.0,
            pace_cv: 0.01,
            mass_scatter_kg: 0.0,
            warm_up_excess: 0.25,
            warm_up_time_s: 210.0,
            drum_mass_kg: 2.0,
            instrument_errors: InstrumentErrors::Drawn,
        }
    }
}

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MishapKind {
    /// The power meter sends nothing.
    PowerLost,
    /// The rider brakes to a halt and stands.
    Stop,
    /// The rider brakes and rolls on.
    Braking,
}

/// Something that spoils a lap.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Mishap {
    /// From 1, as ridden.
    pub run: usize,
    pub kind: MishapKind,
    /// From the start of the run.
    pub at_s: f64,
    pub duration_s: f64,
}
