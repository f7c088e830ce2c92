//! Bias and coverage over many simulated days: the proof that intervals mean what they say.
//!
//! The long studies are run by hand (`-- --ignored --nocapture`) and their tables stand in `benches/RESULTS.md`; a short one
//! with fixed seeds runs with all other tests.

mod exact;
mod factor_days;
mod misfit;
mod plain_days;
mod prediction;
mod real_days;
mod rollers;
mod tally;
