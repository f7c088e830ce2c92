//! The air a rider moves through: how heavy it is and how it moves, from what was measured or is standard.
//!
//! Given temperature, pressure, humidity, elevation, a wind reading, or the text of a weather log; gives density,
//! wind vectors and weather at an instant. It opens no file and decides nothing about a missing reading.

pub mod density;
pub mod doubt;
pub mod standard;
pub mod weather;
pub mod wind;

pub use density::{DensityUncertainty, MoistAir, ReadingUncertainty, density_uncertainty, moist_air_density};
pub use standard::standard_pressure_at_elevation_pa;
pub use weather::{Weather, WeatherLog};
pub use wind::{Direction, WindVector};
