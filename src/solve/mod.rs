//! From laps to CdA and Crr: energy accounts, elimination of the profile, least squares and planned-speed instruments.
//!
//! Given laps at equal steps of chainage with masses, air and wind; gives the parameters with everything that the
//! uncertainty needs. It reads no file and compares no set-ups.

pub mod account;
pub mod design;
pub mod fit;
pub mod gust;
mod heights;
pub mod instrumental_variables;
pub mod layout;
pub mod normal;
pub mod outer;
pub mod prior;
pub mod profile;
pub mod screen;
pub mod separation;
pub mod solved;
pub mod speed_class;
pub mod spread;
pub mod weights;
pub mod wind_along;
