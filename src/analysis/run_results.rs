//! What is written whatever the venue: the head of a solution, the head of a run, the order in which runs were ridden.
//!
//! Given session, recordings and rides; gives the parts of a [`Solution`] that need no solving.

use super::ridden_session::RiddenSession;
use crate::compare::order::pairs_in_time;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::{Session, Venue};
use crate::solution::{Pressures, ReferenceConditions, RunResult, SCHEMA, Solution};

/// A solution before its venue fills in what it found.
pub fn empty_solution(session: &Session) -> Solution {
    Solution {
        schema: SCHEMA,
        loopwright: env!("CARGO_PKG_VERSION").to_string(),
        title: session.title.clone(),
        confidence: session.solve.confidence,
        baseline: session.setups[session.baseline()].id.clone(),
        reference: ReferenceConditions {
            speed_km_h: session.reference.speed_km_h,
            mass_kg: session.reference_mass_kg(),
            air_density_kg_m3: session.reference.air_density_kg_m3,
        },
        ..Solution::default()
    }
}

/// A run before its venue fills in what it found.
pub fn run_result(inputs: &RiddenSession, ride: &Ride, k: usize) -> RunResult {
    let session = &inputs.session;
    let run = &session.runs[k];
    RunResult {
        file: run.file.clone(),
        sha256: inputs.recordings[k].provenance.sha256.clone(),
        setup: run.setup.clone(),
        venue: venue_word(session.venue_of(run)),
        mass_kg: session.rider_of(run).mass_kg,
        records: ride.len(),
        started: jiff::Timestamp::from_second(ride.start_unix_s as i64).ok().map(|t| t.to_string()),
        duration_s: ride.duration_s(),
        tyre_temperature_c: run.tyre_temperature_c,
        tyre_pressure_kpa: run.tyre_pressure_kpa.map(|p| Pressures { front: p.front, rear: p.rear }),
        ..RunResult::default()
    }
}

/// "road", "track" or "rollers".
pub fn venue_word(venue: Venue) -> String {
    format!("{venue:?}").to_lowercase()
}

/// A warning where set-up and time of day cannot be told apart.
pub fn order_finding(session: &Session, rides: &[Ride]) -> Option<Finding> {
    let setups: Vec<usize> = session.runs.iter().map(|r| session.setup_of(r)).collect();
    let times: Vec<f64> = rides.iter().map(|r| r.start_unix_s + 0.5 * r.duration_s()).collect();
    let mut by_clock: Vec<usize> = (0..times.len()).collect();
    by_clock.sort_by(|a, b| times[*a].total_cmp(&times[*b]));
    let order: Vec<&str> = by_clock.iter().map(|&k| session.runs[k].setup.as_str()).collect();
    let confounded = pairs_in_time(&setups, &times).iter().any(|p| p.is_confounded());
    let rollers = session.runs.iter().all(|r| session.venue_of(r) == Venue::Rollers);
    let venue = if rollers { Venue::Rollers } else { session.circuit.kind };
    confounded.then(|| Finding::of_session(What::OrderConfounded { orders: vec![(venue.name(), order.join(" "))] }))
}
