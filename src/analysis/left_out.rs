//! Days on which some runs cannot be used: they are solved without them, and the runs keep their places.
//!
//! Given all inputs and a way to solve those of some runs; gives one outcome with a row for every run and set-up, and a
//! finding for each run that is not used. It judges no run.

use super::part::Part;
use super::ridden_session::RiddenSession;
use super::run_results::run_result;
use super::venue_outcome::VenueOutcome;
use crate::error::{Error, UnusableRun};
use crate::evidence::RunEvidence;
use crate::finding::{Finding, What};
use crate::sample::{Ride, SampleColumns};
use crate::solution::SetupResult;

/// Solves, leaving out what the error says cannot be used as long as anything is left.
///
/// Errors: those of `solve`; where the rest cannot be solved either, the cause that the first run was left out for.
pub(super) fn solve_without_unusable(
    inputs: &RiddenSession,
    rides: &[Ride],
    solve: impl Fn(&RiddenSession, &[Ride]) -> Result<VenueOutcome, Error>,
) -> Result<VenueOutcome, Error> {
    let (mut unusable, mut cause) = match solve(inputs, rides) {
        Err(Error::RunsUnusable { runs, cause }) => (runs, cause),
        other => return other,
    };
    loop {
        let is_left = |k: usize| unusable.iter().all(|u| u.run != k);
        let part = Part::of(inputs, rides, &is_left);
        if part.runs.is_empty() {
            return Err(*cause);
        }
        match solve(&part.inputs, &part.rides) {
            Ok(mut outcome) => {
                part.renumber(&mut outcome);
                return Ok(with_all_runs(inputs, rides, &part, outcome, unusable));
            }
            Err(Error::RunsUnusable { runs, cause: again }) => {
                unusable.extend(runs.into_iter().map(|u| UnusableRun { run: part.runs[u.run], ..u }));
                cause = again;
            }
            Err(of_the_rest) => return Err(together(inputs, &unusable, of_the_rest)),
        }
    }
}

/// What stops the rest, with the runs that are missing in it.
fn together(inputs: &RiddenSession, unusable: &[UnusableRun], of_the_rest: Error) -> Error {
    let named: Vec<String> =
        unusable.iter().map(|u| format!("run {} ({})", u.run + 1, inputs.session.runs[u.run].file)).collect();
    let reasons: Vec<&str> = unusable.iter().map(|u| u.reason.as_str()).collect();
    let next = format!("{}; without {}: {of_the_rest}", reasons.join("; "), named.join(", "));
    let left = inputs.session.runs.len() - unusable.len();
    match of_the_rest {
        Error::TooFewLaps { laps, needed, .. } => Error::TooFewLaps { laps, runs: left, needed, next },
        other => other,
    }
}

/// A row for every run and set-up, without values where there are none.
fn with_all_runs(
    inputs: &RiddenSession,
    rides: &[Ride],
    part: &Part,
    outcome: VenueOutcome,
    mut unusable: Vec<UnusableRun>,
) -> VenueOutcome {
    let session = &inputs.session;
    unusable.sort_by_key(|u| u.run);
    let mut out = outcome;
    let at = |k: usize| part.runs.iter().position(|of| *of == k);
    let runs = (0..session.runs.len())
        .map(|k| at(k).map_or_else(|| run_result(inputs, &rides[k], k), |i| out.solution.runs[i].clone()))
        .collect();
    let unused = |k: usize| RunEvidence::unused(session.setup_of(&session.runs[k]), &rides[k]);
    let series =
        (0..session.runs.len()).map(|k| at(k).map_or_else(|| unused(k), |i| out.evidence.runs[i].clone())).collect();
    let columns = (0..session.runs.len())
        .map(|k| at(k).map_or_else(SampleColumns::default, |i| out.columns[i].clone()))
        .collect();
    let setups = (0..session.setups.len())
        .map(|s| match part.setups.iter().position(|of| *of == s) {
            Some(i) => out.solution.setups[i].clone(),
            None => {
                let setup = &session.setups[s];
                SetupResult { id: setup.id.clone(), label: setup.name().to_string(), ..SetupResult::default() }
            }
        })
        .collect();
    out.solution.runs = runs;
    out.solution.setups = setups;
    out.evidence.runs = series;
    out.columns = columns;
    let said = unusable.into_iter().map(|u| Finding::of_run(u.run, What::RunLeftOut { reason: u.reason }));
    out.findings = said.chain(out.findings).collect();
    out
}
