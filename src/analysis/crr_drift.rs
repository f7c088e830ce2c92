//! A change of Crr linear in time over the day, as of tyres that warm up: what it needs, and what it turned out to be.
//!
//! Given inputs, or a solved loop; refuses days that cannot show a drift, chooses the moment to which Crr belongs, and gives
//! the drift with what it costs the differences. The drift itself is fitted by `solve`.

use super::contrasts::Pair;
use super::drift_check::{order, there_and_back};
use super::loop_venue::LoopVenue;
use super::quantities::{Linear, PowerAt, SetupQuantities, linear_known};
use crate::compare::order::CONFOUNDED_FROM;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::Session;
use crate::solution::CrrDriftResult;

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

/// The drift of a solved loop, where one was fitted.
pub fn drift(session: &Session, rides: &[Ride], venue: &LoopVenue, separable: bool) -> Drift {
    let Some(column) = venue.fit.layout.crr_drift else { return Drift::default() };
    let mut findings = Vec::new();
    let worst = worst_inflation(session, venue, column);
    if let Some((pair, inflation)) = worst.filter(|(_, inflation)| *inflation >= most_inflation()) {
        findings.push(Finding::of_session(What::DriftConfounded {
            setup: session.setups[pair.setup].name().to_string(),
            baseline: session.setups[pair.baseline].name().to_string(),
            order: order(session, rides),
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
