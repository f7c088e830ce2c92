//! What a change of Crr over the day needs before it is fitted, and days that do not show it.
//!
//! Given inputs or a fit; refuses, and chooses the moment to which Crr belongs. The drift itself is fitted by `solve`.

use super::ridden_session::RiddenSession;
use crate::error::Error;
use crate::finding::What;
use crate::sample::Ride;
use crate::session::Session;
use crate::solve::fit::{LapInput, LoopFit};
use nalgebra::DVector;

/// A drift over several runs needs their times of day.
///
/// Errors: [`Error::Inconsistent`] for a run whose clock was not set.
pub fn check(inputs: &RiddenSession) -> Result<(), Error> {
    let session = &inputs.session;
    if !session.solve.crr_drift || session.runs.len() < 2 {
        return Ok(());
    }
    let unset = |of: &crate::record::Recording| of.findings.iter().any(|w| matches!(w, What::ClockNotSet));
    match session.runs.iter().zip(&inputs.recordings).find(|(_, recording)| unset(recording)) {
        Some((run, _)) => Err(Error::Inconsistent {
            file: run.file.clone(),
            line: None,
            message: "crr_drift needs the time of day of every run, and the clock of this ride was not set; leave \
                      crr_drift out and ride A B B A, which cancels a steady drift"
                .into(),
        }),
        None => Ok(()),
    }
}

/// A fit that failed with a drift in it fails, as a rule, because the order does not show the drift.
pub fn undetermined(session: &Session, rides: &[Ride], error: Error) -> Error {
    match error {
        Error::Numerical { message, .. } if session.solve.crr_drift => {
            Error::DriftUndetermined { order: order(session, rides), better: there_and_back(session), reason: message }
        }
        other => other,
    }
}

/// Share of the variance of a drift that may rest on what was expected of the other parameters.
const MOST_EXPECTED_SHARE: f64 = 0.5;

/// Refuses a drift that the rides do not show and only expectations of Crr and CdA seem to tell.
///
/// Errors: [`Error::DriftUndetermined`].
pub fn is_shown(session: &Session, rides: &[Ride], fit: &LoopFit) -> Result<(), Error> {
    let Some(column) = fit.layout.crr_drift else { return Ok(()) };
    let mut unit = DVector::zeros(fit.layout.len);
    unit[column] = 1.0;
    let laps = fit.covariance.contrast(&unit);
    let share = laps.prior / (laps.prior + laps.working);
    if share <= MOST_EXPECTED_SHARE {
        return Ok(());
    }
    let reason = format!("{:.0} % of its variance would rest on what was expected of Crr and CdA", 100.0 * share);
    Err(Error::DriftUndetermined { order: order(session, rides), better: there_and_back(session), reason })
}

/// Counts hours from the mean moment of the laps used, so that Crr is that of this moment.
pub fn count_from_mean_moment(laps: &mut [LapInput], fit: &LoopFit) {
    let weighted = fit.used.iter().zip(&fit.weight).map(|(i, w)| laps[*i].hour * w).sum::<f64>();
    let mean = weighted / fit.weight.iter().sum::<f64>();
    laps.iter_mut().for_each(|lap| lap.hour -= mean);
}

/// Set-ups in the order in which the runs began, which need not be that of the session.
pub fn order(session: &Session, rides: &[Ride]) -> String {
    let mut begun: Vec<(f64, &str)> =
        session.runs.iter().zip(rides).map(|(run, ride)| (ride.start_unix_s, run.setup.as_str())).collect();
    begun.sort_by(|a, b| a.0.total_cmp(&b.0));
    begun.into_iter().map(|(_, setup)| setup).collect::<Vec<_>>().join(" ")
}

/// The set-ups once forward and once backward.
pub fn there_and_back(session: &Session) -> String {
    let ids = session.setups.iter().map(|s| s.id.as_str());
    ids.clone().chain(ids.rev()).collect::<Vec<_>>().join(" ")
}
