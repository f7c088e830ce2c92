//! The loop of a plan: its shape, or a ridden one, with the place where it lies.
//!
//! Given nothing; the keys of `[loop]` in a plan file with their defaults.

use super::ridden_shape::RiddenShape;
use crate::session::{Position, REFERENCE_TEMPERATURE_C, Venue};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Form of a loop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(rename_all = "kebab-case")]
pub enum LoopShape {
    /// Two straights, two bends of half a turn.
    #[default]
    Oval,
    /// Four bends of a quarter turn; the long sides are `aspect` times the short ones.
    RoundedRectangle,
    /// Two wide bends and one that turns the other way.
    Bean,
    /// A smooth closed curve drawn from `shape_seed`.
    Curve,
    /// Two long legs side by side with a narrow turn at each end.
    OutAndBack,
}

/// The loop to ride, as far as a simulation needs it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct PlannedLoop {
    pub kind: Venue,
    pub shape: LoopShape,
    /// A FIT or GPX track with one lap of the loop in it, which takes the place of `shape` and gives `length_m` where
    /// that is left out; relative to the plan.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shape_file: Option<String>,
    /// What was read from that file; put in by whoever reads it.
    #[serde(skip)]
    pub ridden: Option<RiddenShape>,
    /// One lap along the measuring line; needed unless every run is on rollers.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_m: Option<f64>,
    /// At the measuring line; 22 m on a track, 20 m on an out-and-back, else a twentieth of the lap.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bend_radius_m: Option<f64>,
    /// Length over which the curvature of a bend rises; 12 m when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub transition_m: Option<f64>,
    pub aspect: f64,
    pub shape_seed: u64,
    /// Half the height between the lowest and the highest point; 2 m on a road, 0 on a track.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub elevation_amplitude_m: Option<f64>,
    pub elevation_seed: u64,
    /// Direction of travel at the gate, clockwise from north.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub home_straight_bearing_deg: Option<f64>,
    /// Relative change of Crr per °C, as stated; the true one differs by its uncertainty. None when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_coefficient_per_c: Option<f64>,
    /// Temperature to which the Crr of the set-ups belongs; 20 °C when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_temperature_c: Option<f64>,
    /// Where the gate lies. The default is open sea, so that it is nobody's road.
    pub origin: Position,
    pub altitude_m: f64,
    /// Whether the device records positions; when left out, on a road yes, on a track no.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub positions: Option<bool>,
    /// A levelled survey with this standard deviation is written beside the rides.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub survey_sd_m: Option<f64>,
    /// The session will say that the track is level.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub level: bool,
}

impl Default for PlannedLoop {
    fn default() -> Self {
        PlannedLoop {
            kind: Venue::Road,
            shape: LoopShape::Oval,
            shape_file: None,
            ridden: None,
            length_m: None,
            bend_radius_m: None,
            transition_m: None,
            aspect: 2.0,
            shape_seed: 1,
            elevation_amplitude_m: None,
            elevation_seed: 1,
            home_straight_bearing_deg: None,
            temperature_coefficient_per_c: None,
            reference_temperature_c: None,
            origin: Position { lat_deg: 0.5, lon_deg: -140.0 },
            altitude_m: 30.0,
            positions: None,
            survey_sd_m: None,
            level: false,
        }
    }
}

impl PlannedLoop {
    /// Direction of travel at the gate: stated, as ridden, else east.
    pub(super) fn bearing_deg(&self) -> f64 {
        self.home_straight_bearing_deg.or(self.ridden.as_ref().map(RiddenShape::bearing_deg)).unwrap_or(90.0)
    }

    /// Crr of tyres at a temperature over their Crr at the reference, when it changes by a share per °C.
    pub(crate) fn crr_over_reference(&self, change_per_c: f64, tyres_c: f64) -> f64 {
        1.0 / (1.0 + change_per_c * (tyres_c - self.reference_temperature_c.unwrap_or(REFERENCE_TEMPERATURE_C)))
    }

    pub fn has_positions(&self) -> bool {
        self.positions.unwrap_or(self.kind == Venue::Road)
    }
}
