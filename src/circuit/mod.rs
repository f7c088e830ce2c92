//! Where on the loop, which lap: positions become chainage, passes of a gate become laps.
//!
//! Given rides on one clock; gives laps cut at equal steps of chainage and the line they were ridden on. It
//! marks laps that must not be used and never removes one.

mod chainage;
mod gate;
mod gate_search;
mod lap;
mod line_drift;
mod passes;
mod plane;
mod reference_line;
mod sighting;
mod speed_age;
mod stint;
mod survey;
mod track;

pub use chainage::Chainage;
pub use gate::{Gate, Track};
pub use gate_search::{find_gate, steady_gate};
pub use lap::{FoundLoop, Lap, LapCut, RunToCut, cut};
pub use passes::has_moving_positions;
pub use plane::{Place, Plane};
pub use reference_line::ReferenceLine;
pub use speed_age::SpeedAge;
pub use survey::Survey;
pub use track::track_line;
