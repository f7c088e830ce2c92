//! What an inspection tells of a ride file.
//!
//! Given by the stages of an inspection; holds their answers. It judges nothing.

use super::channel::ChannelHeld;
use super::drawn::Drawn;
use super::laps::LapsHeld;
use super::sampling::{Sampling, Span};
use crate::finding::What;
use serde::Serialize;

/// What one ride file holds. Numbers are in the unit of their name, an unknown is `null` in JSON.
#[derive(Debug, Clone, Serialize)]
pub struct Inspection {
    pub file: String,
    pub sha256: String,
    pub bytes: u64,
    pub records: usize,
    /// Time of the first record, RFC 3339; `null` when the clock was not set.
    pub started: Option<String>,
    pub duration_s: f64,
    /// Whether positions show that the bicycle moves; `null` without positions.
    pub moves: Option<bool>,
    pub channels: Vec<ChannelHeld>,
    pub sampling: Sampling,
    pub gaps: Vec<Span>,
    pub pauses: Vec<Span>,
    /// Integral of the speed channel over the advance of the distance channel; `null` when one of them is missing.
    pub speed_over_distance: Option<f64>,
    pub laps: LapsHeld,
    /// Whether nothing stands in the way of a solution; [`Inspection::obstacles`] may still weaken it.
    pub solvable: bool,
    pub obstacles: Vec<Obstacle>,
    /// What was lost or odd while reading.
    pub findings: Vec<Noted>,
    #[serde(skip)]
    pub drawn: Drawn,
}

/// A finding in words.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Noted {
    pub code: &'static str,
    pub message: String,
}

impl From<&What> for Noted {
    fn from(what: &What) -> Self {
        Noted { code: what.code(), message: what.message() }
    }
}

/// Something that stands in the way of a good test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Obstacle {
    pub code: &'static str,
    /// Whether no solution is possible with it; else it weakens one.
    pub prevents: bool,
    pub what: String,
    pub remedy: String,
}
