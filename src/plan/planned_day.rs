//! What a day does beside the plain one: shelter, yaw, changes from run to run, a junction.
//!
//! Given nothing; the keys of `[day]` in a plan file. Left out, the day is plain: one wind for the whole loop, a drag that
//! does not care where the wind comes from, a rider who sits alike in every run. It draws no random number.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a day departs from one wind, one position and free roads.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct PlannedDay {
    /// Least share of the wind that reaches the rider anywhere on the loop; 1 is open country. The share goes smoothly
    /// between this and 1, as trees and houses stand, unless `sheltered_part` is stated.
    pub shelter_least: f64,
    /// Where trees and houses stand.
    pub shelter_seed: u64,
    /// Begin and end of one sheltered part as shares of the lap, such as [0.2, 0.5]; there the share of the wind is
    /// `shelter_least`, elsewhere 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sheltered_part: Option<[f64; 2]>,
    /// How far a valley turns the wind to each side along the loop.
    pub wind_turns_deg: f64,
    /// k of CdA(ψ) = CdA (1 + k sin²ψ), where this CdA multiplies w·w∥; the CdA of a set-up is that of wind from ahead.
    /// Published curves run from about 0 to 2.6.
    pub yaw_coefficient: f64,
    /// Change of drag from run to run, as a standard deviation relative to CdA: another way of sitting.
    pub cda_run_to_run: f64,
    /// Change of rolling resistance from run to run, relative to Crr: a tyre fitted or inflated again.
    pub crr_run_to_run: f64,
    /// Drag in laps slower than the middle of the planned speeds over that in the others, less 1: a rider who sits up.
    pub slow_lap_cda_excess: f64,
    /// A junction, as a share of the lap.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub junction_at: Option<f64>,
    /// Share of the laps in which there is traffic and the rider stops; 1 is every lap.
    pub junction_stops: f64,
    /// How long the rider stands there.
    pub junction_wait_s: f64,
}

impl Default for PlannedDay {
    fn default() -> Self {
        PlannedDay {
            shelter_least: 1.0,
            shelter_seed: 1,
            sheltered_part: None,
            wind_turns_deg: 0.0,
            yaw_coefficient: 0.0,
            cda_run_to_run: 0.0,
            crr_run_to_run: 0.0,
            slow_lap_cda_excess: 0.0,
            junction_at: None,
            junction_stops: 0.5,
            junction_wait_s: 5.0,
        }
    }
}

impl PlannedDay {
    /// Nothing of the kind happens.
    pub fn is_plain(&self) -> bool {
        let changes = [self.yaw_coefficient, self.cda_run_to_run, self.crr_run_to_run, self.slow_lap_cda_excess];
        changes.iter().all(|change| *change == 0.0)
            && self.shelter_least == 1.0
            && self.wind_turns_deg == 0.0
            && self.junction_at.is_none()
    }
}
