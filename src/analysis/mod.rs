//! The whole job on data already read, one call a stage: align, cut, account, fit, budget, compare.
//!
//! Given [`RiddenSession`]; gives an [`Analysis`]: the solution, what the figures show and the aligned series. It reads and
//! writes no file, looks at no clock and prints nothing.

pub(crate) mod air_of_run;
mod budget_lines;
mod combine;
mod contrasts;
mod crr_drift;
mod drag_bend;
mod drift_check;
mod evidence_of;
mod factors;
mod freed;
mod gusts_of_loop;
pub mod inspection;
mod ridden_session;
pub(crate) mod instrument;
mod instrument_budget;
pub(crate) mod known;
mod known_budget;
mod known_profile;
pub(crate) mod lap_inputs;
mod leave_one_out;
mod left_out;
pub(crate) mod loop_choices;
mod loop_length;
mod loop_findings;
mod loop_venue;
mod model_check;
mod monte_carlo;
mod on_rollers;
mod one_loop;
mod air_along;
mod outcome;
mod part;
mod prior_budget;
pub(crate) mod quantities;
mod repetition;
mod roller_budget;
mod roller_draws;
mod roller_outcome;
mod roller_replication;
mod roller_run;
mod roller_venue;
mod run_results;
pub(crate) mod run_values;
pub mod scaffold;
mod second_opinion;
mod sharing;
mod slip;
mod solvable_laps;
mod speed_delay;
mod speed_scale;
mod told_once;
mod tyre_rule;
mod unshown;
mod venue_outcome;
mod venues;
mod wind_turn;

pub use air_of_run::{LeastUncertainty, Readings, readings};
pub use monte_carlo::{Draws, FEWEST_DRAWS, MOST_DRAWS};
pub use ridden_session::{DEFAULT_LAP_DRAWS, Depth, RiddenSession};

use crate::error::Error;
use crate::evidence::Evidence;
use crate::finding::{Finding, RiddenAs, Slip, What};
use crate::sample::{Ride, SampleColumns, align};
use crate::session::Venue;
use crate::solution::{FindingResult, Solution};
use crate::wording::counted;
use polars::prelude::DataFrame;

/// The answer.
pub struct Analysis {
    pub solution: Solution,
    pub evidence: Evidence,
    /// Aligned series of all runs with lap, chainage, elevation and the reason of each record left out.
    pub samples: DataFrame,
}

/// Does the whole job.
///
/// Errors: those of the stages; see [`Error`].
pub fn analyse(inputs: &RiddenSession, depth: Depth) -> Result<Analysis, Error> {
    analyse_with_draws(inputs, depth, None)
}

/// The same with a check of the budget by random draws of its inputs, when they are asked for; with a depth without
/// budget there is nothing to check.
///
/// Errors: those of [`analyse`], and [`Error::Usage`] for more draws than can be kept.
pub fn analyse_with_draws(inputs: &RiddenSession, depth: Depth, draws: Option<Draws>) -> Result<Analysis, Error> {
    let draws = draws.filter(|_| depth.budget);
    let session = &inputs.session;
    let mut findings = Vec::new();
    let mut rides: Vec<Ride> = Vec::with_capacity(inputs.recordings.len());
    for (k, recording) in inputs.recordings.iter().enumerate() {
        let (ride, said) = align(recording);
        let venue = session.venue_of(&session.runs[k]);
        let indoors = What::Slip(Slip::RiddenAs(RiddenAs::Indoor));
        let as_it_should = |what: &What| venue != Venue::Road && *what == indoors;
        let said = recording.findings.iter().cloned().chain(said).filter(|what| !as_it_should(what));
        findings.extend(said.map(|what| Finding::of_run(k, as_seen_from(venue, what))));
        rides.push(ride);
    }
    findings.extend(slip::before_solving(inputs, &rides)?);
    let mut outcome = venues::solve(inputs, &rides, depth, draws)?;
    findings.extend(outcome.findings);
    // What is not in the result at all comes before what is odd about it.
    findings.sort_by_key(|f| !matches!(f.what, What::RunLeftOut { .. }));
    findings.extend(outcome.solution.monte_carlo.iter().flat_map(monte_carlo::findings));
    findings.extend(slip::implausible::tell(&mut outcome.solution));
    // What casts doubt on all numbers comes first; the sort keeps the order of the rest.
    findings.sort_by_key(|f| crate::finding::grave(f.what.code()).is_none());
    let solution = Solution { findings: findings.iter().map(finding_result).collect(), ..outcome.solution };
    let pairs: Vec<(&Ride, &SampleColumns)> = rides.iter().zip(&outcome.columns).collect();
    let samples = crate::sample::samples_frame(&pairs)?;
    Ok(Analysis { solution, evidence: outcome.evidence, samples })
}

/// Rollers have no laps for a gap to spoil.
fn as_seen_from(venue: Venue, what: What) -> What {
    match what {
        What::Gaps { count, longest_s } if venue == Venue::Rollers => What::RollerPractice {
            what: format!(
                "The record has {}, the longest {longest_s:.0} s. No energy is counted across one of more \
                 than 10 s, and the window found does not span it; let the device record every second without pause.",
                counted(count, "gap")
            ),
        },
        other => other,
    }
}

fn finding_result(finding: &Finding) -> FindingResult {
    FindingResult {
        code: finding.what.code().to_string(),
        run: finding.run.map(|r| r + 1),
        message: finding.what.message(),
    }
}
