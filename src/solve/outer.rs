//! Least squares by Gauss–Newton steps, driven by argmin.
//!
//! Given a problem that knows its cost and its step, and a starting point; gives where the cost is least. The step itself is the
//! problem's own: argmin's Gauss–Newton inverts a dense JᵀJ, which for a season of runs is most of the work.

use super::design::{LapBlock, Problem};
use crate::error::Error;
use argmin::core::{Executor, IterState, KV, Problem as Counted, Solver, State, TerminationReason, TerminationStatus};
use nalgebra::DVector;

/// Steps after which the solver gives up.
const MOST_ITERATIONS: u64 = 60;
/// How often a step that does not lower the cost is halved.
const MOST_HALVINGS: usize = 12;
/// Length of a step below which a descent has converged, m: some 0.1 % of the scatter of a row, since least squares only chooses
/// among starts, laps and weights and is where instruments begin.
pub(super) const TOLERANCE_M: f64 = 1e-5;

/// Where least squares ended.
#[derive(Debug, Clone)]
pub struct LeastSquaresPoint {
    /// All parameters in the order of the layout.
    pub parameters: Vec<f64>,
    /// Weighted sum of squares of the rows of the account, m².
    pub cost: f64,
    pub iterations: u64,
    pub converged: bool,
}

/// A sum of squares to be made least.
pub trait SumOfSquares {
    /// The sum and the Gauss–Newton step at a point. Errors stop the descent.
    fn at(&self, parameters: &[f64]) -> Result<Here, Error>;
}

/// What is known at a point.
#[derive(Debug, Clone, PartialEq)]
pub struct Here {
    pub cost: f64,
    pub step: Step,
}

/// A Gauss–Newton step (JᵀJ)⁻¹Jᵀr.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    pub change: DVector<f64>,
    /// Its length in the metric of JᵀJ: the root of twice what the step is expected to gain.
    pub length: f64,
}

impl Step {
    /// From a solved step and the downhill direction Jᵀr it was solved for; an error when there is no finite step.
    fn new(change: Option<DVector<f64>>, downhill: &DVector<f64>) -> Result<Step, Error> {
        let message = "lag and wind cannot be told from the profile; ride more laps or state the wind";
        let change = change.ok_or_else(|| Error::Numerical { stage: "least squares", message: message.to_string() })?;
        Ok(Step { length: change.dot(downhill).max(0.0).sqrt(), change })
    }
}

/// Gauss–Newton steps, halved where they do not lower the cost, until one is short.
struct GaussNewton {
    tolerance: f64,
    /// From the point the state holds.
    step: Step,
    /// No part of the last step lowered the cost.
    stuck: bool,
}

/// State of the descent: parameters and their cost.
type DescentState = IterState<DVector<f64>, (), (), (), (), f64>;

impl<P: SumOfSquares> Solver<&P, DescentState> for GaussNewton {
    fn name(&self) -> &str {
        "Gauss–Newton"
    }

    fn init(
        &mut self,
        problem: &mut Counted<&P>,
        mut state: DescentState,
    ) -> Result<(DescentState, Option<KV>), argmin::core::Error> {
        let start = state.take_param().unwrap_or_default();
        let here = problem.problem("sum of squares", |p| Ok(p.at(start.as_slice())?))?;
        self.step = here.step;
        Ok((state.param(start).cost(here.cost), None))
    }

    fn next_iter(
        &mut self,
        problem: &mut Counted<&P>,
        mut state: DescentState,
    ) -> Result<(DescentState, Option<KV>), argmin::core::Error> {
        let (from, cost) = (state.take_param().unwrap_or_default(), state.get_cost());
        // Rounding alone may raise the cost at the bottom.
        let ceiling = cost + 1e-12 * cost.abs();
        let mut share = 1.0;
        for _ in 0..MOST_HALVINGS {
            let moved = &from + &self.step.change * share;
            let here = problem.problem("sum of squares", |p| Ok(p.at(moved.as_slice())));
            if let Ok(Ok(here)) = here
                && here.cost <= ceiling
            {
                self.step = here.step;
                return Ok((state.param(moved).cost(here.cost), None));
            }
            share *= 0.5;
        }
        self.stuck = true;
        Ok((state.param(from).cost(cost), None))
    }

    fn terminate(&mut self, _: &DescentState) -> TerminationStatus {
        match self.step.length < self.tolerance || self.stuck {
            true => TerminationStatus::Terminated(TerminationReason::SolverConverged),
            false => TerminationStatus::NotTerminated,
        }
    }
}

/// Where a descent ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Descent {
    pub parameters: Vec<f64>,
    pub cost: f64,
    pub iterations: u64,
    /// False when it ended by the limit of iterations, or where nothing lowered the cost far from a stationary point.
    pub converged: bool,
}

/// Gauss–Newton from a start, until the step in the metric of the curvature is below `tolerance` or nothing lowers the cost.
///
/// Errors: those of [`SumOfSquares::at`] at the start.
pub fn descend<P: SumOfSquares>(problem: &P, start: &[f64], tolerance: f64) -> Result<Descent, Error> {
    let numerical = |e: argmin::core::Error| match e.downcast::<Error>() {
        Ok(own) => own,
        Err(other) => Error::Numerical { stage: "least squares", message: other.to_string() },
    };
    let none = Step { change: DVector::zeros(0), length: f64::INFINITY };
    let run = Executor::new(problem, GaussNewton { tolerance, step: none, stuck: false })
        .configure(|s| s.param(DVector::from_column_slice(start)).max_iters(MOST_ITERATIONS))
        .run()
        .map_err(numerical)?;
    let state = run.state();
    let parameters = state.get_param().map_or_else(|| start.to_vec(), |p| p.as_slice().to_vec());
    // What is left to go where nothing lowers the cost any more; an end by the limit of iterations is not convergence.
    let converged = run.solver.step.length < 1e3 * tolerance && state.get_iter() < MOST_ITERATIONS;
    Ok(Descent { parameters, cost: state.get_cost(), iterations: state.get_iter(), converged })
}

impl SumOfSquares for Problem<'_> {
    fn at(&self, parameters: &[f64]) -> Result<Here, Error> {
        let blocks = self.blocks(parameters);
        let finite =
            |b: &LapBlock| b.residual.iter().chain(b.columns.iter().flat_map(|c| &c.values)).all(|v| v.is_finite());
        if !blocks.iter().all(finite) {
            return Err(Error::Numerical {
                stage: "least squares",
                message: "a lap has no finite energy account".into(),
            });
        }
        let downhill = self.right_side(&blocks, &blocks, parameters);
        let change =
            self.normal(&blocks, &blocks, &self.precision(parameters)).factored().and_then(|e| e.solve(&downhill));
        Ok(Here { cost: self.cost_with_priors(&blocks, parameters), step: Step::new(change, &downhill)? })
    }
}

/// Least squares from one starting point, until a step is shorter than `tolerance_m`.
///
/// Errors: [`Error::Numerical`] when an account is not finite or the curvature is singular.
pub fn least_squares_from(problem: &Problem, start: &[f64], tolerance_m: f64) -> Result<LeastSquaresPoint, Error> {
    let descent = descend(problem, start, tolerance_m)?;
    let cost = problem.cost(&problem.blocks(&descent.parameters));
    Ok(LeastSquaresPoint {
        parameters: descent.parameters,
        cost,
        iterations: descent.iterations,
        converged: descent.converged,
    })
}
