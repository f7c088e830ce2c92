//! What a fit found of the air beside each run's wind: how much of it is met along the loop, and what yaw does to the drag.
//!
//! Given a solved loop; gives results and findings. It estimates nothing.

use super::loop_venue::LoopVenue;
use crate::finding::{Finding, What};
use crate::session::Session;
use crate::solution::{Measured, WindShare, YawResult};
use crate::solve::fit::{Expectations, LoopFit, Yaw};
use crate::solve::wind_along::WindAlong;
use crate::uncertainty::student::chi_squared_upper_tail;
use nalgebra::DVector;

/// Largest over smallest share of the wind from which it is told, and the chance of a difference that large where it is even.
const TOLD_RATIO: f64 = 1.5;
const TOLD_LEVEL: f64 = 0.05;
/// Share of the expected standard deviation of k below which the rides have told it.
const TOLD_YAW: f64 = 0.5;

/// Variance of a linear function of the parameters by laps and priors.
fn variance(fit: &LoopFit, c: &DVector<f64>) -> f64 {
    c.dot(&(&fit.covariance.covariance * c)) + c.dot(&(&fit.covariance.prior * c))
}

/// Coefficients of ln s at a step.
fn of_step(fit: &LoopFit, term: &[Vec<f64>], step: usize) -> DVector<f64> {
    let mut c = DVector::zeros(fit.layout.len);
    for (parameter, t) in fit.layout.along.clone().zip(term) {
        c[parameter] = t[step];
    }
    c
}

/// Share of the wind met at the middle of each step, where it was estimated.
pub fn shares(venue: &LoopVenue) -> Vec<WindShare> {
    let WindAlong::Estimated(waves) = &venue.choices.wind_along else { return Vec::new() };
    let fit = &venue.fit;
    let logs = waves.log_share(&fit.parameters[fit.layout.along.clone()]);
    let place = venue.cut.edge.windows(2).map(|e| 0.5 * (e[0] + e[1]) * venue.cut.length_m);
    place
        .zip(logs)
        .enumerate()
        .map(|(j, (distance_m, log))| {
            let se = variance(fit, &of_step(fit, &waves.term, j)).max(0.0).sqrt();
            WindShare { distance_m, share: log.exp(), low: (log - se).exp(), high: (log + se).exp() }
        })
        .collect()
}

/// k of the day or of each set-up.
pub fn yaw(session: &Session, fit: &LoopFit) -> Vec<YawResult> {
    let mut out: Vec<(usize, YawResult)> = Vec::new();
    for (k, run) in session.runs.iter().enumerate() {
        let Some(column) = fit.layout.yaw(k) else { continue };
        if let Some((_, known)) = out.iter_mut().find(|(c, _)| *c == column) {
            if known.setup.as_deref() != Some(run.setup.as_str()) {
                known.setup = None;
            }
            continue;
        }
        let mut unit = DVector::zeros(fit.layout.len);
        unit[column] = 1.0;
        let se = variance(fit, &unit).max(0.0).sqrt();
        let told = se < TOLD_YAW * Expectations::default().yaw_sd;
        let k = Measured { value: Some(fit.parameters[column]), se: Some(se) };
        out.push((column, YawResult { setup: Some(run.setup.clone()), k, told }));
    }
    if out.len() == 1 {
        out[0].1.setup = None;
    }
    out.into_iter().map(|(_, result)| result).collect()
}

/// What must be told.
pub fn findings(venue: &LoopVenue) -> Vec<Finding> {
    let mut out = Vec::new();
    if let Some(what) = sheltered(venue) {
        out.push(Finding::of_session(what));
    }
    if matches!(venue.choices.yaw, Yaw::Estimated(_)) && matches!(venue.choices.wind_along, WindAlong::Even) {
        out.push(Finding::of_session(What::YawWithoutShelter));
    }
    out
}

/// The wind differs along the loop by more than its error. The two places are chosen for what was found there, so that all
/// differences that the coefficients can make are allowed for (Scheffé 1953, Biometrika 40:87, from memory).
fn sheltered(venue: &LoopVenue) -> Option<What> {
    let WindAlong::Estimated(waves) = &venue.choices.wind_along else { return None };
    let fit = &venue.fit;
    let logs = waves.log_share(&fit.parameters[fit.layout.along.clone()]);
    let by = |a: &(usize, &f64), b: &(usize, &f64)| a.1.total_cmp(b.1);
    let (least, low) = logs.iter().enumerate().min_by(by)?;
    let (most, high) = logs.iter().enumerate().max_by(by)?;
    let apart = of_step(fit, &waves.term, most) - of_step(fit, &waves.term, least);
    let se = variance(fit, &apart).max(0.0).sqrt();
    let by_chance = chi_squared_upper_tail(((high - low) / se).powi(2), fit.layout.along.len() as f64);
    let told = high - low > TOLD_RATIO.ln() && by_chance < TOLD_LEVEL;
    let middle_m = |j: usize| 0.5 * (venue.cut.edge[j] + venue.cut.edge[j + 1]) * venue.cut.length_m;
    told.then(|| What::WindAlongLoop {
        least: low.exp(),
        least_at_m: middle_m(least),
        most: high.exp(),
        most_at_m: middle_m(most),
    })
}
