//! Before the ride: the plan of a test day, what it can show, and its rehearsal with everything known.
//!
//! Given a plan file; gives a forecast and a run sheet, simulated rides with their session and the truth, and what solving
//! them gives, as values or as the bytes of files. It touches no file and no clock. The simulation (`simulate` and what it
//! uses) shares no formula or step with the solver; the forecast (`design` and what it uses) rests on the solver's own.

mod alternatives;
mod atmosphere;
mod bean;
mod beside_truth;
mod by_rehearsal;
mod chance;
mod course;
mod curve;
mod design;
mod drums;
mod fit_writer;
mod forecast;
mod forecast_text;
mod goal;
mod gpx;
mod instruments;
mod lap_targets;
mod laps_figure;
mod laps_needed;
mod lean;
mod motion;
mod noise;
mod order;
mod pieces;
mod plan_check;
mod plan_file;
mod prediction;
mod propagate;
mod quiet;
mod rehearsal_text;
mod rehearse;
mod ridden_shape;
mod ride;
mod rider;
mod row_noise;
mod sensor;
mod session_file;
mod shape;
mod sheet;
mod simulate;
mod speedometer;
mod speeds;
mod study;
mod trace;
mod truth;

pub use alternatives::Alternative;
pub use beside_truth::{BesideTruth, beside_truth, solve_rehearsal};
pub use fit_writer::encode;
pub use forecast::{FORECAST_SCHEMA, Forecast, forecast};
pub use forecast_text::forecast_text;
pub use goal::{Goal, Measure};
pub use gpx::gpx_positions;
pub use instruments::Instruments;
pub use lap_targets::{LapTarget, lap_targets};
pub use laps_figure::laps_curves;
pub use laps_needed::{GoalReached, LapsTable, WindLine};
pub use noise::{InstrumentErrors, Mishap, MishapKind, Noise, SpeedSource};
pub use order::OrderForecast;
pub use plan_file::{Limits, LoopShape, Plan, PlannedAir, PlannedLoop, PlannedSetup, PlannedWind, Target};
pub use prediction::{DifferenceForecast, Predicted, Prediction, SetupForecast, predict_plan};
pub use rehearsal_text::{beside_truth_text, study_text};
pub use rehearse::{RehearsedFile, rehearse_files};
pub use ridden_shape::RiddenShape;
pub use sensor::{Place, Reading, SimulatedRide};
pub use session_file::session_toml;
pub use sheet::{RunSheet, run_sheet};
pub use simulate::{Rehearsal, simulate};
pub use speeds::{SpeedAdvice, SpeedPair};
pub use study::{Study, StudyLine, study};
pub use truth::{RunTruth, SetupTruth, Truth};
