//! Simulated days on the loop, solved: each part of the model earns its place, and where on the loop, how long it is, and which
//! runs and steps count are told, refused, or without effect.

mod counted_laps;
mod crr_drift;
mod days;
mod missing_steps;
mod odd_positions;
mod odd_runs;
mod recovery;
mod speed_scale;
mod stated_length;
mod steps;
mod track;
mod tyre_temperature;
