//! Set-ups on rollers with what changes from run to run in them: a wheel mounted again, pressure, the gauge.
//!
//! Given solved runs; gives the second stage over them. It knows nothing of the instruments.

use super::roller_run::SolvedRun;
use crate::error::Error;
use crate::session::{Session, Venue};
use crate::solution::RunToRunResult;
use crate::uncertainty::budget::{Combined, welch_satterthwaite};
use crate::uncertainty::replication::{Replication, RunEstimates};
use nalgebra::{DMatrix, DVector};

/// Least Crr that changes from run to run are a fraction of: below it nothing is plausible, and a value of 0 would have none.
const LEAST_CRR: f64 = 0.0005;

/// One Crr for each run with its error from within its window; what changes from run to run is a fraction of the mean Crr of
/// the set-up.
///
/// Errors: those of [`Replication::of`].
pub fn replication(session: &Session, runs: &[SolvedRun]) -> Result<Replication, Error> {
    let within: Vec<Combined> = runs.iter().map(of_window).collect();
    let mean = |setup: usize| {
        let own: Vec<f64> = runs.iter().filter(|r| r.setup == setup).map(|r| r.result.crr_flat).collect();
        (own.iter().sum::<f64>() / own.len() as f64).max(LEAST_CRR)
    };
    let variances = DVector::from_iterator(runs.len(), within.iter().map(|w| w.standard_uncertainty.powi(2)));
    let estimates = RunEstimates {
        estimates: DVector::from_iterator(runs.len(), runs.iter().map(|r| r.result.crr_flat)),
        covariance: DMatrix::from_diagonal(&variances),
        dof: within.iter().map(|w| w.dof).collect(),
        setup: runs.iter().map(|r| r.setup).collect(),
        scale: runs.iter().map(|r| mean(r.setup)).collect(),
    };
    Replication::of(estimates, session.uncertainty.run_to_run(Venue::Rollers))
}

/// What is left of the warm-up is an error of unknown size whose scale is known.
fn of_window(SolvedRun { result: run, .. }: &SolvedRun) -> Combined {
    welch_satterthwaite(&[
        Combined { standard_uncertainty: run.se_scatter, dof: run.dof },
        Combined { standard_uncertainty: run.se_warm_up, dof: f64::INFINITY },
    ])
}

/// As it is written.
pub fn run_to_run(session: &Session, replication: &Replication, venue: Venue, of: &str) -> RunToRunResult {
    let seen = replication.run_to_run(session.solve.confidence);
    RunToRunResult {
        of: of.into(),
        supposed_fraction: session.uncertainty.run_to_run(venue),
        fraction: seen.median,
        low: seen.low,
        high: seen.high,
        repeats: seen.repeats,
        rests_on_prior: seen.rests_on_prior(),
    }
}
