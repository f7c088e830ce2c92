//! Results in words and tables: for the terminal, for the printed page, for the write-up.
//!
//! Given a solution, the session behind it and drawn figures; gives text and HTML. Pure: it computes nothing that is
//! not in its input except roundings, opens no file and asks no clock.

pub mod air;
pub mod budget;
mod budget_overview;
pub mod captions;
pub mod cautions;
pub mod crr_drift;
mod crr_held;
pub mod demand;
mod differences;
mod factors;
pub mod files;
pub mod findings;
pub mod meaning;
pub mod forecast;
mod held_fixed;
pub mod inspection;
pub mod lap_bootstrap;
pub mod lap_length;
mod lap_table;
pub mod laps_figure;
pub mod laps_left_out;
pub mod leave_one_out;
mod left_open;
pub mod methods;
pub mod monte_carlo;
pub mod next_plan;
pub mod outlook;
pub mod number;
pub mod page;
pub mod piece;
pub mod pooled;
pub mod rehearsal;
mod ride_files;
pub mod run_sheet;
mod run_table;
mod run_to_run;
mod setup_table;
mod shown_figures;
pub mod sources;
pub mod sparkline;
pub(crate) mod table;
pub mod text;
mod together;
pub mod verdict;

use crate::units;
pub use crate::units::Units;
