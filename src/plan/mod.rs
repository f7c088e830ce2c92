//! A test day before it is ridden: the keys of a plan file, their checks, the ground and the session that follows.
//!
//! Given the text of a plan file; gives a checked [`Plan`], the course it is ridden on and what a tester would write in the
//! session. The simulation and the forecast both stand on it. It touches no file, simulates nothing and estimates nothing.

mod atmosphere;
mod bean;
mod course;
mod curve;
mod day_check;
mod gpx;
mod lap_aims;
mod loop_check;
mod noise;
mod pieces;
mod plan_check;
mod plan_file;
mod planned_day;
mod planned_loop;
mod ridden_shape;
mod session_file;
mod shape;

pub(crate) use atmosphere::density_kg_m3;
pub(crate) use course::{Course, Spot};
pub use gpx::gpx_positions;
pub(crate) use lap_aims::{LapAim, LevelResistance};
pub use noise::{InstrumentErrors, Mishap, MishapKind, Noise, SpeedSource};
pub use plan_file::{Limits, Plan, PlannedAir, PlannedSetup, PlannedWind, Target};
pub use planned_day::PlannedDay;
pub use planned_loop::{LoopShape, PlannedLoop};
pub use ridden_shape::RiddenShape;
pub(crate) use session_file::session_of;
pub use session_file::session_toml;
