//! What rides look like: one proposed run for each, and the venue of all.
//!
//! Given a recording; gives what it holds, the kind of venue and what else a session states of a run.

use crate::analysis::inspection::{Inspection, inspect};
use crate::record::Recording;
use crate::sample::{Ride, align};
use crate::uncertainty::serial::mean_of_known;

/// Shortest and longest lap that may be one of a track, m (common practice, no source).
pub const TRACK_M: [f64; 2] = [150.0, 600.0];

/// What was found in the folder beside rides.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Beside {
    /// A weather log.
    pub weather: Option<String>,
    /// A levelled profile.
    pub survey: Option<String>,
    /// Files that are no rides, with the reason.
    pub passed_over: Vec<PassedOver>,
}

/// A file that is not used.
#[derive(Debug, Clone, PartialEq)]
pub struct PassedOver {
    pub file: String,
    pub reason: String,
}

/// Kind of venue that a ride looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Looks {
    Road,
    Track,
    Rollers,
}

/// One proposed run.
pub struct Proposed {
    pub held: Inspection,
    pub ride: Ride,
    pub looks: Looks,
    /// Another device on the same ride.
    pub second: Option<String>,
    /// A run that was ridden at the same time and has power too.
    pub beside: Option<String>,
    pub temperature_c: Option<f64>,
    pub elevation_m: Option<f64>,
}

impl Proposed {
    pub fn of(recording: &Recording) -> Proposed {
        let held = inspect(recording, None);
        let ride = align(recording).0;
        let on_the_move = held.moves == Some(true);
        let marked = held.laps.device_lap_length_m;
        let looks = match (on_the_move, marked) {
            (true, _) => Looks::Road,
            (false, Some(length)) if (TRACK_M[0]..=TRACK_M[1]).contains(&length) => Looks::Track,
            (false, Some(_)) => Looks::Road,
            (false, None) => Looks::Rollers,
        };
        let temperature_c = mean_of_known(&recording.temperature_c);
        Proposed {
            held,
            looks,
            second: None,
            beside: None,
            temperature_c,
            elevation_m: mean_of_known(&ride.altitude_m),
            ride,
        }
    }
}

/// The venue of the loop: that of most runs that are not on rollers, as only a loop has keys of its own.
pub fn venue(runs: &[Proposed]) -> Looks {
    let count = |looks| runs.iter().filter(|r| r.looks == looks).count();
    match (count(Looks::Road), count(Looks::Track)) {
        (0, 0) => Looks::Rollers,
        (road, track) if track > road => Looks::Track,
        _ => Looks::Road,
    }
}

impl Looks {
    pub fn word(self) -> &'static str {
        match self {
            Looks::Road => "road",
            Looks::Track => "track",
            Looks::Rollers => "rollers",
        }
    }
}
