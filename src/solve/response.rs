//! How a solved fit answers a small change of its accounts.
//!
//! Given a fit and altered laps; gives the change of the parameters by one Newton step from the solved point with the
//! fit's own equations. That is the first-order response; of a change by ±u the half difference is right to third order
//! in u, since what is of second order is the same on both sides. Laps that are not altered are not worked out again.

use super::account::LapAccount;
use super::design::{LapBlock, Problem};
use super::fit::{Estimator, LoopFit};
use super::instruments::PlannedRide;
use super::normal::Factored;
use nalgebra::DVector;

/// A solved fit, ready to be asked.
pub struct Response<'a> {
    problem: Problem<'a>,
    fit: &'a LoopFit,
    planned: Option<PlannedRide>,
    x: Vec<LapBlock>,
    z: Option<Vec<LapBlock>>,
    equations: Factored,
    /// ZᵀPr at the solved point: nothing but what the iteration left.
    left: DVector<f64>,
}

/// A lap whose account has changed.
pub struct AlteredLap {
    /// Place among the laps in use.
    pub lap: usize,
    pub account: LapAccount,
}

impl<'a> Response<'a> {
    /// From the problem of the laps in use; `None` when the equations are singular.
    pub fn new(problem: Problem<'a>, fit: &'a LoopFit) -> Option<Response<'a>> {
        let x = problem.blocks(&fit.parameters);
        let planned =
            (fit.estimator == Estimator::Instruments).then(|| PlannedRide::at(&problem, &fit.classes, &fit.parameters));
        let z = planned.as_ref().map(|p| p.blocks(&problem, &fit.parameters));
        let instruments = z.as_ref().unwrap_or(&x);
        let equations = problem.normal(instruments, &x).factored()?;
        let left = problem.right_side(instruments, &x, &fit.parameters);
        Some(Response { problem, fit, planned, x, z, equations, left })
    }

    /// Change of all parameters for altered laps and a change of the variance of the gusts, m²/s².
    ///
    /// `None` when it is not finite.
    pub fn to(&self, altered: &[AlteredLap], gust_variance: f64) -> Option<DVector<f64>> {
        let mut problem = self.problem.clone();
        problem.gust_variance.iter_mut().for_each(|v| *v += gust_variance);
        for a in altered {
            problem.laps[a.lap] = &a.account;
        }
        let every_lap: Vec<usize> = (0..problem.laps.len()).collect();
        let some: Vec<usize> = altered.iter().map(|a| a.lap).collect();
        let changed = if gust_variance == 0.0 { some } else { every_lap };
        // Class means are those of all runs; one run among them does not move the plan.
        let new_plan = (changed.len() == problem.laps.len())
            .then(|| PlannedRide::at(&problem, &self.fit.classes, &self.fit.parameters));
        let parameters = &self.fit.parameters;
        let blocks_of = |of: &dyn Fn(usize) -> LapBlock| changed.iter().map(|g| of(*g)).collect::<Vec<_>>();
        let x = blocks_of(&|g| problem.block(g, problem.parts_of(g, parameters), parameters));
        let z = self
            .planned
            .as_ref()
            .map(|p| blocks_of(&|g| new_plan.as_ref().unwrap_or(p).block(&problem, g, parameters)));
        let x = with_changes(&self.x, &changed, &x);
        let z = match (&self.z, &z) {
            (Some(base), Some(z)) => with_changes(base, &changed, z),
            _ => x.clone(),
        };
        self.equations.solve(&(problem.right_side(&z, &x, parameters) - &self.left))
    }
}

/// Blocks of all laps, some of them changed.
fn with_changes<'b>(base: &'b [LapBlock], changed: &[usize], blocks: &'b [LapBlock]) -> Vec<&'b LapBlock> {
    let mut out: Vec<&LapBlock> = base.iter().collect();
    for (g, block) in changed.iter().zip(blocks) {
        out[*g] = block;
    }
    out
}
