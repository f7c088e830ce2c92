//! Whether the rides bear out what the session says set-ups share.
//!
//! Given a solved loop; frees a CdA or Crr that was stated to be common and tests whether set-ups differ in it (Wald 1943, Trans. Am.
//! Math. Soc. 54:426), by laps, priors and what changes from run to run. It changes no result.

use super::contrasts::Pair;
use super::freed::Freed;
use super::loop_venue::LoopVenue;
use super::quantities::{PowerAt, SetupQuantities};
use super::run_values::BetweenRuns;
use crate::finding::{Finding, FreedDifference, What};
use crate::session::Session;
use crate::solution::Solution;
use crate::solve::layout::By;
use crate::uncertainty::student::chi_squared_upper_tail;
use nalgebra::{Cholesky, DMatrix, DVector};

/// Probability of set-ups that differ so much by chance, below which what was stated is contradicted.
const CONTRADICTED: f64 = 0.01;

/// One finding for each stated sharing that the rides contradict, with the answer of both forms.
pub fn findings(session: &Session, venue: &LoopVenue, between: &BetweenRuns, solution: &Solution) -> Vec<Finding> {
    if session.setups.len() < 2 {
        return Vec::new();
    }
    let mut out = Vec::new();
    for of_cda in [true, false] {
        let mut choices = venue.choices.clone();
        let shared = if of_cda { &mut choices.cda } else { &mut choices.crr };
        if *shared != By::Day {
            continue;
        }
        *shared = By::Setup;
        // Set-ups that are not told apart contradict nothing.
        let Ok(freed) = Freed::new(venue, &choices) else { continue };
        if let Some(p_value) = equal(session, venue, between, &freed, of_cda).filter(|p| *p < CONTRADICTED) {
            let differences = differences(session, &freed, solution);
            let quantity = if of_cda { "CdA" } else { "Crr" };
            out.push(Finding::of_session(What::SharingContradicted { quantity, p_value, differences }));
        }
    }
    out
}

/// Probability of so different values if all set-ups had one.
fn equal(session: &Session, venue: &LoopVenue, between: &BetweenRuns, freed: &Freed, of_cda: bool) -> Option<f64> {
    let columns = if of_cda { freed.layout.setup_cda() } else { freed.layout.setup_crr() };
    let runs_of = |s: usize| session.runs.iter().filter(|r| session.setup_of(r) == s).count() as f64;
    let with_laps: Vec<usize> = (0..session.setups.len()).filter(|s| laps_of(venue, *s) > 0).collect();
    let (first, others) = with_laps.split_first()?;
    if others.is_empty() {
        return None;
    }
    let fraction = between.replication.mean_square_fraction();
    let value = |s: usize| freed.parameters[columns[s]];
    let difference = DVector::from_iterator(others.len(), others.iter().map(|s| value(*s) - value(*first)));
    let own = |s: usize| fraction * between.resistance_over(of_cda).powi(2) / runs_of(s).max(1.0);
    let covariance = DMatrix::from_fn(others.len(), others.len(), |i, j| {
        let (a, b, f) = (columns[others[i]], columns[others[j]], columns[*first]);
        let v = |x: usize, y: usize| freed.covariance[(x, y)];
        let of_runs = own(*first) + if i == j { own(others[i]) } else { 0.0 };
        v(a, b) - v(a, f) - v(f, b) + v(f, f) + of_runs
    });
    let statistic = difference.dot(&Cholesky::new(covariance)?.solve(&difference));
    Some(chi_squared_upper_tail(statistic, others.len() as f64))
}

fn laps_of(venue: &LoopVenue, setup: usize) -> usize {
    venue.fit.used.iter().filter(|i| venue.laps[**i].account.setup == setup).count()
}

/// Watts against the baseline as reported and as freed.
fn differences(session: &Session, freed: &Freed, solution: &Solution) -> Vec<FreedDifference> {
    let power = PowerAt::reference(session);
    let of = |s: usize| SetupQuantities::new(&freed.layout, s, &power).power;
    let rows = Pair::against_baseline(session).into_iter().zip(&solution.contrasts);
    rows.filter_map(|(pair, reported)| {
        let linear = of(pair.setup).minus(&of(pair.baseline));
        let se = linear.coefficients.dot(&(&freed.covariance * &linear.coefficients)).max(0.0).sqrt();
        Some(FreedDifference {
            setup: session.setups[pair.setup].name().to_string(),
            shared_w: reported.power_w.value?,
            freed_w: linear.value(&freed.parameters),
            freed_se_w: se,
        })
    })
    .collect()
}
