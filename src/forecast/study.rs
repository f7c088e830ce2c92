//! Many rehearsals of one plan: bias, spread and how often intervals hold the truth.
//!
//! Given a plan and seeds; simulates and solves each day and gives one line for each quantity. Days that cannot be solved
//! are counted and told, never dropped in silence.

use super::beside_truth::{BesideTruth, beside_truth, solve_rehearsal};
use super::goal::Measure;
use crate::plan::Plan;
use crate::simulate::simulate;
use rayon::prelude::*;
use serde::Serialize;

/// One quantity over all days.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StudyLine {
    pub subject: String,
    pub measure: Measure,
    pub days: usize,
    /// Mean of estimate less truth, and its own standard error.
    pub bias: f64,
    pub bias_se: f64,
    /// Standard deviation of estimate less truth.
    pub spread: f64,
    /// Root mean square of the standard errors reported.
    pub reported_se: f64,
    /// Its parts.
    pub reported_scatter_se: f64,
    pub reported_instrument_se: f64,
    /// Share of days whose interval holds the truth.
    pub coverage: f64,
}

/// What many rehearsals show.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Study {
    pub days: usize,
    pub confidence: f64,
    pub lines: Vec<StudyLine>,
    /// Days that could not be solved, with the reason of the first.
    pub unsolved: usize,
    pub first_reason: Option<String>,
    /// Days on which CdA and Crr could not be told apart.
    pub not_separable: usize,
}

/// Rehearses a plan once for each seed, in parallel; `at_each` is called as each day begins; whoever unwinds out of it
/// ends them all.
pub fn study(plan: &Plan, seeds: &[u64], at_each: &(dyn Fn() + Sync)) -> Study {
    let days: Vec<Result<Day, String>> = seeds
        .par_iter()
        .map(|&seed| {
            at_each();
            solved(plan, seed)
        })
        .collect();
    let solved: Vec<&Day> = days.iter().filter_map(|d| d.as_ref().ok()).collect();
    let mut lines = Vec::new();
    let mut seen: Vec<(&str, Measure)> = Vec::new();
    for b in solved.iter().flat_map(|d| &d.beside) {
        if !seen.contains(&(b.subject.as_str(), b.measure)) {
            seen.push((&b.subject, b.measure));
        }
    }
    for (subject, measure) in seen {
        let same = |b: &&BesideTruth| b.subject == subject && b.measure == measure;
        let all: Vec<&BesideTruth> = solved.iter().filter_map(|d| d.beside.iter().find(same)).collect();
        lines.push(line(subject, measure, &all));
    }
    Study {
        days: seeds.len(),
        confidence: plan.solve.confidence,
        lines,
        unsolved: days.iter().filter(|d| d.is_err()).count(),
        first_reason: days.iter().find_map(|d| d.as_ref().err().cloned()),
        not_separable: solved.iter().filter(|d| !d.separable).count(),
    }
}

struct Day {
    beside: Vec<BesideTruth>,
    separable: bool,
}

fn solved(plan: &Plan, seed: u64) -> Result<Day, String> {
    let rehearsal = simulate(plan, seed).map_err(|e| format!("seed {seed}: {e}"))?;
    let solution = solve_rehearsal(&rehearsal).map_err(|e| format!("seed {seed}: {e}"))?;
    Ok(Day { beside: beside_truth(&rehearsal, &solution), separable: solution.separable })
}

fn line(subject: &str, measure: Measure, all: &[&BesideTruth]) -> StudyLine {
    let n = all.len() as f64;
    let mean = |f: &dyn Fn(&BesideTruth) -> f64| all.iter().map(|b| f(b)).sum::<f64>() / n;
    let rms = |f: &dyn Fn(&BesideTruth) -> Option<f64>| mean(&|b| f(b).unwrap_or(0.0).powi(2)).sqrt();
    let error = |b: &BesideTruth| b.estimate.value.unwrap_or(f64::NAN) - b.truth;
    let bias = mean(&error);
    // One day has no spread.
    let spread = (mean(&|b| (error(b) - bias).powi(2)) * n / (n - 1.0)).sqrt();
    StudyLine {
        subject: subject.to_string(),
        measure,
        days: all.len(),
        bias,
        bias_se: spread / n.sqrt(),
        spread,
        reported_se: rms(&|b| b.estimate.se),
        reported_scatter_se: rms(&|b| b.estimate.scatter_se),
        reported_instrument_se: rms(&|b| b.estimate.instrument_se),
        coverage: mean(&|b| f64::from(u8::from(b.inside == Some(true)))),
    }
}
