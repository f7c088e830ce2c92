//! A change of Crr linear in time over the day, as of tyres that warm up: what it needs, and what it turned out to be.
//!
//! Given inputs, or a solved loop; refuses days that cannot show a drift, chooses the moment to which Crr belongs, and gives
//! the drift with what it costs the differences. The drift itself is fitted by `solve`.

use super::Inputs;
use super::contrasts::Pair;
use super::loop_venue::LoopVenue;
use super::quantities::{Linear, PowerAt, SetupQuantities, linear_known};
use crate::compare::order::CONFOUNDED_FROM;
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::Session;
use crate::solution::CrrDriftResult;
use crate::solve::fit::{LapInput, LoopFit};
use crate::uncertainty::student::t_two_sided_p;
use nalgebra::DVector;

/// A moment before this, the epoch of FIT files at the end of 1989, is one of a clock that was never set.
const LEAST_UNIX_S: f64 = 631_065_600.0;

/// What was found.
#[derive(Debug, Clone, Default)]
pub struct Drift {
    pub result: Option<CrrDriftResult>,
    pub findings: Vec<Finding>,
}

/// A drift over several runs needs their times of day.
///
/// Errors: [`Error::Inconsistent`] for a run whose clock was not set.
pub fn check(inputs: &Inputs) -> Result<(), Error> {
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
pub fn undetermined(session: &Session, error: Error) -> Error {
    match error {
        Error::Numerical { message, .. } if session.solve.crr_drift => {
            Error::DriftUndetermined { order: order(session), better: there_and_back(session), reason: message }
        }
        other => other,
    }
}

/// Share of the variance of a drift that may rest on what was expected of the other parameters.
const MOST_EXPECTED_SHARE: f64 = 0.5;

/// Refuses a drift that the rides do not show and only expectations of Crr and CdA seem to tell.
///
/// Errors: [`Error::DriftUndetermined`].
pub fn is_shown(session: &Session, fit: &LoopFit) -> Result<(), Error> {
    let Some(column) = fit.layout.crr_drift else { return Ok(()) };
    let mut unit = DVector::zeros(fit.layout.len);
    unit[column] = 1.0;
    let laps = fit.covariance.contrast(&unit);
    let share = laps.prior / (laps.prior + laps.working);
    if share <= MOST_EXPECTED_SHARE {
        return Ok(());
    }
    let reason = format!("{:.0} % of its variance would rest on what was expected of Crr and CdA", 100.0 * share);
    Err(Error::DriftUndetermined { order: order(session), better: there_and_back(session), reason })
}

/// Counts hours from the mean moment of the laps used, so that Crr is that of this moment.
pub fn count_from_mean_moment(laps: &mut [LapInput], fit: &LoopFit) {
    let weighted = fit.used.iter().zip(&fit.weight).map(|(i, w)| laps[*i].hour * w).sum::<f64>();
    let mean = weighted / fit.weight.iter().sum::<f64>();
    laps.iter_mut().for_each(|lap| lap.hour -= mean);
}

/// The drift of a solved loop, where one was fitted.
pub fn drift(session: &Session, rides: &[Ride], venue: &LoopVenue, separable: bool) -> Drift {
    let Some(column) = venue.fit.layout.crr_drift else { return Drift::default() };
    let mut findings = Vec::new();
    let worst = worst_inflation(session, venue, column);
    if let Some((pair, inflation)) = worst.filter(|(_, inflation)| *inflation >= most_inflation()) {
        findings.push(Finding::of_session(What::DriftConfounded {
            setup: session.setups[pair.setup].name().to_string(),
            baseline: session.setups[pair.baseline].name().to_string(),
            order: order(session),
            inflation,
            better: there_and_back(session),
        }));
    }
    if !separable {
        return Drift { result: None, findings };
    }
    let mut coefficients = DVector::zeros(venue.fit.layout.len);
    coefficients[column] = 1.0;
    let linear = Linear { coefficients, constant: 0.0 };
    let known = linear_known(&linear, &venue.fit.parameters, &venue.fit.covariance, None);
    let crr_per_h = known.estimate(session.solve.confidence);
    let p_value = crr_per_h.value.zip(crr_per_h.se).zip(crr_per_h.dof).map(|((v, se), dof)| t_two_sided_p(v / se, dof));
    let first = rides.iter().map(|r| r.start_unix_s).fold(f64::MAX, f64::min);
    let reference_unix_s = reference_unix_s(rides, venue).unwrap_or(first);
    let known_clock = reference_unix_s > LEAST_UNIX_S;
    let result = CrrDriftResult {
        crr_per_h,
        p_value: p_value.filter(|p| p.is_finite()),
        reference_time: jiff::Timestamp::from_second(reference_unix_s.round() as i64)
            .ok()
            .filter(|_| known_clock)
            .map(|t| t.to_string()),
        reference_s: reference_unix_s - first,
        confounded: !findings.is_empty(),
    };
    Drift { result: Some(result), findings }
}

/// The moment from which the hours of the laps count.
fn reference_unix_s(rides: &[Ride], venue: &LoopVenue) -> Option<f64> {
    let (input, at) = venue.laps.iter().zip(&venue.address).next()?;
    let lap = &venue.cut.runs[at.run][at.lap];
    Some(rides[at.run].start_unix_s + 0.5 * (lap.start_s + lap.end_s) - 3600.0 * input.hour)
}

/// Factor on a standard error from which more than half the variance of a difference is the drift's doing.
fn most_inflation() -> f64 {
    1.0 / (1.0 - CONFOUNDED_FROM * CONFOUNDED_FROM).sqrt()
}

/// The difference that suffers most from the drift, and the factor on its standard error against a drift that is known,
/// 1/√(1 − r²) with r the correlation of both estimates under the working covariance.
fn worst_inflation(session: &Session, venue: &LoopVenue, column: usize) -> Option<(Pair, f64)> {
    let (working, layout) = (&venue.fit.covariance.working, &venue.fit.layout);
    let power = PowerAt::reference(session);
    let of = |s: usize| SetupQuantities::new(layout, s, &power).crr;
    let mut worst: Option<(Pair, f64)> = None;
    for pair in Pair::against_baseline(session) {
        let c = of(pair.setup).minus(&of(pair.baseline)).coefficients;
        if c.iter().all(|x| *x == 0.0) {
            continue;
        }
        let with = working * &c;
        let left = 1.0 - with[column].powi(2) / (c.dot(&with) * working[(column, column)]);
        // Where nothing is left, or rounding says less, the two are one.
        let inflation = if left > 0.0 { 1.0 / left.sqrt() } else { f64::INFINITY };
        if worst.is_none_or(|(_, most)| inflation > most) {
            worst = Some((pair, inflation));
        }
    }
    worst
}

fn order(session: &Session) -> String {
    session.runs.iter().map(|r| r.setup.as_str()).collect::<Vec<_>>().join(" ")
}

/// The set-ups once forward and once backward.
fn there_and_back(session: &Session) -> String {
    let ids = session.setups.iter().map(|s| s.id.as_str());
    ids.clone().chain(ids.rev()).collect::<Vec<_>>().join(" ")
}
