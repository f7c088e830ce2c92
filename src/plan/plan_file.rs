//! What is planned, and what a rehearsal takes for true: the types of a plan file.
//!
//! Given nothing; the keys of a plan file with their defaults. Keys that a session file has too mean the same here. It
//! checks nothing (`plan_check` does), opens no file and simulates nothing.

use super::noise::{Mishap, Noise};
use super::planned_day::PlannedDay;
use super::planned_loop::PlannedLoop;
use crate::session::factors::Stated;
use crate::session::{Expected, Reference, RiderAndBike, Rollers, Solve, Uncertainty, Venue, WindMode};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A test day before it is ridden.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    #[serde(default)]
    pub title: String,
    /// Set-up that the others are compared with; the first when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub baseline: Option<String>,
    /// Set-up ids, one a run, in the order of riding.
    pub order: Vec<String>,
    /// Whole laps ridden in each run on a loop or track.
    #[serde(default = "default_laps")]
    pub laps_per_run: usize,
    /// Planned speed of each lap, repeated over the laps; this or `powers_w`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub speeds_km_h: Vec<f64>,
    /// Planned power of each lap, repeated over the laps, where the rider holds power and lets speed answer wind and road.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub powers_w: Vec<f64>,
    /// Speed held on rollers; the first of `speeds_km_h` when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rollers_speed_km_h: Option<f64>,
    /// Length of a run on rollers.
    #[serde(default = "default_duration")]
    pub run_duration_s: f64,
    /// Mass of each run; that of `rider_and_bike`, scattered by `noise.mass_scatter_kg`, when left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub run_mass_kg: Vec<f64>,
    /// Temperature of the tyres in each run, as read and as true; that of the air when left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub run_tyre_temperature_c: Vec<f64>,
    /// Venue of each run when a day mixes rollers and a loop; that of `loop.kind` when left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub on: Vec<Venue>,
    /// Start of the first run. Never the clock, so that a rehearsal can be repeated.
    #[serde(default = "default_start")]
    pub start: String,
    /// Between the end of a run and the start of the next.
    #[serde(default = "default_pause")]
    pub pause_between_runs_s: f64,
    #[serde(default = "default_seed")]
    pub seed: u64,
    pub rider_and_bike: RiderAndBike,
    #[serde(default)]
    pub uncertainty: Uncertainty,
    #[serde(default, rename = "loop")]
    pub circuit: PlannedLoop,
    #[serde(default)]
    pub air: PlannedAir,
    #[serde(default)]
    pub wind: PlannedWind,
    #[serde(default)]
    pub expected: Expected,
    #[serde(default)]
    pub solve: Solve,
    #[serde(default)]
    pub reference: Reference,
    #[serde(default)]
    pub rollers: Rollers,
    #[serde(default)]
    pub target: Target,
    #[serde(default)]
    pub limits: Limits,
    #[serde(default)]
    pub noise: Noise,
    #[serde(default, skip_serializing_if = "PlannedDay::is_plain")]
    pub day: PlannedDay,
    #[serde(rename = "setup")]
    pub setups: Vec<PlannedSetup>,
    /// Things that go wrong at stated times.
    #[serde(default, rename = "mishap", skip_serializing_if = "Vec::is_empty")]
    pub mishaps: Vec<Mishap>,
}

fn default_laps() -> usize {
    8
}
fn default_duration() -> f64 {
    900.0
}
fn default_start() -> String {
    "2031-05-03T09:00:00Z".into()
}
fn default_pause() -> f64 {
    900.0
}
fn default_seed() -> u64 {
    1
}

/// A set-up with the values it is taken to have.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlannedSetup {
    pub id: String,
    #[serde(default)]
    pub label: String,
    pub cda_m2: f64,
    pub crr: f64,
    /// Flat-ground Crr on a drum where it differs from the road's for want of roughness.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crr_rollers: Option<f64>,
    /// As in a session: text is a kind, a number a quantity with its unit at the end of the key.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub factors: BTreeMap<String, Stated>,
}

impl PlannedSetup {
    /// The label, or the id where none is stated.
    pub fn name(&self) -> &str {
        match self.label.trim() {
            "" => &self.id,
            label => label,
        }
    }
}

/// Weather as it will be stated in the session.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct PlannedAir {
    pub temperature_c: f64,
    pub pressure_hpa: f64,
    pub humidity_pct: f64,
}

impl Default for PlannedAir {
    fn default() -> Self {
        PlannedAir { temperature_c: 18.0, pressure_hpa: 1000.0, humidity_pct: 60.0 }
    }
}

/// Mean wind at rider height, and what the session will say about it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct PlannedWind {
    pub mode: WindMode,
    pub speed_m_s: f64,
    /// Where it blows from, clockwise from north.
    pub from_deg: f64,
    /// What the session will say was expected.
    pub expected_m_s: f64,
}

impl Default for PlannedWind {
    fn default() -> Self {
        PlannedWind {
            mode: WindMode::Estimate,
            speed_m_s: 0.0,
            from_deg: 0.0,
            expected_m_s: crate::session::EXPECTED_WIND_M_S,
        }
    }
}

/// Smallest difference the test should find; a plan is judged against what is stated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(default, deny_unknown_fields)]
pub struct Target {
    /// At the reference conditions.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_w: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crr: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cda_m2: Option<f64>,
}

/// What the rider can and wants to do; the best pair of speeds is looked for within it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(default, deny_unknown_fields)]
pub struct Limits {
    /// A fifth below the slowest planned speed when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slowest_km_h: Option<f64>,
    /// A tenth above the fastest planned speed when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fastest_km_h: Option<f64>,
    /// Mean power of a lap that can be kept up.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_w: Option<f64>,
}

impl Plan {
    pub fn venue_of(&self, run: usize) -> Venue {
        self.on.get(run).copied().unwrap_or(self.circuit.kind)
    }

    /// Number of runs on a venue.
    pub fn runs_on(&self, venue: Venue) -> usize {
        (0..self.order.len()).filter(|run| self.venue_of(*run) == venue).count()
    }

    /// Set-up of a run, `None` when its id is not there.
    pub fn setup_of(&self, run: usize) -> Option<&PlannedSetup> {
        let id = self.order.get(run)?;
        self.setups.iter().find(|s| &s.id == id)
    }
}
