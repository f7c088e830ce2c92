//! Results in words and tables: for the terminal, for the printed page, for the write-up.
//!
//! Given a solution, the session behind it and drawn figures; gives text and HTML. Pure: it computes nothing that is
//! not in its input except roundings, opens no file and asks no clock.

pub mod air;
pub mod budget;
pub mod captions;
pub mod cautions;
mod context;
pub mod crr_drift;
pub mod demand;
mod differences;
pub mod files;
mod held_fixed;
pub mod inspection;
pub mod laps_left_out;
pub mod methods;
pub mod monte_carlo;
pub mod number;
pub mod page;
pub mod pooled;
mod run_table;
pub mod second_opinion;
pub mod sources;
pub mod sparkline;
pub(crate) mod table;
pub mod text;
mod together;
pub mod units;
pub mod verdict;

pub use units::Units;
