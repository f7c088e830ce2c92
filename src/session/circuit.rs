//! The venue and its loop.
//!
//! Given by a session file; holds values and their defaults. It checks nothing.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Kind of venue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(rename_all = "kebab-case")]
pub enum Venue {
    #[default]
    Road,
    Track,
    Rollers,
}

impl Venue {
    /// What a reader is told it is.
    pub fn name(self) -> &'static str {
        match self {
            Venue::Road => "loop",
            Venue::Track => "track",
            Venue::Rollers => "rollers",
        }
    }
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

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Position {
    /// Latitude of the timing point.
    pub lat_deg: f64,
    /// Longitude of the timing point.
    pub lon_deg: f64,
}
