//! Ride files in: FIT and CSV, whole and damaged, made here or from real devices.
//!
//! Given bytes; calls the public reader.

mod fit;
#[path = "../fit_bytes/mod.rs"]
mod fit_bytes;
mod hostile;
mod table;
