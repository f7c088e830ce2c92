//! The whole job on data already read, one call a stage: align, cut, account, fit, budget, compare.
//!
//! Given [`Inputs`]; gives an [`Analysis`]: the solution, what the figures show and the aligned series. It reads and
//! writes no file, looks at no clock and prints nothing.

pub(crate) mod air_of_run;
mod budget_lines;
mod combine;
mod contrasts;
mod crr_drift;
mod evidence_of;
mod factors;
mod freed;
pub mod inspection;
pub(crate) mod instrument;
pub(crate) mod known;
mod known_budget;
mod left_out;
mod loop_length;
pub(crate) mod loop_venue;
mod monte_carlo;
mod air_along;
mod outcome;
mod prior_budget;
pub(crate) mod quantities;
mod repetition;
mod roller_budget;
mod roller_draws;
mod roller_outcome;
mod roller_replication;
mod roller_venue;
mod run_results;
pub(crate) mod run_values;
pub mod scaffold;
mod second_opinion;
mod sharing;
mod slip;
mod solvable_laps;
mod speed_age;
mod speed_scale;
mod venues;

pub use air_of_run::{LeastUncertainty, Readings, readings};
pub use monte_carlo::{Draws, FEWEST_DRAWS, MOST_DRAWS};

use crate::air::WeatherLog;
use crate::circuit::Survey;
use crate::error::Error;
use crate::evidence::Evidence;
use crate::finding::{Finding, RiddenAs, Slip, What};
use crate::record::Recording;
use crate::sample::{Ride, SampleColumns, align};
use crate::session::{Session, Venue};
use crate::solution::{FindingResult, Solution};
use instrument::InstrumentBudget;
use polars::prelude::DataFrame;
use run_values::{BetweenRuns, RunValues};

/// Everything a session names, read.
#[derive(Debug, Clone)]
pub struct Inputs {
    pub session: Session,
    /// One for each run, a second device already joined.
    pub recordings: Vec<Recording>,
    pub weather: Option<WeatherLog>,
    pub survey: Option<Survey>,
}

/// Draws of the bootstrap over laps unless told otherwise: a standard error is then known to 1/√2000, 2.2 %, and the main
/// job takes some 20 ms longer.
pub const DEFAULT_LAP_DRAWS: usize = 1000;

/// What a caller may leave out to save time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// Propagate the uncertainties of the measuring chain.
    pub budget: bool,
    /// Draws of the bootstrap over laps; 0 for none.
    pub draws: usize,
}

impl Default for Depth {
    fn default() -> Self {
        Depth { budget: true, draws: DEFAULT_LAP_DRAWS }
    }
}

/// The answer.
pub struct Analysis {
    pub solution: Solution,
    pub evidence: Evidence,
    /// Aligned series of all runs with lap, chainage, elevation and the reason of each record left out.
    pub samples: DataFrame,
}

/// What one venue, or all of them together, gives.
struct VenueOutcome {
    /// Without its findings.
    solution: Solution,
    findings: Vec<Finding>,
    evidence: Evidence,
    /// What is added to each record of each run.
    columns: Vec<SampleColumns>,
    budget: Option<InstrumentBudget>,
}

/// Does the whole job.
///
/// Errors: those of the stages; see [`Error`].
pub fn analyse(inputs: &Inputs, depth: Depth) -> Result<Analysis, Error> {
    analyse_with_draws(inputs, depth, None)
}

/// The same with a check of the budget by random draws of its inputs, when they are asked for; with a depth without
/// budget there is nothing to check.
///
/// Errors: those of [`analyse`], and [`Error::Usage`] for more draws than can be kept.
pub fn analyse_with_draws(inputs: &Inputs, depth: Depth, draws: Option<Draws>) -> Result<Analysis, Error> {
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

/// All runs are on one loop.
fn of_loop(inputs: &Inputs, rides: &[Ride], depth: Depth, draws: Option<Draws>) -> Result<VenueOutcome, Error> {
    let calibrated = speed_scale::calibrated(inputs, rides)?;
    let (inputs, rides) = calibrated.as_ref().map_or((inputs, rides), |c| (&c.inputs, &c.rides[..]));
    let mut venue = loop_venue::solve(inputs, rides, depth)?;
    let mut findings: Vec<Finding> = calibrated.iter().flat_map(|c| c.findings.iter().cloned()).collect();
    findings.append(&mut venue.findings);
    findings.extend(slip::wind::check(inputs, rides, &venue));
    let session = &inputs.session;
    let values = RunValues::new(&venue)?;
    let of_runs = slip::twins::of_loop(session, &values);
    findings.extend(of_runs.iter().flat_map(|of| slip::twins::findings(session, of)));
    let between = BetweenRuns::new(session, &venue.fit, &values, session.circuit.kind)?;
    let mut solution = outcome::solution(inputs, rides, &venue, &between, &mut findings);
    findings.extend(sharing::findings(session, &venue, &between, &solution));
    let second = second_opinion::second_opinion(&inputs.session, &venue, &solution, depth.draws);
    findings.extend(second.findings);
    let drift = crr_drift::drift(&inputs.session, rides, &venue, solution.separable);
    findings.extend(drift.findings);
    solution.crr_drift = drift.result;
    solution.factors = factors::factors(&inputs.session, &solution);
    solution.bootstrap = second.result;
    if let Some(draws) = draws {
        solution.monte_carlo = Some(monte_carlo::of_loop(inputs, rides, &venue, &solution, draws)?);
    }
    let (evidence, columns) = evidence_of::evidence(inputs, rides, &venue, &solution);
    Ok(VenueOutcome { solution, findings, evidence, columns, budget: venue.budget })
}

/// All runs are on rollers.
fn of_rollers(inputs: &Inputs, rides: &[Ride], depth: Depth, draws: Option<Draws>) -> Result<VenueOutcome, Error> {
    let venue = roller_venue::solve(inputs, rides, depth)?;
    let chain = draws.map(|_| roller_draws::RollerChain::new(&inputs.session, &venue));
    let mut outcome = roller_outcome::outcome(inputs, rides, venue);
    outcome.solution.factors = factors::factors(&inputs.session, &outcome.solution);
    let of_runs = slip::twins::of_rollers(&inputs.session, &outcome.solution);
    outcome.findings.extend(of_runs.iter().flat_map(|of| slip::twins::findings(&inputs.session, of)));
    if let (Some(draws), Some(chain)) = (draws, chain) {
        outcome.solution.monte_carlo = Some(chain.check(&inputs.session, &outcome.solution, draws)?);
    }
    Ok(outcome)
}

/// Rollers have no laps for a gap to spoil.
fn as_seen_from(venue: Venue, what: What) -> What {
    match what {
        What::Gaps { count, longest_s } if venue == Venue::Rollers => What::RollerPractice {
            what: format!(
                "The record has {count} gap(s), the longest {longest_s:.0} s. No energy is counted across one of more \
                 than 10 s, and the window found does not span it; let the device record every second without pause."
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
