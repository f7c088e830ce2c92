//! Where on the loop, which lap: positions become chainage, passes of a gate become laps.
//!
//! Given rides on one clock; gives laps cut at equal steps of chainage and the line they were ridden on. It
//! marks laps that must not be used and never removes one.

mod chainage;
mod changing_speed;
mod counted_laps;
mod fixes;
mod found_loop;
mod gate;
mod gate_search;
mod lap;
mod lap_fixes;
mod lap_marks;
mod lap_length;
mod lap_sequence;
mod line_drift;
mod line_of_loop;
mod mapped_length;
mod passes;
mod placed_rides;
mod plane;
mod reach;
mod reference_line;
mod shown_track;
mod speed_delay;
mod spoiled_steps;
mod steady_cut;
mod survey;
mod track;

pub use chainage::Chainage;
pub use found_loop::{FoundLoop, cut};
pub use gate::{Gate, Track};
pub use gate_search::{find_gate, steady_gate};
pub use lap::{Lap, LapCut, RunToCut};
pub use lap_length::{LapLengths, LengthReading};
pub use placed_rides::has_moving_positions;
pub use plane::{Place, Plane};
pub use reference_line::ReferenceLine;
pub use speed_delay::SpeedDelay;
pub use survey::Survey;
pub use track::{StatedBends, track_line};
