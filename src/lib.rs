//! Rides on closed loops, tracks and rollers turned into CdA and Crr with honest intervals.

pub mod air;
pub mod analysis;
pub mod circuit;
pub mod compare;
pub mod constant;
pub mod demand;
pub mod error;
pub mod evidence;
pub mod finding;
pub mod model;
pub mod plan;
pub mod plot;
pub mod quantity;
pub mod record;
pub mod report;
pub mod rollers;
pub mod sample;
pub mod session;
pub mod solution;
pub mod solve;
pub mod uncertainty;
