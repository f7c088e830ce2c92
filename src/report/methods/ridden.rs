//! What was ridden and found, as the sentences of the methods ask it.
//!
//! Given session and solution; gives yes or no, or the largest of values.

use crate::session::{Run, Session, Venue};
use crate::solution::Solution;

pub fn has_venue(session: &Session, venue: Venue) -> bool {
    session.runs.iter().any(|run| session.venue_of(run) == venue)
}

pub fn has_loops(session: &Session) -> bool {
    loop_runs(session).next().is_some()
}

pub fn loop_runs(session: &Session) -> impl Iterator<Item = &Run> {
    session.runs.iter().filter(|run| session.venue_of(run) != Venue::Rollers)
}

/// A track whose line follows from its stated bends.
pub fn has_geometry(session: &Session) -> bool {
    has_venue(session, Venue::Track) && session.circuit.has_known_bends()
}

pub fn has_code(solution: &Solution, code: &str) -> bool {
    solution.findings.iter().any(|finding| finding.code == code)
}

pub fn largest(values: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    values.flatten().filter(|v| v.is_finite()).reduce(f64::max)
}
