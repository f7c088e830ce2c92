//! Plans and the days simulated from them: what is refused, what a day holds, and that its truth comes back from it.
//!
//! Given plans; calls the simulation and nothing that estimates.

mod bytes;
mod day;
mod files;
mod plan_file;
mod truth;
