//! Where on the loop, how long it is, and which runs and steps count: slips of several sizes in simulated days, each told,
//! refused, or without effect.

mod counted_laps;
mod days;
mod missing_steps;
mod odd_positions;
mod odd_runs;
mod speed_scale;
mod stated_length;
mod steps;
mod track;
