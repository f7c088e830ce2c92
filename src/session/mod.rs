//! What the tester states: venue, set-ups, masses, weather and choices, as read from a session file.
//!
//! Given TOML text; gives a checked [`Session`] or an error that names line, key, value and range. It opens
//! no ride file.

mod read;
pub(crate) mod rule;
mod ranges;
pub(crate) mod check;
mod expected;
pub mod factors;
mod rollers;
mod speed_scale;
mod typed;
mod uncertainty;
mod weather;

pub use expected::{Expected, Yaw, YawWord};
pub use read::{locate, odd_message, parse_checked, syntax_error};
pub use rollers::Rollers;
pub use speed_scale::SpeedScale;
pub use uncertainty::{RUN_TO_RUN_ON_LOOPS, RUN_TO_RUN_ON_ROLLERS, Uncertainty};
pub use weather::{Air, AirHere, AlongLoop, AlongLoopWord, EXPECTED_WIND_M_S, Gusts, GustsWord, Wind, WindMode};

use crate::constant;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::Path;

use crate::error::Error;

/// A whole test: one or more runs of one or more set-ups.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Session {
    #[serde(default)]
    pub title: String,
    /// Set-up that the others are compared with; the first when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub baseline: Option<String>,
    pub rider_and_bike: RiderAndBike,
    #[serde(default)]
    pub uncertainty: Uncertainty,
    #[serde(default, rename = "loop")]
    pub circuit: Circuit,
    #[serde(default)]
    pub air: Air,
    #[serde(default)]
    pub wind: Wind,
    #[serde(default)]
    pub expected: Expected,
    #[serde(default)]
    pub solve: Solve,
    #[serde(default)]
    pub reference: Reference,
    #[serde(default)]
    pub rollers: Rollers,
    #[serde(rename = "setup")]
    pub setups: Vec<Setup>,
    #[serde(rename = "run")]
    pub runs: Vec<Run>,
}

/// Mass and mechanics; every value may be repeated in a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RiderAndBike {
    /// Rider, bicycle, kit and bottles together, as weighed.
    pub mass_kg: f64,
    /// Both wheels together.
    #[serde(default = "default_wheel_inertia")]
    pub wheel_inertia_kg_m2: f64,
    /// Rolling radius.
    #[serde(default = "default_wheel_radius")]
    pub wheel_radius_m: f64,
    /// Above the contact line, along the leaning bicycle.
    #[serde(default = "default_com_height")]
    pub centre_of_mass_height_m: f64,
    /// From where power is measured to the road: 0.976 at pedal or crank, 1.0 at the hub.
    #[serde(default = "default_efficiency")]
    pub drivetrain_efficiency: f64,
    #[serde(default)]
    pub bearing_friction: BearingFriction,
}

fn default_wheel_inertia() -> f64 {
    constant::WHEEL_INERTIA_KG_M2
}
fn default_wheel_radius() -> f64 {
    constant::WHEEL_RADIUS_M
}
fn default_com_height() -> f64 {
    constant::CENTRE_OF_MASS_HEIGHT_M
}
fn default_efficiency() -> f64 {
    constant::DRIVETRAIN_EFFICIENCY
}

impl RiderAndBike {
    /// The stated mass with every other value at its default.
    pub fn of_mass(mass_kg: f64) -> Self {
        RiderAndBike {
            mass_kg,
            wheel_inertia_kg_m2: default_wheel_inertia(),
            wheel_radius_m: default_wheel_radius(),
            centre_of_mass_height_m: default_com_height(),
            drivetrain_efficiency: default_efficiency(),
            bearing_friction: BearingFriction::default(),
        }
    }
}

/// Bearing drag of both wheels, (constant + linear·v).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BearingFriction {
    /// Bearing drag of both wheels, constant part.
    pub constant_n: f64,
    /// Bearing drag of both wheels, part that grows with speed.
    pub linear_n_s_per_m: f64,
}

impl Default for BearingFriction {
    fn default() -> Self {
        BearingFriction {
            constant_n: constant::BEARING_CONSTANT_N,
            linear_n_s_per_m: constant::BEARING_LINEAR_N_S_PER_M,
        }
    }
}

/// Kind of venue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(rename_all = "kebab-case")]
pub enum Venue {
    #[default]
    Road,
    Track,
    Rollers,
}

/// The loop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(default, deny_unknown_fields)]
pub struct Circuit {
    pub kind: Venue,
    /// Timing point; found when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gate: Option<Position>,
    /// Surveyed length; needed for a track, else found.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_m: Option<f64>,
    /// Standard deviation of the lap as ridden about length_m; 1.5 m on a track, where a line 0.5 m further out is 3.1 m longer,
    /// and 0.2 % on a road when left out (common practice, no source).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_sd_m: Option<f64>,
    /// CSV with distance_m and elevation_m from the gate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub survey: Option<String>,
    /// Standard deviation of a surveyed height.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub survey_sd_m: Option<f64>,
    /// The track is level: its profile is known without a survey.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub level: bool,
    /// Of a track, at the measuring line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bend_radius_m: Option<f64>,
    /// Length over which the bend of a track tightens.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub transition_m: Option<f64>,
    /// Direction of travel on the home straight, clockwise from north; only needed for wind outdoors.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub home_straight_bearing_deg: Option<f64>,
    /// Relative fall of Crr per °C on this loop (ISO 28580 uses 0.008 for car tyres), 0 for no correction. When left out, and where
    /// runs were ridden at different temperatures that are stated, 0.015 ± 0.008 (after Rothhämel 2023).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_coefficient_per_c: Option<f64>,
    /// To which Crr is brought; 20 °C when left out, or the mean of the runs where no coefficient is stated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_temperature_c: Option<f64>,
}

impl Circuit {
    /// A track whose line follows from its stated bends.
    pub fn has_known_bends(&self) -> bool {
        self.kind == Venue::Track && self.bend_radius_m.is_some()
    }
}

/// Reference temperature of Crr where none is stated, °C, as on rollers.
pub const REFERENCE_TEMPERATURE_C: f64 = 20.0;

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Position {
    /// Latitude of the timing point.
    pub lat_deg: f64,
    /// Longitude of the timing point.
    pub lon_deg: f64,
}

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

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    pub id: String,
    #[serde(default)]
    pub label: String,
    /// What the set-up stands for in a sweep or a design of several factors: text is a kind, such as tyre = "amber", a number a
    /// quantity with its unit at the end of the key, such as pressure_kpa = 620.0. Stated on every set-up or on none.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub factors: BTreeMap<String, factors::Stated>,
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
    pub front: f64,
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

impl Session {
    /// Reads and checks a session.
    ///
    /// `file` is only used in messages. Errors: [`Error::Syntax`], [`Error::OutOfRange`],
    /// [`Error::Inconsistent`].
    pub fn from_toml(text: &str, file: &str) -> Result<Session, Error> {
        let session: Session = parse_checked(text, file)?;
        check::check(&session, text, file)?;
        Ok(session)
    }

    pub fn baseline(&self) -> usize {
        self.baseline.as_deref().and_then(|id| self.setups.iter().position(|s| s.id == id)).unwrap_or(0)
    }

    pub fn setup_of(&self, run: &Run) -> usize {
        self.setups.iter().position(|s| s.id == run.setup).unwrap_or(0)
    }

    pub fn venue_of(&self, run: &Run) -> Venue {
        run.on.unwrap_or(self.circuit.kind)
    }

    /// Mass and mechanics of a run: the session's, with what the run repeats put in.
    pub fn rider_of(&self, run: &Run) -> RiderAndBike {
        let base = &self.rider_and_bike;
        RiderAndBike {
            mass_kg: run.mass_kg.unwrap_or(base.mass_kg),
            wheel_inertia_kg_m2: run.wheel_inertia_kg_m2.unwrap_or(base.wheel_inertia_kg_m2),
            wheel_radius_m: run.wheel_radius_m.unwrap_or(base.wheel_radius_m),
            centre_of_mass_height_m: run.centre_of_mass_height_m.unwrap_or(base.centre_of_mass_height_m),
            drivetrain_efficiency: run.drivetrain_efficiency.unwrap_or(base.drivetrain_efficiency),
            bearing_friction: run.bearing_friction.unwrap_or(base.bearing_friction),
        }
    }

    /// The factors of the set-ups; `None` where none are stated.
    pub fn factors(&self) -> Option<factors::Factors> {
        self.stated_factors().ok().flatten()
    }

    fn stated_factors(&self) -> Result<Option<factors::Factors>, factors::Wrong> {
        let ids: Vec<&str> = self.setups.iter().map(|s| s.id.as_str()).collect();
        let stated: Vec<_> = self.setups.iter().map(|s| &s.factors).collect();
        factors::Factors::of(&ids, &stated, self.solve.curve.as_deref())
    }

    /// What was read of the air at a run itself or at its venue; the run's own reading comes first.
    pub fn air_here(&self, run: &Run) -> AirHere {
        let of_venue = if self.venue_of(run) == Venue::Rollers { self.rollers.air } else { None };
        run.air.unwrap_or_default().or(of_venue.unwrap_or_default())
    }

    /// Mass at which watts are given.
    pub fn reference_mass_kg(&self) -> f64 {
        self.reference.mass_kg.unwrap_or(self.rider_and_bike.mass_kg)
    }

    /// A path of the session file, resolved. Relative paths may not leave the session's folder.
    pub fn resolve(folder: &Path, name: &str) -> Result<std::path::PathBuf, Error> {
        let path = Path::new(name);
        if path.is_absolute() {
            return Ok(path.to_path_buf());
        }
        if path.components().any(|c| matches!(c, std::path::Component::ParentDir)) {
            return Err(Error::Inconsistent {
                file: name.to_string(),
                line: None,
                message: "a relative path may not leave the folder of the session; move the file there or give its absolute path".into(),
            });
        }
        Ok(folder.join(path))
    }
}
