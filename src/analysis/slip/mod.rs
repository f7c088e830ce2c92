//! Slips that a result does not show: files, clocks, venues, masses, winds and values that do not fit each other.
//!
//! Given what was read, stated and solved; gives findings and refusals. It solves nothing itself.

pub(super) mod implausible;
mod mass;
pub(super) mod run_unlike;
mod same_ride;
pub(super) mod trend;
pub(super) mod twins;
mod venue;
pub(super) mod wind;

use super::ridden_session::RiddenSession;
use crate::error::Error;
use crate::finding::Finding;
use crate::sample::Ride;

/// What can be told before anything is solved.
///
/// Errors: [`Error::Contradicted`] where two runs are one ride, or a ride is not of its venue.
pub(super) fn before_solving(inputs: &RiddenSession, rides: &[Ride]) -> Result<Vec<Finding>, Error> {
    let mut out = same_ride::check(inputs, rides)?;
    out.extend(venue::check(inputs, rides)?);
    out.extend(mass::check(&inputs.session));
    Ok(out)
}
