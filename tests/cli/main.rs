//! The program as a process: what a person sees who gets something wrong, and what a script can rely on.
//!
//! Given rides and sessions made here (and, where `LOOPWRIGHT_RIDES` names a folder, rides of real devices); runs the
//! built program. It calls no function of the library except to make input.

mod answers;
mod any_input;
#[path = "../fit_bytes/mod.rs"]
mod fit_bytes;
mod foreign_text;
mod generated;
mod imperial;
mod inspected;
mod kinds;
mod odd_text;
mod own_files;
mod pictures;
mod program;
mod publishable;
mod real_rides;
mod refusals;
mod rides;
mod single_ride;
mod writing;
