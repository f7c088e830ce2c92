//! Set-ups, and the rides of each.
//!
//! Given by a session file; holds values and their defaults. It checks nothing.

use super::circuit::Venue;
use super::factors::Stated;
use super::rider::BearingFriction;
use super::weather::AirHere;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    pub id: String,
    #[serde(default)]
    pub label: String,
    /// What the set-up stands for in a sweep or a design of several factors: text is a kind, such as tyre = "amber", a number a
    /// quantity with its unit at the end of the key, such as pressure_kpa = 620.0. Stated on every set-up or on none.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub factors: BTreeMap<String, Stated>,
}

impl Setup {
    /// The label, or the id where none was given.
    pub fn name(&self) -> &str {
        if self.label.is_empty() { &self.id } else { &self.label }
    }
}

/// Where laps come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(rename_all = "kebab-case")]
pub enum LapSource {
    /// Gate passes where there are positions; else regular lap marks; else distance with `length_m`.
    #[default]
    Auto,
    /// The lap marks of the file.
    Device,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TyrePressure {
    /// 1 bar is 100 kPa, 1 psi 6.9 kPa.
    pub front: f64,
    /// 1 bar is 100 kPa, 1 psi 6.9 kPa.
    pub rear: f64,
}

/// One ride of one set-up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(deny_unknown_fields)]
pub struct Run {
    /// Relative to the session file; FIT or CSV.
    pub file: String,
    pub setup: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass_kg: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wheel_inertia_kg_m2: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wheel_radius_m: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub centre_of_mass_height_m: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drivetrain_efficiency: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bearing_friction: Option<BearingFriction>,
    /// Recorded and printed; never enters the model.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tyre_pressure_kpa: Option<TyrePressure>,
    /// Of the tyres while ridden; that of the air stands for it where Crr is brought to a reference temperature.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tyre_temperature_c: Option<f64>,
    #[serde(default)]
    pub laps: LapSource,
    /// Planned speed of each lap, repeated over the laps.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub planned_speed_km_h: Vec<f64>,
    /// Laps not to use, counted from the first whole lap.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub leave_out: Vec<usize>,
    /// Laps to use in spite of an automatic mark.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub keep: Vec<usize>,
    /// Why a lap that stands in `leave_out` or `keep` does so, by the lap's number: `{ 3 = "a dog on the road" }`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub lap_reasons: BTreeMap<String, String>,
    /// File of another device, from which channels are taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_file: Option<String>,
    /// Rollers only: from and to, s from the first record, of the window that counts; found when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window_s: Option<[f64; 2]>,
    /// Venue of this run when a day mixes them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<Venue>,
    /// Of this run, where it is not that of `[air]`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub air: Option<AirHere>,
}
