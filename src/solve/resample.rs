//! The laps of a fit in the form from which whole laps are drawn again.
//!
//! Given a fit and the laps behind it; gives replicates of its parameters with the equations of its own estimator,
//! linearised where it settled. It never fits anew.

use super::fit::{Estimator, Frame, LapInput, LoopFit, projected};
use super::instruments::PlannedRide;
use crate::error::Error;
use crate::uncertainty::bootstrap::{Bootstrap, Resampling};
use crate::uncertainty::cluster::Cluster;
use nalgebra::DVector;

/// How often to draw and from which seed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drawing {
    pub draws: usize,
    pub seed: u64,
}

/// Multiplications beyond which drawing again takes too long for a second opinion: draws times laps times parameters
/// squared, some five seconds on two cores.
const MOST_WORK: f64 = 1e10;
/// Products kept, laps times parameters squared: 240 MB.
const MOST_PRODUCTS: f64 = 3e7;

/// Draws laps again within each class of speed of each run, so that every draw has the runs and speeds of the day.
///
/// Errors: [`Error::Numerical`] when the equations of the laps as ridden are singular, and for a season of so many runs that
/// solving for all of them in every draw would take too long.
pub fn resample(frame: &Frame, laps: &[LapInput], fit: &LoopFit, drawing: Drawing) -> Result<Bootstrap, Error> {
    let problem = frame.problem(laps, &fit.used, &fit.weight, fit.row_sd_m);
    let products = problem.laps.len() as f64 * (problem.layout.len as f64).powi(2);
    if products > MOST_PRODUCTS || products * drawing.draws as f64 > MOST_WORK {
        return Err(Error::Numerical {
            stage: "bootstrap",
            message: format!(
                "{} laps with {} parameters in {} draws would take too long",
                problem.laps.len(),
                problem.layout.len,
                drawing.draws
            ),
        });
    }
    let x = problem.blocks(&fit.parameters);
    let z = match fit.estimator {
        Estimator::LeastSquares => x.clone(),
        Estimator::Instruments => {
            PlannedRide::at(&problem, &fit.classes, &fit.least_squares.parameters).blocks(&problem, &fit.parameters)
        }
    };
    let strata: Vec<usize> =
        problem.laps.iter().zip(&fit.classes.of_lap).map(|(lap, class)| lap.run * fit.classes.count + class).collect();
    let surveyed = problem.survey_m.is_some();
    let clusters: Vec<Cluster> = if surveyed {
        // What a survey leaves of the profile is small; its rows are taken as they are after the projection.
        let laps = projected(&problem, &x, &z);
        let lap = |(g, residual): (usize, &DVector<f64>)| Cluster {
            jacobian: laps.jacobian.block(g),
            instruments: laps.instruments.block(g),
            residual: residual.clone(),
        };
        laps.residual.iter().enumerate().map(lap).collect()
    } else {
        x.iter()
            .zip(&z)
            .zip(&problem.weight)
            .map(|((x, z), w)| Cluster {
                jacobian: problem.rows(x, w.sqrt()),
                instruments: problem.rows(z, w.sqrt()),
                residual: DVector::from_column_slice(&x.residual) * w.sqrt(),
            })
            .collect()
    };
    let lap_weights = (!surveyed).then_some(problem.weight.as_slice());
    Bootstrap::run(&Resampling { laps: &clusters, lap_weights, strata: &strata }, drawing.draws, drawing.seed)
}
