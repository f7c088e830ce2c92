//! The whole job on data already read, one call a stage: align, cut, account, fit, budget, compare.
//!
//! Given [`Inputs`]; gives an [`Analysis`]: the solution, what the figures show and the aligned series. It reads and
//! writes no file, looks at no clock and prints nothing.

pub(crate) mod air_of_run;
mod evidence_of;
pub mod inspection;
pub(crate) mod instrument;
pub(crate) mod loop_venue;
mod outcome;
pub(crate) mod quantities;
mod solvable_laps;

pub use air_of_run::{LeastUncertainty, Readings, readings};

use crate::air::WeatherLog;
use crate::circuit::Survey;
use crate::error::Error;
use crate::evidence::Evidence;
use crate::record::Recording;
use crate::sample::{Ride, SampleColumns, align};
use crate::session::Session;
use crate::solution::Solution;
use polars::prelude::DataFrame;

/// Everything a session names, read.
#[derive(Debug, Clone)]
pub struct Inputs {
    pub session: Session,
    /// One for each run, a second device already joined.
    pub recordings: Vec<Recording>,
    pub weather: Option<WeatherLog>,
    pub survey: Option<Survey>,
}

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
        Depth { budget: true, draws: 0 }
    }
}

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
pub fn analyse(inputs: &Inputs, depth: Depth) -> Result<Analysis, Error> {
    let mut findings = Vec::new();
    let mut rides: Vec<Ride> = Vec::with_capacity(inputs.recordings.len());
    for (k, recording) in inputs.recordings.iter().enumerate() {
        let (ride, said) = align(recording);
        findings.extend(recording.findings.iter().cloned().chain(said).map(|w| crate::finding::Finding::of_run(k, w)));
        rides.push(ride);
    }
    let venue = loop_venue::solve(inputs, &rides, depth)?;
    findings.extend(venue.findings.iter().cloned());
    let solution = outcome::solution(inputs, &rides, &venue, findings);
    let (evidence, columns) = evidence_of::evidence(inputs, &rides, &venue, &solution);
    let pairs: Vec<(&Ride, &SampleColumns)> = rides.iter().zip(&columns).collect();
    let samples = crate::sample::samples_frame(&pairs)?;
    Ok(Analysis { solution, evidence, samples })
}
