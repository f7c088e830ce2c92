//! Whole laps of a fit drawn again.
//!
//! Given a fit and the laps behind it; gives replicates of its parameters with the equations of its own estimator,
//! linearised where it settled: with ω_g the count of lap g every weight w_g becomes ω_g w_g, also in the step means,
//!
//! ```text
//! β* − β̂ = (ZᵀP*X)⁻¹ ZᵀP*r − (ZᵀPX)⁻¹ ZᵀPr .
//! ```
//!
//! It never fits anew.

use super::design::{LapBlock, LapProducts, Problem};
use super::fit::{Estimator, Frame, LapInput, LoopFit};
use super::instruments::PlannedRide;
use crate::error::Error;
use crate::uncertainty::bootstrap::Bootstrap;
use nalgebra::DVector;

/// How often to draw and from which seed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drawing {
    pub draws: usize,
    pub seed: u64,
}

/// Draws laps again within each class of speed of each run, so that every draw has the runs and speeds of the day.
///
/// Errors: [`Error::Numerical`] when the equations of the laps as ridden are singular.
pub fn resample(frame: &Frame, laps: &[LapInput], fit: &LoopFit, drawing: Drawing) -> Result<Bootstrap, Error> {
    let problem = frame.problem(laps, &fit.used, &fit.weight, fit.row_sd_m);
    let strata: Vec<usize> =
        problem.laps.iter().zip(&fit.classes.of_lap).map(|(lap, class)| lap.run * fit.classes.count + class).collect();
    let equations = Recounted::new(problem, fit);
    Bootstrap::run(&strata, drawing.draws, drawing.seed, |counts| equations.solve(counts))
}

/// The equations of a fit, ready for other counts of the laps.
pub(crate) struct Recounted<'a> {
    pub problem: Problem<'a>,
    pub x: Vec<LapBlock>,
    pub z: Vec<LapBlock>,
    products: Vec<LapProducts>,
    /// Pull of the weak priors.
    pub pull: DVector<f64>,
}

impl<'a> Recounted<'a> {
    pub fn new(problem: Problem<'a>, fit: &LoopFit) -> Recounted<'a> {
        let x = problem.blocks(&fit.parameters);
        let z = match fit.estimator {
            Estimator::LeastSquares => x.clone(),
            Estimator::Instruments => {
                PlannedRide::at(&problem, &fit.classes, &fit.least_squares.parameters).blocks(&problem, &fit.parameters)
            }
        };
        let products = z.iter().zip(&x).map(|(z, x)| LapProducts::new(z, x)).collect();
        let pull = problem.pull(&fit.parameters);
        Recounted { problem, x, z, products, pull }
    }

    /// The step from the estimate; `None` where it is not finite.
    pub fn solve(&self, counts: &[f64]) -> Option<DVector<f64>> {
        let mut problem = self.problem.clone();
        problem.weight.iter_mut().zip(counts).for_each(|(w, n)| *w *= n);
        let normal = problem.normal_of(&self.z, &self.x, &self.products);
        let mut right = self.pull.clone();
        for ((z, products), w) in self.z.iter().zip(&self.products).zip(&problem.weight) {
            for (column, product) in z.columns.iter().zip(&products.zr) {
                right[column.parameter] += w * product;
            }
        }
        let absorbed = problem.absorption.absorb(&problem.residual_sum(&self.x)) / problem.total_weight();
        right.gemv_tr(-1.0, &normal.u, &absorbed, 1.0);
        normal.factored()?.solve(&right)
    }
}
