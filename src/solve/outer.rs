//! The outer problem: lags and winds by variable projection, with CdA and Crr eliminated exactly at every step.
//!
//! Given a problem and a starting point; gives the least-squares parameters. argmin drives the Gauss–Newton steps; the
//! derivative is Kaufman's (1975, BIT 15:49), in which the linear parameters follow the nonlinear ones.

use super::design::{LapBlock, LinearRows, Problem};
use super::least_squares::least_squares;
use crate::error::Error;
use argmin::core::{Executor, IterState, KV, Problem as Counted, Solver, State, TerminationReason, TerminationStatus};
use nalgebra::{DMatrix, DVector};

/// Steps after which the solver gives up.
const MOST_ITERATIONS: u64 = 40;
/// Length of a step below which a descent has converged, m: some 1e-4 of the scatter of a row.
pub(super) const TOLERANCE_M: f64 = 1e-6;
/// The same for what only chooses among starts, laps and weights, m: some 1 % of the scatter of a row.
pub(super) const ROUGH_M: f64 = 1e-4;

/// Where least squares ended.
#[derive(Debug, Clone)]
pub struct LeastSquaresPoint {
    /// All parameters in the order of the layout.
    pub parameters: Vec<f64>,
    pub cost: f64,
    pub iterations: u64,
    pub converged: bool,
}

/// All parameters, and the equations at them, with the linear parameters that fit best at given nuisances, by QR of the
/// projected columns.
fn eliminate(problem: &Problem, nuisances: &[f64]) -> Result<(Vec<f64>, Vec<LapBlock>), Error> {
    let mut parameters = vec![0.0; problem.layout.linear];
    parameters.extend_from_slice(nuisances);
    let parts = problem.parts(&parameters);
    let LinearRows { columns: x, left: y } = problem.linear_rows(&parts);
    if !(x.iter().all(|v| v.is_finite()) && y.iter().all(|v| v.is_finite())) {
        return Err(Error::Numerical { stage: "least squares", message: "a lap has no finite energy account".into() });
    }
    let solution = least_squares(&x, &y)?;
    for (p, b) in parameters.iter_mut().zip(solution.coefficients.iter()) {
        // Where laps cannot tell CdA from Crr at all, the rank is short; zero keeps the rest finite.
        *p = if b.is_finite() { *b } else { 0.0 };
    }
    let blocks = problem.blocks_from(parts, &parameters);
    Ok((parameters, blocks))
}

/// A least-squares problem in which everything linear has been eliminated.
pub trait Reduced {
    /// The Gauss–Newton step at a point. Errors stop the descent.
    fn step(&self, parameters: &[f64]) -> Result<Step, Error>;
}

/// A Gauss–Newton step (JᵀJ)⁻¹Jᵀr.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    pub change: DVector<f64>,
    /// Its length in the metric of JᵀJ: the root of twice what the step is expected to gain.
    pub length: f64,
}

impl Step {
    /// From a solved step and the downhill direction Jᵀr it was solved for; `None` when there is no finite step.
    fn new(change: Option<DVector<f64>>, downhill: &DVector<f64>) -> Result<Step, Error> {
        let message = "lag and wind cannot be told from the profile; ride more laps or state the wind";
        let change = change.ok_or_else(|| Error::Numerical { stage: "least squares", message: message.to_string() })?;
        Ok(Step { length: change.dot(downhill).max(0.0).sqrt(), change })
    }

    /// From a dense JᵀJ and Jᵀr. Errors: [`Error::Numerical`] when JᵀJ is singular or not finite.
    pub fn dense(curvature: DMatrix<f64>, downhill: &DVector<f64>) -> Result<Step, Error> {
        let change = curvature.cholesky().map(|c| c.solve(downhill));
        Step::new(change.filter(|s| s.iter().all(|v| v.is_finite())), downhill)
    }
}

/// Full Gauss–Newton steps for argmin's executor, until a step is short.
///
/// argmin's own Gauss–Newton forms the inverse of a dense JᵀJ, which for a season of runs is most of the work; the problem
/// here solves for its step itself.
struct GaussNewton {
    tolerance: f64,
}

/// State of the descent: parameters and the last step as "residual".
type DescentState = IterState<DVector<f64>, (), (), (), DVector<f64>, f64>;

impl<P: Reduced> Solver<&P, DescentState> for GaussNewton {
    fn name(&self) -> &str {
        "Gauss–Newton"
    }

    fn init(
        &mut self,
        problem: &mut Counted<&P>,
        mut state: DescentState,
    ) -> Result<(DescentState, Option<KV>), argmin::core::Error> {
        let start = state.take_param().unwrap_or_default();
        let step = problem.problem("step", |p| Ok(p.step(start.as_slice())?))?;
        Ok((state.param(start).residuals(step.change).cost(step.length), None))
    }

    fn next_iter(
        &mut self,
        problem: &mut Counted<&P>,
        mut state: DescentState,
    ) -> Result<(DescentState, Option<KV>), argmin::core::Error> {
        let moved = match (state.take_param(), state.take_residuals()) {
            (Some(parameters), Some(step)) => parameters + step,
            (parameters, _) => parameters.unwrap_or_default(),
        };
        let step = problem.problem("step", |p| Ok(p.step(moved.as_slice())?))?;
        Ok((state.param(moved).residuals(step.change).cost(step.length), None))
    }

    fn terminate(&mut self, state: &DescentState) -> TerminationStatus {
        match state.get_cost() < self.tolerance {
            true => TerminationStatus::Terminated(TerminationReason::SolverConverged),
            false => TerminationStatus::NotTerminated,
        }
    }
}

/// Where a descent ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Descent {
    pub parameters: Vec<f64>,
    pub iterations: u64,
    /// False when it ended by the limit of iterations or far from a stationary point.
    pub converged: bool,
}

/// Gauss–Newton from a start, until the step in the metric of the curvature is below `tolerance`.
///
/// Errors: those of [`Reduced::step`].
pub fn descend<P: Reduced>(problem: &P, start: &[f64], tolerance: f64) -> Result<Descent, Error> {
    let numerical = |e: argmin::core::Error| match e.downcast::<Error>() {
        Ok(own) => own,
        Err(other) => Error::Numerical { stage: "least squares", message: other.to_string() },
    };
    let run = Executor::new(problem, GaussNewton { tolerance })
        .configure(|s| s.param(DVector::from_column_slice(start)).max_iters(MOST_ITERATIONS))
        .run()
        .map_err(numerical)?;
    let state = run.state();
    let parameters = state.get_param().map_or_else(|| start.to_vec(), |p| p.as_slice().to_vec());
    // The step that is left to go; an end by the iteration limit is not convergence.
    let converged = state.get_cost() < 1e3 * tolerance && state.get_iter() < MOST_ITERATIONS;
    Ok(Descent { parameters, iterations: state.get_iter(), converged })
}

/// The laps' problem with CdA, Crr and the profile eliminated.
struct Laps<'p, 'a>(&'p Problem<'a>);

impl Reduced for Laps<'_, '_> {
    fn step(&self, nuisances: &[f64]) -> Result<Step, Error> {
        let problem = self.0;
        let (parameters, blocks) = eliminate(problem, nuisances)?;
        let mut normal = problem.normal(&blocks, &blocks);
        for i in 0..normal.shared {
            // Where laps cannot tell CdA from Crr at all, this keeps the rest solvable.
            normal.corner[(i, i)] += 1e-12;
        }
        // CdA and Crr are at their best for these nuisances, so that nothing pulls at them; they follow the step.
        let mut downhill = problem.right_side(&blocks, &blocks, &parameters);
        downhill.rows_mut(0, normal.shared).fill(0.0);
        let whole = normal.factored().and_then(|equations| equations.solve(&downhill));
        let of_nuisances = |v: &DVector<f64>| v.rows(normal.shared, nuisances.len()).into_owned();
        Step::new(whole.as_ref().map(of_nuisances), &of_nuisances(&downhill))
    }
}

fn cost(problem: &Problem, parameters: &[f64], blocks: &[LapBlock]) -> f64 {
    let prior: f64 = problem
        .prior
        .iter()
        .zip(parameters.iter().zip(&problem.prior_mean))
        .map(|(p, (x, mean))| p * (x - mean).powi(2))
        .sum();
    problem.cost(blocks) + prior
}

/// Least squares from one starting point of the nuisances, until a step is shorter than `tolerance_m`.
///
/// Errors: [`Error::Numerical`] when an account is not finite or the curvature is singular.
pub fn least_squares_from(problem: &Problem, start: &[f64], tolerance_m: f64) -> Result<LeastSquaresPoint, Error> {
    let descent = if start.is_empty() {
        Descent { parameters: Vec::new(), iterations: 1, converged: true }
    } else {
        descend(&Laps(problem), start, tolerance_m)?
    };
    let (parameters, blocks) = eliminate(problem, &descent.parameters)?;
    let cost = cost(problem, &parameters, &blocks);
    Ok(LeastSquaresPoint { parameters, cost, iterations: descent.iterations, converged: descent.converged })
}
