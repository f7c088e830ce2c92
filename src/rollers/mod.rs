//! Crr from a ride on twin-drum rollers: no air drag, no slope, but curved drums, a valley and a warm-up.
//!
//! Given one recording, the rider and the rollers; gives Crr on the drums and on the flat with its scatter, the
//! window it was taken from, and what a sound test would have wanted. It reads no file and draws nothing.
//!
//! ```text
//! recording ─ account (energy and distance, second by second) ─ steady (stretch at one speed)
//!           ─ warm_up (decay of Crr) ─ window (where the decay is over) ─ run (the value, its scatter)
//! drum: the mechanics of a wheel on drums   sensitivity: the same window re-solved at ±u   practice: cautions
//! ```

pub mod account;
pub mod drum;
pub mod practice;
mod run;
mod scatter;
mod sensitivity;
mod steady;
pub mod warm_up;
mod window;

pub use account::{DrumInputs, WindowSums};
pub use run::{Choice, RollerRun, StatedWindow, analyse};
pub use sensitivity::{Kind, Reach, Sensitivity, kinds, sensitivities};

/// Shortest steady running that gives a value, s. One minute scatters, a pair of them cannot show a trend
/// (common practice, no source).
pub const SHORTEST_WINDOW_S: f64 = 180.0;
