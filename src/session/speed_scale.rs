//! What the length of a lap is good for: how well a stated one holds, and whether speeds are brought to it.
//!
//! Given keys of the session; gives them typed, with the defaults that stand in for what is not stated.

use super::{Circuit, Venue};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where the scale of speed comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(rename_all = "kebab-case")]
pub enum SpeedScale {
    /// The device's wheel size, within `speed_fraction`.
    #[default]
    AsMeasured,
    /// The lap by positions, or its stated length, over the lap by the wheel.
    Calibrate,
}

impl SpeedScale {
    pub(super) fn is_as_measured(&self) -> bool {
        *self == SpeedScale::AsMeasured
    }
}

/// Standard deviation of the lap as ridden about a stated length: on a track, m, and on a road, as a share of it.
const TRACK_LENGTH_SD_M: f64 = 1.5;
const ROAD_LENGTH_SD: f64 = 0.002;

impl Circuit {
    /// Standard deviation of the lap as ridden about the stated length, m; `None` where no length is stated.
    pub fn length_sd_or_usual_m(&self) -> Option<f64> {
        let usual =
            |length_m: f64| if self.kind == Venue::Track { TRACK_LENGTH_SD_M } else { ROAD_LENGTH_SD * length_m };
        self.length_m.map(|length_m| self.length_sd_m.unwrap_or_else(|| usual(length_m)))
    }
}
