//! Each run of a loop by itself: one Crr a run, or one CdA in a test of positions, with everything else shared as stated.
//!
//! Given a solved loop; gives the runs' estimates with the covariance that laps and priors leave them, and what changes from run
//! to run mixed into the set-ups. Runs are not clusters besides: slow gusts, too, land in what changes from run to run.

use super::loop_venue::LoopVenue;
use super::quantities::Linear;
use crate::error::Error;
use crate::session::{Session, Venue};
use crate::solve::fit::{Choices, Frame, LapInput, LoopFit};
use crate::solve::layout::{By, Layout};
use crate::solve::solved::{Solution, Solved};
use crate::uncertainty::budget::Combined;
use crate::uncertainty::replication::{Replication, RunEstimates};
use nalgebra::{DMatrix, DVector};

/// Degrees of freedom by which the model of the scatter within laps counts beside a run's own laps.
const MODEL_DOF: f64 = 5.0;
/// Fewest degrees of freedom of what changes between runs: a t with fewer has no place.
const LEAST_DOF: f64 = 1.0;
/// Repetitions from the values of the set-ups to those of the runs; the equations are nearly linear in them.
const STEPS: usize = 2;

/// Estimates of the runs that have laps.
#[derive(Debug, Clone)]
pub struct RunValues {
    /// A test of positions: one CdA a run.
    pub of_positions: bool,
    /// Run of the session of each estimate.
    pub run: Vec<usize>,
    pub value: DVector<f64>,
    pub covariance: DMatrix<f64>,
    /// Laps of each.
    pub laps: Vec<usize>,
    /// Its resistance in units of the estimate: over the weight for Crr, over ½ρv² for CdA.
    pub resistance: Vec<f64>,
}

/// Whether only CdA differs between set-ups.
fn of_positions(choices: &Choices) -> bool {
    choices.crr == By::Day && choices.cda == By::Setup
}

impl RunValues {
    /// Errors: [`Error::Numerical`] when the runs cannot be told apart.
    pub fn new(venue: &LoopVenue) -> Result<RunValues, Error> {
        let fit = &venue.fit;
        let of_positions = of_positions(&venue.choices);
        let mut choices = venue.choices.clone();
        if of_positions {
            choices.cda = By::Run;
        } else {
            choices.crr = By::Run;
        }
        // One value a run leaves nothing for a drift between runs.
        choices.crr_drift = false;
        let frame = Frame { choices: &choices, ..venue.frame() };
        let layout = frame.layout();
        let mut parameters = carried(&fit.layout, &fit.parameters, &layout);
        let instruments_at = carried(&fit.layout, &fit.instruments_at, &layout);
        let problem = || frame.problem(&venue.laps, &fit.used, &fit.weight, fit.scatter);
        for _ in 0..STEPS {
            let at = Solution { parameters: &parameters, instruments_at: &instruments_at, classes: &fit.classes };
            let next = Solved::new(problem(), at)?.after(&[], 0.0).filter(|step| step.iter().all(|s| s.is_finite()));
            let step = next.ok_or_else(|| undetermined())?;
            parameters.iter_mut().zip(step.iter()).for_each(|(p, s)| *p += s);
        }
        let at = Solution { parameters: &parameters, instruments_at: &instruments_at, classes: &fit.classes };
        let all = Solved::new(problem(), at)?.expected_covariance(&fit.covariance.supposed())?;
        let mut laps_of = vec![Vec::new(); venue.cut.runs.len()];
        for &i in &fit.used {
            laps_of[venue.address[i].run].push(&venue.laps[i]);
        }
        let run: Vec<usize> = (0..laps_of.len()).filter(|k| !laps_of[*k].is_empty()).collect();
        let column = |k: usize| if of_positions { layout.cda(k) } else { layout.crr(k) };
        let columns: Vec<usize> = run.iter().map(|k| column(*k)).collect();
        let resistance = |k: &usize| {
            let (per_crr, per_cda) = per_unit(&laps_of[*k]);
            let force = parameters[layout.crr(*k)] * per_crr + parameters[layout.cda(*k)] * per_cda;
            (force / if of_positions { per_cda } else { per_crr }).abs()
        };
        Ok(RunValues {
            of_positions,
            value: DVector::from_iterator(run.len(), columns.iter().map(|c| parameters[*c])),
            covariance: DMatrix::from_fn(run.len(), run.len(), |i, j| all[(columns[i], columns[j])]),
            laps: run.iter().map(|k| laps_of[*k].len()).collect(),
            resistance: run.iter().map(resistance).collect(),
            run,
        })
    }

    /// Name of what is estimated.
    pub fn quantity(&self) -> &'static str {
        if self.of_positions { "CdA" } else { "Crr" }
    }
}

fn undetermined() -> Error {
    Error::Numerical { stage: "runs by themselves", message: "they cannot be told apart; ride more laps a run".into() }
}

/// Weight and ½ρv² of the laps of a run, means.
fn per_unit(laps: &[&LapInput]) -> (f64, f64) {
    let n = laps.len() as f64;
    let weight: f64 = laps.iter().map(|l| l.account.weight_n).sum();
    let dynamic: f64 = laps.iter().map(|l| 0.5 * l.account.mean_density_kg_m3 * l.account.mean_speed_m_s.powi(2)).sum();
    (weight / n, dynamic / n)
}

/// Parameters of one layout in another that differs in what is shared.
fn carried(from: &Layout, parameters: &[f64], to: &Layout) -> Vec<f64> {
    let mut out = vec![0.0; to.len];
    for (run, (old, new)) in from.runs.iter().zip(&to.runs).enumerate() {
        out[to.crr(run)] = parameters[from.crr(run)];
        out[to.cda(run)] = parameters[from.cda(run)];
        if let Some((old, new)) = from.yaw(run).zip(to.yaw(run)) {
            out[new] = parameters[old];
        }
        out[new.range()].copy_from_slice(&parameters[old.range()]);
    }
    out[to.along.clone()].copy_from_slice(&parameters[from.along.clone()]);
    out
}

/// What changes from run to run, mixed into what a loop tells of its set-ups.
pub struct BetweenRuns {
    pub replication: Replication,
    of_positions: bool,
    /// Column of each set-up, or of the one value, in the parameters of the fit.
    column: Vec<usize>,
    /// CdA columns with their values and numbers of runs.
    cda: Vec<(usize, f64, f64)>,
    confidence: f64,
}

impl BetweenRuns {
    /// Errors: those of [`Replication::of`].
    pub fn new(session: &Session, fit: &LoopFit, runs: &RunValues, kind: Venue) -> Result<BetweenRuns, Error> {
        let column_of = |k: &usize| if runs.of_positions { fit.layout.cda(*k) } else { fit.layout.crr(*k) };
        let mut column: Vec<usize> = runs.run.iter().map(column_of).collect();
        let of_run = column.clone();
        column.sort_unstable();
        column.dedup();
        let place = |c: &usize| column.iter().position(|k| k == c).unwrap_or(0);
        let mut cda: Vec<(usize, f64, f64)> = Vec::new();
        for k in &runs.run {
            let c = fit.layout.cda(*k);
            match cda.iter_mut().find(|(known, ..)| *known == c) {
                Some((.., count)) => *count += 1.0,
                None => cda.push((c, fit.parameters[c], 1.0)),
            }
        }
        let estimates = RunEstimates {
            estimates: runs.value.clone(),
            covariance: runs.covariance.clone(),
            dof: runs.laps.iter().map(|n| *n as f64 - 1.0 + MODEL_DOF).collect(),
            setup: of_run.iter().map(place).collect(),
            scale: runs.resistance.clone(),
        };
        Ok(BetweenRuns {
            replication: Replication::of(estimates, session.uncertainty.run_to_run(kind))?,
            of_positions: runs.of_positions,
            column,
            cda,
            confidence: session.solve.confidence,
        })
    }

    pub fn confidence(&self) -> f64 {
        self.confidence
    }

    /// What changes between runs adds to a quantity.
    ///
    /// A change of drag in one run of a test with one CdA lands in the Crr of the run; what all runs have of it lands in CdA, so
    /// that CdA by itself has its own part, τ² CdA² over the number of runs.
    pub fn of(&self, linear: &Linear) -> Combined {
        let weights: Vec<f64> = self.column.iter().map(|c| linear.coefficients[*c]).collect();
        if weights.iter().any(|w| *w != 0.0) {
            let between = self.replication.contrast(&weights).parts(self.confidence)[1];
            // Where next to nothing changes the degrees of freedom of it are what rounding makes of them.
            return Combined { dof: between.dof.max(LEAST_DOF), ..between };
        }
        let fraction = self.replication.mean_square_fraction();
        let part = |(column, value, runs): &(usize, f64, f64)| {
            (linear.coefficients[*column] * value).powi(2) * fraction / runs
        };
        let own = if self.of_positions { 0.0 } else { self.cda.iter().map(part).sum::<f64>() };
        Combined { standard_uncertainty: own.sqrt(), dof: f64::INFINITY }
    }
}
