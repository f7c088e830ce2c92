//! What the tester states: venue, set-ups, masses, weather and choices, as read from a session file.
//!
//! Given TOML text; gives a checked [`Session`] or an error that names line, key, value and range. It opens
//! no ride file.

mod read;
mod expected;
pub mod credible;
pub mod factors;
mod weather;
mod rider;
mod circuit;
mod speed_scale;
mod solve;
mod rollers;
mod uncertainty;
mod run;
mod whole;
pub(crate) mod rule;
mod ranges;
pub(crate) mod check;
mod check_runs;
mod blanks;
mod checked;

pub use blanks::BLANK_MARK;
pub use check_runs::LONGEST_REASON;
pub use circuit::{Circuit, Position, Venue};
pub use expected::{Expected, Yaw, YawWord};
pub use read::{locate, odd_message, parse_checked, syntax_error};
pub use rider::{BearingFriction, RiderAndBike};
pub use rollers::{REFERENCE_TEMPERATURE_C, Rollers};
pub use run::{LapSource, Run, Setup, TyrePressure};
pub use solve::{Lag, LagWord, Reference, Sharing, Solve};
pub use speed_scale::SpeedScale;
pub use uncertainty::{RUN_TO_RUN_ON_LOOPS, RUN_TO_RUN_ON_ROLLERS, Uncertainty};
pub use weather::{Air, AirHere, AlongLoop, AlongLoopWord, EXPECTED_WIND_M_S, Gusts, GustsWord, Wind, WindMode};
pub use whole::Session;
