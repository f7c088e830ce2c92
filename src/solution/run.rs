//! One run of a result: its file, air, wind and laps, or its window on rollers.
//!
//! Given nothing; plain data.

use super::Measured;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct RunResult {
    /// Ride file as the session names it.
    pub file: String,
    /// Digest of that file.
    pub sha256: String,
    /// Id of the set-up.
    pub setup: String,
    /// "road", "track" or "rollers".
    pub venue: String,
    /// Rider, bicycle and kit in this run.
    pub mass_kg: f64,
    /// Records in the file that are used.
    pub records: usize,
    /// Moment of the first record, UTC; `null` where the clock was not set.
    pub started: Option<String>,
    /// From the first record to the last.
    pub duration_s: f64,
    /// Mean density of the air; `null` on rollers.
    pub air_density_kg_m3: Option<f64>,
    /// Mean temperature of the air.
    pub temperature_c: Option<f64>,
    /// As stated; `temperature_c` stands for it where it was not.
    #[serde(default)]
    pub tyre_temperature_c: Option<f64>,
    /// Crr as ridden over Crr at the reference temperature; `null` on rollers or without a stated coefficient.
    #[serde(default)]
    pub crr_over_reference: Option<f64>,
    /// As stated; recorded, never modelled.
    pub tyre_pressure_kpa: Option<Pressures>,
    /// By how much speed runs behind power.
    pub lag_s: Measured,
    /// Wind at the height of the rider.
    pub wind: WindResult,
    /// Rollers only.
    #[serde(default)]
    pub window: Option<RollerWindow>,
    /// One entry a whole lap, used or not; empty on rollers.
    pub laps: Vec<LapResult>,
}

/// The part of a roller run that counts, and what it gives.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct RollerWindow {
    /// From the run's first record.
    pub from_s: f64,
    /// From the run's first record.
    pub to_s: f64,
    /// Of the warm-up; `null` when none shows above the noise.
    pub time_constant_s: Option<f64>,
    /// Mean speed of the wheel in the window.
    pub mean_speed_m_s: f64,
    /// Mean power in the window.
    pub mean_power_w: f64,
    /// Crr on the drums, before it is taken to a flat road.
    pub crr_drum: f64,
    /// On the flat, with the standard error from the scatter within the window.
    pub crr: Measured,
}

#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Pressures {
    /// Front tyre, kPa.
    pub front: f64,
    /// Rear tyre, kPa.
    pub rear: f64,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct WindResult {
    /// Mean speed of the wind; `null` where it is not known.
    pub speed_m_s: Option<f64>,
    /// Where it blows from, clockwise from north.
    pub from_deg: Option<f64>,
    /// Component towards the east.
    pub east_m_s: Measured,
    /// Component towards the north.
    pub north_m_s: Measured,
    /// The same along the home straight, positive as a tail wind there, and across it, positive from left to right, where nobody
    /// says which way the track lies; direction and components by the compass are unknown then.
    #[serde(default, skip_serializing_if = "Measured::is_unknown")]
    pub along_m_s: Measured,
    /// See `along_m_s`.
    #[serde(default, skip_serializing_if = "Measured::is_unknown")]
    pub across_m_s: Measured,
    /// Change from the middle of the run to its end, where one was solved for.
    pub drift_east_m_s: Measured,
    /// The same for the north component.
    pub drift_north_m_s: Measured,
    /// Standard deviation of the gusts along travel, when estimated.
    pub gust_m_s: Option<f64>,
}

impl WindResult {
    /// Standard error of a component on average, m/s: the speed of a vector that is hardly known has no error of its own. `None`
    /// for a wind that was not fitted.
    pub fn component_se_m_s(&self) -> Option<f64> {
        let of = |a: &Measured, b: &Measured| a.se.zip(b.se).map(|(a, b)| (0.5 * (a * a + b * b)).sqrt());
        of(&self.east_m_s, &self.north_m_s).or_else(|| of(&self.along_m_s, &self.across_m_s))
    }

    /// Whether the rides tell it from still air.
    pub fn is_told(&self) -> bool {
        self.speed_m_s.is_some_and(|speed_m_s| self.component_se_m_s().is_none_or(|se_m_s| speed_m_s > se_m_s))
    }
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct LapResult {
    /// From 1, the first whole lap.
    pub lap: usize,
    /// From the run's first record.
    pub start_s: f64,
    /// Time of the lap.
    pub duration_s: f64,
    /// Distance of the lap by the wheel.
    pub distance_m: f64,
    /// Mean speed of the lap.
    pub mean_speed_m_s: f64,
    /// Mean power of the lap.
    pub mean_power_w: Option<f64>,
    /// From 1, the slowest planned speed; `null` without classes.
    pub planned_speed_class: Option<usize>,
    /// Height error of the lap: by how much its end comes out above its start.
    pub misclosure_m: Option<f64>,
    /// Whether the lap counts.
    pub used: bool,
    /// Share of its steps that count; 0 where the lap does not.
    pub share_used: f64,
    /// Why it does not; `null` where it does.
    pub reason: Option<String>,
}
