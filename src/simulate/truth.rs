//! What was put into a rehearsal, to be laid beside what comes out.
//!
//! Given by the simulation; written as `expected.toml`. It holds no estimate and no tolerance.

use super::instruments::Instruments;
use crate::session::Position;
use serde::{Deserialize, Serialize};

/// The truth of a simulated day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    pub title: String,
    pub seed: u64,
    pub gravity_m_s2: f64,
    /// Of a loop or track.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loop_length_m: Option<f64>,
    /// k of CdA (1 + k sin²ψ), the CdA that multiplies w·w∥; that of a set-up is with the wind from ahead.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub yaw_coefficient: Option<f64>,
    /// Share of the wind that reaches the rider at equal steps round the lap from the gate; empty in the open.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub wind_share: Vec<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gate: Option<Position>,
    pub instruments: Instruments,
    #[serde(rename = "setup")]
    pub setups: Vec<SetupTruth>,
    #[serde(rename = "run")]
    pub runs: Vec<RunTruth>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetupTruth {
    pub id: String,
    pub cda_m2: f64,
    pub crr: f64,
    /// Flat-ground Crr on the drums.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crr_rollers: Option<f64>,
}

/// Times count from the first record of the run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RunTruth {
    pub file: String,
    pub setup: String,
    pub mass_kg: f64,
    /// Crr in the middle of the run where temperature, a drift or a change from run to run moves it from that of the set-up.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crr: Option<f64>,
    /// CdA of the run where it differs from that of the set-up.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cda_m2: Option<f64>,
    /// Speed against power: mean delay of the speeds at their stamps, less the delay of the averaging second of the
    /// power meter. Zero for an exact speed and a power that is the mean of the second before its stamp.
    pub speed_behind_power_s: f64,
    /// Mean over the run of the vector along which the air moves in the open, gusts included.
    pub wind_east_m_s: f64,
    pub wind_north_m_s: f64,
    /// One more than there are laps; empty on rollers.
    pub gate_passes_s: Vec<f64>,
    /// Begin of each mishap, and of each stop at a junction.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub spoiled_s: Vec<f64>,
}

impl Truth {
    /// The text of `expected.toml`.
    pub fn to_toml(&self) -> String {
        let head = "# What the simulation took for true. Tyres and positions are under [[setup]]; [instruments] holds the\n\
                    # true values behind those stated in session.toml. Times count from the first record of each run.\n";
        // Every value is a plain number, text or table, so that writing cannot fail.
        format!("{head}{}", toml::to_string(self).unwrap_or_default())
    }
}
