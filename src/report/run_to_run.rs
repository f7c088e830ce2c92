//! The sentence on what changes from run to run.
//!
//! Given a solution; gives words, nothing where runs told nothing of it.

use super::number::significant;
use crate::solution::{RunToRunResult, Solution};
use crate::wording::{counted, percent, venue_name};

/// Of every venue.
pub fn sentence(solution: &Solution) -> String {
    let venues = solution.by_venue();
    let several = venues.len() > 1;
    let one = |of: &RunToRunResult, venue: &str| {
        let place = if several { format!(" on the {}", venue_name(venue)) } else { String::new() };
        let share = |x: f64| format!("{} %", significant(100.0 * x, 2));
        let told = match (of.repeats, of.rests_on_prior) {
            (0, _) => "no set-up was ridden twice, so this is what is expected beforehand".to_string(),
            (n, true) => {
                format!("{} tell little, so this is nearly what is expected beforehand", counted(n, "repeated run"))
            }
            (n, false) => {
                format!(
                    "found from {}; {} is expected beforehand",
                    counted(n, "repeated run"),
                    share(of.supposed_fraction)
                )
            }
        };
        format!(
            "From one run of a set-up to the next {}{place} changes by {} ({} to {} at {}): {told}.",
            of.of,
            share(of.fraction),
            share(of.low),
            share(of.high),
            percent(solution.confidence)
        )
    };
    let said: Vec<String> = venues.iter().filter_map(|v| Some(one(v.run_to_run.as_ref()?, &v.venue))).collect();
    said.join(" ")
}
