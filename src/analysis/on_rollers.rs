//! The whole job for runs that are all on rollers: solve, compare, check.
//!
//! Given inputs and rides; gives what the venue tells. It is a list of calls.

use super::monte_carlo::Draws;
use super::ridden_session::{Depth, RiddenSession};
use super::slip::twins;
use super::venue_outcome::VenueOutcome;
use super::{factors, roller_draws, roller_outcome, roller_venue};
use crate::error::Error;
use crate::sample::Ride;

/// All runs are on rollers.
pub fn of_rollers(
    inputs: &RiddenSession,
    rides: &[Ride],
    depth: Depth,
    draws: Option<Draws>,
) -> Result<VenueOutcome, Error> {
    let venue = roller_venue::solve(inputs, rides, depth)?;
    let chain = draws.map(|_| roller_draws::RollerChain::new(&inputs.session, &venue));
    let mut outcome = roller_outcome::outcome(inputs, rides, venue);
    outcome.solution.factors = factors::factors(&inputs.session, &outcome.solution);
    let of_runs = twins::of_rollers(&inputs.session, &outcome.solution);
    outcome.findings.extend(of_runs.iter().flat_map(|of| twins::findings(&inputs.session, of)));
    if let (Some(draws), Some(chain)) = (draws, chain) {
        outcome.solution.monte_carlo = Some(chain.check(&inputs.session, &outcome.solution, draws)?);
    }
    Ok(outcome)
}
