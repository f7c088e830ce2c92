//! Plausible mistakes at several sizes: each is told or refused with cause and next step, or does not move the result.
//!
//! Given simulated days and files made here; changes one thing as a tired tester or a weak battery would, and solves. The
//! table of slips and sizes stands in `README.md` beside this file.

mod air;
mod day;
#[path = "../cli/program.rs"]
#[allow(dead_code)]
mod program;
#[path = "../fit_bytes/mod.rs"]
mod fit_bytes;
mod files;
mod inspect;
mod laps;
mod mass;
mod meter;
mod power;
mod scaffold;
mod trend;
mod venue;
