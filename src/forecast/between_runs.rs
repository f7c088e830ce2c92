//! What changes from run to run adds to a prediction: solving's second stage, asked before the day is ridden.
//!
//! Given a design and the noise of its rows; gives the runs as estimates of their own with the covariance that laps and
//! priors will leave them, and what is expected to be seen of changes between them. It draws no random number.

use super::design::{Design, DesignChoice};
use super::propagate::Extent;
use super::quiet::QuietDay;
use super::row_noise::RowNoise;
use crate::analysis::run_values::{BetweenRuns, RunValues, per_unit};
use crate::error::Error;
use crate::session::Sharing;
use crate::solve::account::LapAccount;
use crate::solve::layout::{By, Layout};
use crate::uncertainty::replication::Replication;
use nalgebra::{DMatrix, DVector};

/// The second stage of a design that was fitted in a layout with these parameters.
///
/// Errors: [`Error::Numerical`] when the runs cannot be told apart.
pub(super) fn between_runs(
    day: &QuietDay,
    choice: &DesignChoice,
    noise: &RowNoise,
    fitted: (&Layout, &[f64]),
) -> Result<BetweenRuns, Error> {
    let of_positions = choice.crr == Sharing::Common && choice.cda == Sharing::PerSetup;
    let mut design = Design::new(day, choice);
    if of_positions {
        design.choices.cda = By::Run;
    } else {
        design.choices.crr = By::Run;
    }
    // One value a run leaves nothing for a drift between runs.
    design.choices.crr_drift = false;
    let told = design.propagate(noise, Extent::Covariance)?;
    let parameters = design.parameters(&told.layout);
    let all = &told.scatter + &told.open;
    let runs = 0..choice.runs.len();
    let columns: Vec<usize> =
        runs.clone().map(|k| if of_positions { told.layout.cda(k) } else { told.layout.crr(k) }).collect();
    let laps_of: Vec<Vec<&LapAccount>> =
        runs.clone().map(|k| design.laps.iter().map(|l| &l.account).filter(|a| a.run == k).collect()).collect();
    let parts = |k: usize| {
        let (per_crr, per_cda) = per_unit(laps_of[k].iter().copied());
        (parameters[told.layout.crr(k)] * per_crr, parameters[told.layout.cda(k)] * per_cda, per_crr, per_cda)
    };
    let resistance = |k: usize| {
        let (rolling_n, drag_n, per_crr, per_cda) = parts(k);
        (rolling_n + drag_n) / if of_positions { per_cda } else { per_crr }
    };
    let (per_crr, per_cda) = per_unit(design.laps.iter().map(|l| &l.account));
    let values = RunValues {
        of_positions,
        cda_as_crr_m2: per_crr / per_cda,
        run: runs.clone().collect(),
        value: DVector::from_iterator(columns.len(), columns.iter().map(|c| parameters[*c])),
        covariance: DMatrix::from_fn(columns.len(), columns.len(), |i, j| all[(columns[i], columns[j])]),
        laps: laps_of.iter().map(Vec::len).collect(),
        resistance: runs.clone().map(resistance).collect(),
    };
    let scale = day.session.uncertainty.run_to_run(day.session.circuit.kind);
    let (rolling_n, drag_n, ..) = parts(0);
    let planned = day.changes.of_resistance(rolling_n, drag_n).unwrap_or(scale);
    let true_fraction = if choice.runs_alike { 0.0 } else { planned };
    let (layout, at) = fitted;
    BetweenRuns::with(layout, at, &values, day.session.solve.confidence, |estimates| {
        Replication::expected(estimates, scale, true_fraction)
    })
}
