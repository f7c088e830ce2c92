//! Where no lap shows the loop, because every lap stops there or loses its record: what that opens.
//!
//! Given a solved loop; gives a finding or nothing. It changes no number.

use super::loop_venue::LoopVenue;
use crate::finding::{Finding, Slip, What};

/// The stretches of the loop that no lap in use shows.
pub fn finding(venue: &LoopVenue) -> Option<Finding> {
    let edge = &venue.cut.edge;
    let is_shown = |j: usize| venue.fit.used.iter().any(|i| venue.laps[*i].account.uses(j));
    let unshown: Vec<usize> = (0..edge.len() - 1).filter(|j| !is_shown(*j)).collect();
    let at_m = |j: usize| edge[j] * venue.cut.length_m;
    let stretches: Vec<[f64; 2]> =
        unshown.chunk_by(|a, b| *b == a + 1).map(|part| [at_m(part[0]), at_m(part[part.len() - 1] + 1)]).collect();
    let what = Slip::NoLapShows { stretches_m: stretches, height_sd_m: venue.fit.open_height_sd_m };
    (!unshown.is_empty()).then(|| Finding::of_session(What::Slip(what)))
}
