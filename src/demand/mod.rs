//! What the numbers are for: watts at a speed, speed at a power, time and energy over a distance.
//!
//! Given a rider's CdA, Crr and mass and the conditions of a ride at steady speed; gives power split by cause. It
//! accelerates nobody and knows nothing of a course: one gradient, one wind.

mod distance;
mod power;
mod speed;

pub use distance::{Journey, over_distance};
pub use power::{Conditions, Demand, Parameters, demand_at_speed};
pub use speed::{Pace, demand_at, speed_at_power};
