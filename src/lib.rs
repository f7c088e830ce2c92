//! Rides on closed loops, tracks and rollers turned into CdA and Crr with honest intervals.
//!
//! ```text
//! session.toml ─┐
//! FIT, CSV ─────┴─► record ─► sample ─► circuit ─► model + air ─► solve ─► uncertainty ─► compare ─► solution.json
//!                   decode    one       laps at    energy         CdA,     intervals,     verdicts    report.html
//!                             clock     equal      account        Crr,     budget                     figures
//!                                       steps      by step        wind, lag
//! ```
//!
//! Modules stand in reading order: each uses only those above it.

pub mod quantity;
pub mod printable;
pub mod wording;
pub mod units;
pub mod constant;
pub mod error;
pub mod finding;
pub mod session;
pub mod record;
pub mod sample;
pub mod circuit;
pub mod air;
pub mod model;
pub mod uncertainty;
pub mod solve;
pub mod compare;
pub mod factor;
pub mod evidence;
pub mod rollers;
pub mod demand;
pub mod solution;
pub mod standing;
pub mod outlook;
pub mod analysis;
pub mod pool;
pub mod plan;
pub mod simulate;
pub mod forecast;
pub mod plot;
pub mod report;
