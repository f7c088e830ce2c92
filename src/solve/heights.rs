//! Heights of the loop that a fit finds, with their standard errors.
//!
//! Given solved equations; gives the height gained in each step, and the standard error of the height after each.

use super::design::{LapBlock, Problem};
use nalgebra::DVector;

/// The part of the profile that the residuals carry (on top of a survey, if there is one), m a step.
pub fn by_residuals(problem: &Problem, blocks: &[LapBlock]) -> DVector<f64> {
    problem.absorption.profile(&problem.residual_sum(blocks))
}

/// Height gained in each step, m, and the standard error of the height at each edge, m; `row_sd_m` is that of a row.
pub fn gained(problem: &Problem, parameters: &[f64], blocks: &[LapBlock], row_sd_m: f64) -> (Vec<f64>, Vec<f64>) {
    let extra = by_residuals(problem, blocks);
    let mut gain: Vec<f64> = match &problem.survey_m {
        Some(survey) => extra.iter().zip(survey).map(|(e, s)| e + s).collect(),
        None => extra.iter().copied().collect(),
    };
    let shown = problem.shown();
    let unshown = shown.iter().filter(|n| **n == 0.0).count() as f64;
    let open = problem.layout.open_height;
    let open_m = open.map_or(0.0, |c| parameters[c]);
    let mut variance: Vec<f64> = shown.iter().map(|n| row_sd_m * row_sd_m / n).collect();
    for j in 0..gain.len() {
        if shown[j] > 0.0 {
            gain[j] -= open_m * problem.open_share;
        } else {
            let sd_m = open.and_then(|c| problem.prior[c].sd_at(open_m)).unwrap_or(0.0);
            gain[j] += open_m / unshown;
            variance[j] = sd_m * sd_m / unshown;
        }
    }
    // Steps of a closed loop: the height after some of them is a bridge of their errors and those of the rest.
    let whole: f64 = variance.iter().sum();
    let mut before = 0.0;
    let mut se = vec![0.0];
    for v in &variance {
        before += v;
        se.push((before * (whole - before).max(0.0) / whole).sqrt());
    }
    (gain, se)
}
