//! Each run of a loop by itself: one Crr a run, or one CdA in a test of positions, with everything else shared as stated.
//!
//! Given a solved loop; gives the runs' estimates with the covariance that laps and priors leave them, and what changes from run
//! to run mixed into the set-ups. Runs are not clusters besides: slow gusts, too, land in what changes from run to run.

use super::freed::Freed;
use super::loop_venue::LoopVenue;
use super::quantities::Linear;
use crate::error::Error;
use crate::session::{Session, Venue};
use crate::solve::account::LapAccount;
use crate::solve::fit::{Choices, LapInput, LoopFit};
use crate::solve::layout::{By, Layout};
use crate::uncertainty::budget::Combined;
use crate::uncertainty::replication::{Replication, RunEstimates};
use nalgebra::{DMatrix, DVector};

/// Degrees of freedom by which the model of the scatter within laps counts beside a run's own laps.
const MODEL_DOF: f64 = 5.0;
/// Fewest degrees of freedom of what changes between runs: a t with fewer has no place.
const LEAST_DOF: f64 = 1.0;
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
    /// CdA that resists as one unit of Crr does, at the speeds ridden.
    pub cda_as_crr_m2: f64,
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
        let Freed { layout, parameters, covariance: all } = Freed::new(venue, &choices)?;
        let mut laps_of = vec![Vec::new(); venue.cut.runs.len()];
        for &i in &fit.used {
            laps_of[venue.address[i].run].push(&venue.laps[i]);
        }
        let run: Vec<usize> = (0..laps_of.len()).filter(|k| !laps_of[*k].is_empty()).collect();
        let column = |k: usize| if of_positions { layout.cda(k) } else { layout.crr(k) };
        let columns: Vec<usize> = run.iter().map(|k| column(*k)).collect();
        let resistance = |k: &usize| {
            let (per_crr, per_cda) = per_unit(laps_of[*k].iter().map(|l: &&LapInput| &l.account));
            let force = parameters[layout.crr(*k)] * per_crr + parameters[layout.cda(*k)] * per_cda;
            (force / if of_positions { per_cda } else { per_crr }).abs()
        };
        let (per_crr, per_cda) = per_unit(fit.used.iter().map(|i| &venue.laps[*i].account));
        Ok(RunValues {
            of_positions,
            cda_as_crr_m2: per_crr / per_cda,
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

/// Weight and ½ρv² of the laps of a run, means.
pub(crate) fn per_unit<'a>(laps: impl Iterator<Item = &'a LapAccount>) -> (f64, f64) {
    let (mut weight, mut dynamic, mut n) = (0.0, 0.0, 0.0);
    for lap in laps {
        weight += lap.weight_n;
        dynamic += 0.5 * lap.mean_density_kg_m3 * lap.mean_speed_m_s.powi(2);
        n += 1.0;
    }
    (weight / n, dynamic / n)
}

/// What changes from run to run, mixed into what a loop tells of its set-ups.
pub struct BetweenRuns {
    pub replication: Replication,
    of_positions: bool,
    /// Column of each set-up, or of the one value, in the parameters of the fit.
    column: Vec<usize>,
    /// Mean resistance of the runs in units of what each run has.
    resistance: f64,
    /// CdA columns with their values and numbers of runs.
    cda: Vec<(usize, f64, f64)>,
    cda_as_crr_m2: f64,
    confidence: f64,
}

impl BetweenRuns {
    /// Errors: those of [`Replication::of`].
    pub fn new(session: &Session, fit: &LoopFit, runs: &RunValues, kind: Venue) -> Result<BetweenRuns, Error> {
        let scale = session.uncertainty.run_to_run(kind);
        BetweenRuns::with(&fit.layout, &fit.parameters, runs, session.solve.confidence, |estimates| {
            Replication::of(estimates, scale)
        })
    }

    /// For parameters in a layout, with a second stage of one's own.
    ///
    /// Errors: those of the second stage.
    pub fn with(
        layout: &Layout,
        parameters: &[f64],
        runs: &RunValues,
        confidence: f64,
        mix: impl FnOnce(RunEstimates) -> Result<Replication, Error>,
    ) -> Result<BetweenRuns, Error> {
        let column_of = |k: &usize| if runs.of_positions { layout.cda(*k) } else { layout.crr(*k) };
        let mut column: Vec<usize> = runs.run.iter().map(column_of).collect();
        let of_run = column.clone();
        column.sort_unstable();
        column.dedup();
        let place = |c: &usize| column.iter().position(|k| k == c).unwrap_or(0);
        let mut cda: Vec<(usize, f64, f64)> = Vec::new();
        for k in &runs.run {
            let c = layout.cda(*k);
            match cda.iter_mut().find(|(known, ..)| *known == c) {
                Some((.., count)) => *count += 1.0,
                None => cda.push((c, parameters[c], 1.0)),
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
            replication: mix(estimates)?,
            of_positions: runs.of_positions,
            resistance: runs.resistance.iter().sum::<f64>() / runs.resistance.len().max(1) as f64,
            column,
            cda,
            cda_as_crr_m2: runs.cda_as_crr_m2,
            confidence,
        })
    }

    pub fn confidence(&self) -> f64 {
        self.confidence
    }

    /// Mean resistance of the runs over ½ρv², or over the weight.
    pub fn resistance_over(&self, of_cda: bool) -> f64 {
        match (of_cda, self.of_positions) {
            (true, true) | (false, false) => self.resistance,
            // The other of the two is a part of the resistance, so that its own value bounds what a change of drag makes of it.
            (true, false) => self.cda.iter().map(|(_, value, _)| value.abs()).fold(0.0, f64::max),
            (false, true) => 0.0,
        }
    }

    /// What changes between runs adds to a quantity.
    ///
    /// A change of drag in one run of a test with one CdA lands in the Crr of the run; what all runs have of it lands in CdA, so
    /// that CdA by itself has its own part, τ² CdA² over the number of runs.
    ///
    /// Where every set-up has a CdA of its own, such a change lands there and grows with the square of the speed. Whether it was of
    /// drag or of the tyres is not known, so the one counts that moves the quantity more.
    pub fn of(&self, linear: &Linear) -> Combined {
        let weights: Vec<f64> = self.column.iter().map(|c| linear.coefficients[*c]).collect();
        if weights.iter().any(|w| *w != 0.0) {
            let between = self.replication.contrast(&weights).parts(self.confidence)[1];
            let standard_uncertainty = between.standard_uncertainty * self.as_drag(linear, &weights).max(1.0);
            // Where next to nothing changes the degrees of freedom of it are what rounding makes of them.
            return Combined { dof: between.dof.max(LEAST_DOF), standard_uncertainty };
        }
        let fraction = self.replication.mean_square_fraction();
        let part = |(column, value, runs): &(usize, f64, f64)| {
            (linear.coefficients[*column] * value).powi(2) * fraction / runs
        };
        let own = if self.of_positions { 0.0 } else { self.cda.iter().map(part).sum::<f64>() };
        Combined { standard_uncertainty: own.sqrt(), dof: f64::INFINITY }
    }

    /// What a change of force does as CdA of the set-up over what it does as Crr; 0 where CdA is not the set-up's own.
    fn as_drag(&self, linear: &Linear, weights: &[f64]) -> f64 {
        if self.of_positions || self.cda.len() < 2 {
            return 0.0;
        }
        let crr: f64 = weights.iter().map(|w| w.abs()).sum();
        let cda: f64 = self.cda.iter().map(|(column, ..)| linear.coefficients[*column].abs()).sum();
        cda * self.cda_as_crr_m2 / crr
    }
}
