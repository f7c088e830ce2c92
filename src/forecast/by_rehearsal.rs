//! Predicted errors on rollers, and of loop and rollers together, from a handful of rehearsals.
//!
//! Given a plan with runs on rollers; rehearses it a few times and takes the errors that solving reports. There is no design
//! to work with there: what counts is where the warm-up ends, and that is chance.

use super::beside_truth::solve_rehearsal;
use super::prediction::{DifferenceForecast, POWER, Predicted, Prediction, SetupForecast};
use crate::error::Error;
use crate::plan::Plan;
use crate::simulate::simulate;
use crate::solution::{CombinedContrast, Estimate, Solution};
use crate::uncertainty::power::detectable_difference;
use rayon::prelude::*;
use serde::Serialize;

/// Rehearsals; their mean square error is known to some 15 % with a dozen degrees of freedom each.
pub(super) const REHEARSALS: u64 = 8;

/// `at_each` is called as each rehearsal begins; whoever unwinds out of it ends them all.
///
/// Errors: those of simulating and solving the first days of the plan.
fn rehearsed(plan: &Plan, at_each: &(dyn Fn() + Sync)) -> Result<Vec<Solution>, Error> {
    let day = |i: u64| {
        at_each();
        solve_rehearsal(&simulate(plan, plan.seed.wrapping_add(i))?)
    };
    (0..REHEARSALS).into_par_iter().map(day).collect()
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

/// Predicts what both venues of a plan say together; `None` where they have no comparison in common.
///
/// Errors: those of simulating and solving its first days.
pub(super) fn predict_together(plan: &Plan, at_each: &(dyn Fn() + Sync)) -> Result<Option<TogetherForecast>, Error> {
    let days = rehearsed(plan, at_each)?;
    let combined = |d: &Solution| d.venues.as_ref().map_or(Vec::new(), |v| v.combined.clone());
    let all: Vec<Vec<CombinedContrast>> = days.iter().map(combined).collect();
    let alpha = alpha(plan, all[0].len());
    let of = |c: &CombinedContrast, pick: &dyn Fn(&CombinedContrast) -> Estimate| {
        let same = all.iter().flatten().filter(|o| o.setup == c.setup && o.baseline == c.baseline);
        predicted(&same.map(pick).filter(|e| e.se.is_some()).collect::<Vec<_>>(), alpha)
    };
    let differences: Vec<DifferenceForecast> = all[0]
        .iter()
        .map(|c| DifferenceForecast {
            setup: c.setup.clone(),
            baseline: c.baseline.clone(),
            crr: of(c, &|c| c.crr),
            cda_m2: None,
            power_w: of(c, &|c| c.rolling_power_w),
        })
        .collect();
    Ok((!differences.is_empty()).then_some(TogetherForecast { rehearsals: days.len(), differences }))
}

/// Predicts a plan on rollers; `at_each` as in [`rehearsed`].
///
/// Errors: those of simulating and solving its first days.
pub(super) fn predict_by_rehearsal(plan: &Plan, at_each: &(dyn Fn() + Sync)) -> Result<Prediction, Error> {
    let days = rehearsed(plan, at_each)?;
    let alpha = alpha(plan, plan.setups.len().saturating_sub(1));
    let over = |pick: &dyn Fn(&Solution) -> Option<Estimate>| {
        let estimates: Vec<Estimate> = days.iter().filter_map(pick).filter(|e| e.se.is_some()).collect();
        predicted(&estimates, alpha)
    };
    let first = days.first();
    let setups = first.map_or(&[][..], |d| &d.setups).iter().enumerate().map(|(s, setup)| SetupForecast {
        id: setup.id.clone(),
        label: setup.label.clone(),
        laps: 0,
        crr: over(&|d| Some(d.setups.get(s)?.crr)),
        cda_m2: None,
        power_w: over(&|d| Some(d.setups.get(s)?.power_w)),
        drag_n: None,
        mean_speed_m_s: None,
    });
    let differences =
        first.map_or(&[][..], |d| &d.contrasts).iter().enumerate().map(|(c, contrast)| DifferenceForecast {
            setup: contrast.setup.clone(),
            baseline: contrast.baseline.clone(),
            crr: over(&|d| Some(d.contrasts.get(c)?.crr)),
            cda_m2: None,
            power_w: over(&|d| Some(d.contrasts.get(c)?.power_w)),
        });
    Ok(Prediction {
        laps_of_run: 0,
        runs: plan.order.len(),
        separable: true,
        not_separable: None,
        estimator: "rehearsals",
        setups: setups.collect(),
        differences: differences.collect(),
        correlation: None,
        row_sd_m: None,
        scatter_ratio: 1.0,
    })
}

/// Root mean square of reported errors; `None` where none was reported.
fn predicted(estimates: &[Estimate], alpha: f64) -> Option<Predicted> {
    if estimates.is_empty() {
        return None;
    }
    let n = estimates.len() as f64;
    let rms = |of: &dyn Fn(&Estimate) -> Option<f64>| {
        (estimates.iter().map(|e| of(e).unwrap_or(0.0).powi(2)).sum::<f64>() / n).sqrt()
    };
    let se = rms(&|e| e.se);
    let dof = estimates.iter().filter_map(|e| e.dof).sum::<f64>() / n;
    let detectable = Some(detectable_difference(se, dof, alpha, POWER)).filter(|d| d.is_finite());
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
