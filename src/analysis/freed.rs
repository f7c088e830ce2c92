//! A solved loop with something freed that was shared: each run by itself, or each set-up.
//!
//! Given a solved loop and what is estimated instead; gives the parameters with the covariance that laps and priors leave them, from
//! the solved point by the same equations. It screens no lap again.

use super::loop_venue::LoopVenue;
use crate::error::Error;
use crate::solve::fit::{Choices, Frame};
use crate::solve::layout::Layout;
use crate::solve::solved::{Solution, Solved};
use nalgebra::DMatrix;

/// Newton steps from the shared values; the equations are nearly linear in what is freed.
const STEPS: usize = 2;

/// The freed form.
pub struct Freed {
    pub layout: Layout,
    pub parameters: Vec<f64>,
    /// By the model of the scatter within laps and what is expected of the parameters.
    pub covariance: DMatrix<f64>,
}

impl Freed {
    /// Errors: [`Error::Numerical`] when what is freed cannot be told apart.
    pub fn new(venue: &LoopVenue, choices: &Choices) -> Result<Freed, Error> {
        let fit = &venue.fit;
        let frame = Frame { choices, ..venue.frame() };
        let layout = frame.layout();
        let mut parameters = carried(&fit.layout, &fit.parameters, &layout);
        let instruments_at = carried(&fit.layout, &fit.instruments_at, &layout);
        let problem = || frame.problem(&venue.laps, &fit.used, &fit.weight, fit.scatter);
        for _ in 0..STEPS {
            let at = Solution { parameters: &parameters, instruments_at: &instruments_at, classes: &fit.classes };
            let step = Solved::new(problem(), at)?.after(&[], 0.0).ok_or_else(|| Error::Numerical {
                stage: "freed values",
                message: "they cannot be told apart; ride more laps a run".into(),
            })?;
            parameters.iter_mut().zip(step.iter()).for_each(|(p, s)| *p += s);
        }
        let at = Solution { parameters: &parameters, instruments_at: &instruments_at, classes: &fit.classes };
        let covariance = Solved::new(problem(), at)?.expected_covariance(&fit.covariance.supposed())?;
        Ok(Freed { layout, parameters, covariance })
    }
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
    if let Some((old, new)) = from.crr_drift.zip(to.crr_drift) {
        out[new] = parameters[old];
    }
    if let Some((old, new)) = from.open_height.zip(to.open_height) {
        out[new] = parameters[old];
    }
    out[to.along.clone()].copy_from_slice(&parameters[from.along.clone()]);
    out
}
