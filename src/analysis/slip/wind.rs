//! A stated or logged wind held against the one that the laps show.
//!
//! Given a solved loop whose wind was given; solves it again with the wind free and compares. It changes no result.

use super::super::loop_venue::{self, LoopVenue};
use super::super::ridden_session::RiddenSession;
use crate::finding::{Finding, Slip, What};
use crate::sample::Ride;
use crate::session::WindMode;

/// Difference as vectors from which a stated wind is told, m/s, and standard errors.
const APART_M_S: f64 = 1.0;
const SDS: f64 = 3.0;

/// One finding for the worst of the runs; nothing where laps cannot show a wind.
pub(in crate::analysis) fn check(inputs: &RiddenSession, rides: &[Ride], venue: &LoopVenue) -> Option<Finding> {
    if inputs.session.wind.mode != WindMode::Given || !venue.cut.has_bearings {
        return None;
    }
    let mut free = inputs.clone();
    free.session.wind.mode = WindMode::Estimate;
    (free.session.wind.speed_m_s, free.session.wind.from_deg) = (None, None);
    let solved = loop_venue::solve(&free, rides).ok()?;
    let runs = &solved.fit.layout.runs;
    let mut worst: Option<Slip> = None;
    let (mut odd, mut apart) = (0, 0.0);
    for (k, run) in runs.iter().enumerate() {
        let (east, north) = run.east.zip(run.north)?;
        let fitted = |column: usize| solved.fit.parameters[column];
        let variance = |column: usize| solved.fit.covariance.parameter_standard_error(column).powi(2);
        let given = venue.air[k].wind.at(0.5 * rides[k].duration_s());
        let apart_m_s = (fitted(east) - given.east_m_s).hypot(fitted(north) - given.north_m_s);
        let se_m_s = (0.5 * (variance(east) + variance(north))).sqrt();
        if apart_m_s < APART_M_S.max(SDS * se_m_s) || !se_m_s.is_finite() {
            continue;
        }
        odd += 1;
        if apart_m_s > apart {
            apart = apart_m_s;
            worst = Some(Slip::WindOdd {
                stated_m_s: given.speed_m_s(),
                fitted_m_s: fitted(east).hypot(fitted(north)),
                apart_m_s,
                se_m_s,
                runs: 0,
                of: runs.len(),
            });
        }
    }
    let mut slip = worst?;
    if let Slip::WindOdd { runs, .. } = &mut slip {
        *runs = odd;
    }
    Some(Finding::of_session(What::Slip(slip)))
}
