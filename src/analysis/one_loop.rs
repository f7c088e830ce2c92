//! The whole job for runs that are all on one loop: calibrate, solve, compare, check.
//!
//! Given inputs and rides; gives what the venue tells. It is a list of calls.

use super::monte_carlo::{self, Draws};
use super::ridden_session::{Depth, RiddenSession};
use super::run_values::{BetweenRuns, RunValues};
use super::slip::{trend, twins, wind};
use super::venue_outcome::VenueOutcome;
use super::{
    crr_drift, evidence_of, factors, instrument_budget, leave_one_out, loop_venue, model_check, outcome,
    second_opinion, sharing, speed_scale, tyre_rule, unshown,
};
use crate::error::Error;
use crate::finding::Finding;
use crate::sample::Ride;

/// All runs are on one loop; `crr_on_rollers` is that of each set-up where it is known.
pub fn of_loop(
    inputs: &RiddenSession,
    rides: &[Ride],
    depth: Depth,
    draws: Option<Draws>,
    crr_on_rollers: &[Option<f64>],
) -> Result<VenueOutcome, Error> {
    let calibrated = speed_scale::calibrated(inputs, rides)?;
    let (inputs, rides) = calibrated.as_ref().map_or((inputs, rides), |c| (&c.inputs, &c.rides[..]));
    let supposed = tyre_rule::supposed(inputs, rides);
    let inputs = supposed.as_ref().and_then(|s| s.inputs.as_ref()).unwrap_or(inputs);
    let mut venue = loop_venue::solve(inputs, rides)?;
    if depth.budget {
        venue.budget = Some(instrument_budget::budget(inputs, rides, &venue)?);
    }
    let mut findings: Vec<Finding> = calibrated.iter().flat_map(|c| c.findings.iter().cloned()).collect();
    findings.extend(supposed.iter().map(|s| s.finding.clone()));
    findings.append(&mut venue.findings);
    findings.extend(unshown::finding(&venue));
    findings.extend(wind::check(inputs, rides, &venue));
    let session = &inputs.session;
    let values = RunValues::new(&venue)?;
    let of_runs = twins::of_loop(session, &values);
    findings.extend(of_runs.iter().flat_map(|of| twins::findings(session, of)));
    findings.extend(trend::findings(&venue));
    let between = BetweenRuns::new(session, &venue.fit, &values, session.circuit.kind)?;
    let mut solution = outcome::solution(inputs, rides, &venue, &between, crr_on_rollers, &mut findings);
    solution.circuit.tyre_rule = tyre_rule::of(session, supposed.is_some());
    findings.extend(sharing::findings(session, &venue, &between, &solution));
    let solved = venue.frame().solved(&venue.laps, &venue.fit)?;
    let second = second_opinion::second_opinion(session, &venue, &solved, &solution, depth.draws);
    findings.extend(second.findings);
    let left_one_out = leave_one_out::leave_one_out(session, &venue, &solved, &solution);
    findings.extend(left_one_out.findings);
    solution.leave_one_out = left_one_out.results;
    let drift = crr_drift::drift(&inputs.session, rides, &venue, solution.separable);
    findings.extend(drift.findings);
    solution.crr_drift = drift.result;
    solution.factors = factors::factors(&inputs.session, &solution);
    solution.bootstrap = second.result;
    let checked = model_check::check(&venue, session.circuit.kind);
    findings.extend(checked.findings);
    solution.model_check = checked.result;
    if let Some(draws) = draws {
        solution.monte_carlo = Some(monte_carlo::of_loop(inputs, rides, &venue, &solution, draws)?);
    }
    let (mut evidence, columns) = evidence_of::evidence(inputs, rides, &venue, &solution);
    evidence.model_residual = checked.residual;
    Ok(VenueOutcome { solution, findings, evidence, columns, budget: venue.budget })
}
