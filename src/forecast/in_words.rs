//! Words of a forecast by the venue of its plan: track or loop, and laps counted as figure and table count them.
//!
//! Given a plan; gives words.

use crate::plan::Plan;
use crate::session::Venue;
use crate::wording::counted;

/// What a tester calls the place that is not rollers.
pub fn place_of(plan: &Plan) -> &'static str {
    if plan.circuit.kind == Venue::Track { "track" } else { "loop" }
}

/// Runs of each set-up that are not on rollers, where all have as many.
fn runs_of_each(plan: &Plan) -> Option<usize> {
    let of = |id: &String| {
        let ridden = |run: &usize| plan.order.get(*run) == Some(id) && plan.venue_of(*run) != Venue::Rollers;
        (0..plan.order.len()).filter(ridden).count()
    };
    let counts: Vec<usize> = plan.setups.iter().map(|setup| of(&setup.id)).collect();
    counts.first().copied().filter(|first| *first > 0 && counts.iter().all(|count| count == first))
}

/// Laps as figure and table count them, "64 laps of each set-up (32 in each run)".
pub fn laps_of_each(plan: &Plan, in_each_run: usize) -> String {
    match runs_of_each(plan) {
        Some(runs) => format!("{} of each set-up ({in_each_run} in each run)", counted(runs * in_each_run, "lap")),
        None => format!("{} in each run", counted(in_each_run, "lap")),
    }
}
