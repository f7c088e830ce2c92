//! Predicted errors on rollers, and of loop and rollers together, from a handful of rehearsals.
//!
//! Given a plan with runs on rollers; rehearses it a few times and takes the errors that solving reports. There is no design
//! to work with there: what counts is where the warm-up ends, and that is chance.

use super::beside_truth::solve_rehearsal;
use super::prediction::{DifferenceForecast, POWER, Predicted, Prediction, SetupForecast};
use crate::error::Error;
use crate::plan::Plan;
use crate::rollers::practice::{WARM_UP_TIMES, wanted_duration_s};
use crate::simulate::simulate;
use crate::solution::{CombinedContrast, Contrast, Estimate, SetupResult, Solution};
use crate::uncertainty::power::detectable_difference;
use rayon::prelude::*;
use serde::Serialize;

/// Rehearsals; their mean square error is known to some 15 % with a dozen degrees of freedom each.
pub(super) const REHEARSALS: u64 = 8;

/// Days of a plan, solved.
struct Rehearsed {
    days: Vec<Solution>,
}

impl Rehearsed {
    /// `at_each` is called as each rehearsal begins; whoever unwinds out of it ends them all. Days that cannot be solved are left
    /// out and show nothing.
    ///
    /// Errors: that of the first day where none can be solved.
    fn of(plan: &Plan, at_each: &(dyn Fn() + Sync)) -> Result<Rehearsed, Error> {
        let day = |i: u64| {
            at_each();
            solve_rehearsal(&simulate(plan, plan.seed.wrapping_add(i))?)
        };
        let all: Vec<Result<Solution, Error>> = (0..REHEARSALS).into_par_iter().map(day).collect();
        let (days, failed): (Vec<_>, Vec<_>) = all.into_iter().partition(Result::is_ok);
        let days: Vec<Solution> = days.into_iter().flatten().collect();
        match failed.into_iter().find_map(Result::err) {
            Some(why) if days.is_empty() => Err(why),
            _ => Ok(Rehearsed { days }),
        }
    }

    /// What is predicted of an estimate: the errors of the days that have it, and what they detect in all days.
    fn predicted(&self, pick: &dyn Fn(&Solution) -> Option<Estimate>, alpha: f64) -> Option<Predicted> {
        let estimates: Vec<Estimate> = self.days.iter().filter_map(pick).filter(|e| e.se.is_some()).collect();
        predicted(&estimates, alpha, estimates.len() as f64 / REHEARSALS as f64)
    }

    /// How often runs on rollers could not be used, and what length would do.
    fn runs_lost(&self, plan: &Plan) -> Option<String> {
        let is_lost = |day: &&Solution| day.runs.iter().any(|run| run.venue == "rollers" && run.window.is_none());
        let lost = REHEARSALS as usize - self.days.len() + self.days.iter().filter(is_lost).count();
        (lost > 0).then(|| {
            format!(
                "In {lost} of {REHEARSALS} rehearsed days a run on rollers cannot be used or is left out: {:.0} min are short for a \
                 warm-up of {:.0} min and five steady minutes after it. Plan run_duration_s = {:.0} or more.",
                plan.run_duration_s / 60.0,
                WARM_UP_TIMES * plan.noise.warm_up_time_s / 60.0,
                wanted_duration_s(plan.noise.warm_up_time_s)
            )
        })
    }
}

/// What Holm's test asks of the strictest of so many comparisons.
fn alpha(plan: &Plan, comparisons: usize) -> f64 {
    (1.0 - plan.solve.confidence) / comparisons.max(1) as f64
}

/// Differences that loop and rollers have both seen, brought together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TogetherForecast {
    /// From so many rehearsals.
    pub rehearsals: usize,
    /// Watts are those of rolling.
    pub differences: Vec<DifferenceForecast>,
}

/// What rehearsals tell, and what must be told with it.
pub(super) struct ByRehearsal<T> {
    pub predicted: T,
    pub caveat: Option<String>,
}

/// Predicts what both venues of a plan say together; nothing where they have no comparison in common.
///
/// Errors: those of simulating and solving its days where none can be.
pub(super) fn predict_together(
    plan: &Plan,
    at_each: &(dyn Fn() + Sync),
) -> Result<ByRehearsal<Option<TogetherForecast>>, Error> {
    let rehearsed = Rehearsed::of(plan, at_each)?;
    let combined = |d: &Solution| d.venues.as_ref().map_or(Vec::new(), |v| v.combined.clone());
    let of_pair = |d: &Solution, pair: &[String; 2]| {
        combined(d).into_iter().find(|c| c.setup == pair[0] && c.baseline == pair[1])
    };
    let mut pairs: Vec<[String; 2]> = Vec::new();
    for c in rehearsed.days.iter().flat_map(combined) {
        let pair = [c.setup, c.baseline];
        if !pairs.contains(&pair) {
            pairs.push(pair);
        }
    }
    let place = |pair: &[String; 2]| plan.setups.iter().position(|s| s.id == pair[0]);
    pairs.sort_by_key(place);
    let alpha = alpha(plan, pairs.len());
    let of = |pair: &[String; 2], pick: fn(CombinedContrast) -> Estimate| {
        rehearsed.predicted(&|d| of_pair(d, pair).map(pick), alpha)
    };
    let differences: Vec<DifferenceForecast> = pairs
        .iter()
        .map(|pair| DifferenceForecast {
            setup: pair[0].clone(),
            baseline: pair[1].clone(),
            crr: of(pair, |c| c.crr),
            cda_m2: None,
            power_w: of(pair, |c| c.rolling_power_w),
        })
        .collect();
    let caveat = rehearsed.runs_lost(plan);
    let rehearsals = rehearsed.days.len();
    let predicted = (!differences.is_empty()).then_some(TogetherForecast { rehearsals, differences });
    Ok(ByRehearsal { predicted, caveat })
}

/// Predicts a plan on rollers; `at_each` as in [`Rehearsed::of`].
///
/// Errors: those of simulating and solving its days where none can be.
pub(super) fn predict_by_rehearsal(plan: &Plan, at_each: &(dyn Fn() + Sync)) -> Result<ByRehearsal<Prediction>, Error> {
    let rehearsed = Rehearsed::of(plan, at_each)?;
    let alpha = alpha(plan, plan.setups.len().saturating_sub(1));
    let setups: Vec<SetupForecast> = plan
        .setups
        .iter()
        .map(|setup| {
            let over = |pick: fn(&SetupResult) -> Estimate| {
                let found = |d: &Solution| d.setups.iter().find(|s| s.id == setup.id).map(pick);
                rehearsed.predicted(&found, alpha)
            };
            SetupForecast {
                id: setup.id.clone(),
                label: setup.name().to_string(),
                laps: 0,
                crr: over(|s| s.crr),
                cda_m2: None,
                power_w: over(|s| s.power_w),
                drag_n: None,
                mean_speed_m_s: None,
            }
        })
        .collect();
    let baseline = plan.baseline.clone().or_else(|| plan.setups.first().map(|s| s.id.clone())).unwrap_or_default();
    let differences: Vec<DifferenceForecast> = plan
        .setups
        .iter()
        .filter(|setup| setup.id != baseline)
        .map(|setup| {
            let over = |pick: fn(&Contrast) -> Estimate| {
                let found = |d: &Solution| d.contrasts.iter().find(|c| c.setup == setup.id).map(pick);
                rehearsed.predicted(&found, alpha)
            };
            DifferenceForecast {
                setup: setup.id.clone(),
                baseline: baseline.clone(),
                crr: over(|c| c.crr),
                cda_m2: None,
                power_w: over(|c| c.power_w),
            }
        })
        .collect();
    let caveat = rehearsed.runs_lost(plan);
    let predicted = Prediction {
        laps_of_run: 0,
        runs: plan.order.len(),
        separable: true,
        not_separable: None,
        estimator: "rehearsals",
        setups,
        differences,
        correlation: None,
        row_sd_m: None,
        scatter_ratio: 1.0,
    };
    Ok(ByRehearsal { predicted, caveat })
}

/// Root mean square of reported errors; `None` where none was reported. Where only a share of the days reports one, the others
/// find nothing, so that those must find it with a chance of POWER over that share; at a share below it nothing is found
/// often enough.
fn predicted(estimates: &[Estimate], alpha: f64, share: f64) -> Option<Predicted> {
    if estimates.is_empty() {
        return None;
    }
    let n = estimates.len() as f64;
    let rms = |of: &dyn Fn(&Estimate) -> Option<f64>| {
        (estimates.iter().map(|e| of(e).unwrap_or(0.0).powi(2)).sum::<f64>() / n).sqrt()
    };
    let se = rms(&|e| e.se);
    let dof = estimates.iter().filter_map(|e| e.dof).sum::<f64>() / n;
    let power = POWER / share;
    let detectable = (power < 1.0).then(|| detectable_difference(se, dof, alpha, power)).filter(|d| d.is_finite());
    Some(Predicted {
        se,
        scatter_se: rms(&|e| e.scatter_se),
        prior_se: rms(&|e| e.prior_se),
        run_to_run_se: rms(&|e| e.run_to_run_se),
        instrument_se: rms(&|e| e.instrument_se),
        dof: Some(dof).filter(|d| d.is_finite() && *d > 0.0),
        detectable,
    })
}
