//! The rehearsal of a planned day with everything known: riders, air, ground and devices.
//!
//! Given a plan and a seed; gives simulated rides, the session that belongs to them and the truth, as values or as the
//! bytes of files. It shares no formula or step with the solver and uses no module that estimates anything, which
//! `tests/project/layers.rs` holds it to. It touches no file and no clock.

mod chance;
mod day;
mod drums;
mod fit_writer;
mod instruments;
mod junction;
mod lean;
mod motion;
mod rehearse;
mod ride;
mod rider;
mod sensor;
mod speedometer;
mod survey;
mod trace;
mod truth;
mod wind_field;

pub use day::{Rehearsal, simulate};
pub use fit_writer::encode;
pub use instruments::Instruments;
pub use rehearse::RehearsedFile;
pub use sensor::{Place, Reading, SimulatedRide};
pub use truth::{RunTruth, SetupTruth, Truth};
