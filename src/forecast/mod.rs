//! What a plan can show before it is ridden, by the solver's own matrices and by rehearsals that are solved.
//!
//! Given a plan; gives predicted errors, laps needed, what a change of plan would bring, and estimates of rehearsed days
//! beside the truth. The design of the day comes from the simulation, everything else from the solver. It touches no
//! file and no clock and writes no text.

mod alternatives;
mod answer;
mod beside_truth;
mod between_runs;
mod by_rehearsal;
mod design;
mod factors;
mod goal;
mod in_words;
mod lap_targets;
mod laps_needed;
mod on_the_loop;
mod one_speed;
mod order;
mod prediction;
mod propagate;
mod quiet;
mod row_noise;
mod speeds;
mod study;

pub use alternatives::Alternative;
pub use answer::{FORECAST_SCHEMA, Forecast, forecast, forecast_in_parts, forecast_parts};
pub use beside_truth::{BesideTruth, beside_truth, solve_rehearsal};
pub use by_rehearsal::TogetherForecast;
pub use goal::{Goal, Measure};
pub use in_words::{laps_of_each, place_of};
pub use lap_targets::{LapTarget, lap_targets};
pub use laps_needed::{GoalReached, LapsTable, WindLine};
pub use one_speed::{OneSpeed, SecondSpeed};
pub use order::OrderForecast;
pub use prediction::{DifferenceForecast, Predicted, Prediction, SetupForecast, predict_plan};
pub use speeds::{SpeedAdvice, SpeedPair};
pub use study::{Study, StudyLine, study};
