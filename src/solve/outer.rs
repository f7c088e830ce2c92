//! The outer problem: lags and winds by variable projection, with CdA and Crr eliminated exactly at every step.
//!
//! Given a problem and a starting point; gives the least-squares parameters. Gauss–Newton steps are argmin's; the
//! derivative is Kaufman's (1975, BIT 15:49), in which the linear parameters follow the nonlinear ones.

use super::design::{LapBlock, Problem};
use super::least_squares::least_squares;
use crate::error::Error;
use argmin::core::{Executor, Jacobian, Operator, State};
use argmin::solver::gaussnewton::GaussNewton;
use nalgebra::{DMatrix, DVector};

/// Steps after which the solver gives up.
const MOST_ITERATIONS: u64 = 40;
/// Change of the scaled step, in units of the row scatter, below which it has converged.
const TOLERANCE_M: f64 = 1e-7;

/// Where least squares ended.
#[derive(Debug, Clone)]
pub struct LeastSquaresPoint {
    /// All parameters in the order of the layout.
    pub parameters: Vec<f64>,
    pub cost: f64,
    pub iterations: u64,
    pub converged: bool,
}

/// The linear parameters that fit best at given nuisances, by QR of the projected columns.
fn eliminate(problem: &Problem, nuisances: &[f64]) -> Result<Vec<f64>, Error> {
    let linear = problem.layout.linear;
    let mut parameters = vec![0.0; linear];
    parameters.extend_from_slice(nuisances);
    // At CdA = Crr = 0 the residual is the left side of the equations.
    let at_zero = problem.blocks(&parameters);
    let laps = problem.projected(&at_zero);
    let rows: usize = laps.iter().map(|l| l.residual.len()).sum();
    let mut x = DMatrix::zeros(rows, linear);
    let mut y = DVector::zeros(rows);
    let mut from = 0;
    for lap in &laps {
        let n = lap.residual.len();
        x.view_mut((from, 0), (n, linear)).copy_from(&lap.jacobian.columns(0, linear));
        y.rows_mut(from, n).copy_from(&lap.residual);
        from += n;
    }
    if !(x.iter().all(|v| v.is_finite()) && y.iter().all(|v| v.is_finite())) {
        return Err(Error::Numerical { stage: "least squares", message: "a lap has no finite energy account".into() });
    }
    let solution = least_squares(&x, &y)?;
    for (p, b) in parameters.iter_mut().zip(solution.coefficients.iter()) {
        // Where laps cannot tell CdA from Crr at all, the rank is short; zero keeps the rest finite.
        *p = if b.is_finite() { *b } else { 0.0 };
    }
    Ok(parameters)
}

/// Parameters, blocks and Gauss–Newton quantities at given nuisances.
struct Reduced {
    parameters: Vec<f64>,
    blocks: Vec<LapBlock>,
    /// Cholesky factor of the curvature in the nuisances, and L⁻¹ of minus the gradient.
    factor: DMatrix<f64>,
    residual: DVector<f64>,
}

fn reduce(problem: &Problem, nuisances: &[f64]) -> Result<Reduced, Error> {
    let parameters = eliminate(problem, nuisances)?;
    let blocks = problem.blocks(&parameters);
    let normal = problem.cross(&blocks, &blocks);
    let (l, n) = (problem.layout.linear, nuisances.len());
    let within = normal.matrix.view((0, 0), (l, l)).into_owned();
    let across = normal.matrix.view((0, l), (l, n)).into_owned();
    let mut curvature = normal.matrix.view((l, l), (n, n)).into_owned();
    if let Some(chol) = (within + DMatrix::identity(l, l) * 1e-12).cholesky() {
        curvature -= across.tr_mul(&chol.solve(&across));
    }
    let mut gradient = normal.right.rows(l, n).into_owned();
    for i in 0..n {
        curvature[(i, i)] += problem.prior[l + i];
        gradient[i] -= problem.prior[l + i] * nuisances[i];
    }
    let chol = curvature.cholesky().ok_or_else(|| Error::Numerical {
        stage: "least squares",
        message: "lag and wind cannot be told from the profile; ride more laps or state the wind".into(),
    })?;
    let factor = chol.l();
    let residual = factor
        .solve_lower_triangular(&gradient)
        .map(|r| -r)
        .filter(|r| r.iter().all(|v| v.is_finite()))
        .ok_or_else(|| Error::Numerical { stage: "least squares", message: "the step is not finite".into() })?;
    Ok(Reduced { parameters, blocks, factor, residual })
}

/// The outer problem in the form argmin takes.
///
/// argmin forms (JᵀJ)⁻¹Jᵀr from J and r; handing it the Cholesky factor of JᵀJ and the matching r gives the same step
/// from matrices of the size of the nuisances, however many rows there are.
struct Outer<'p, 'a>(&'p Problem<'a>);

impl Operator for Outer<'_, '_> {
    type Param = DVector<f64>;
    type Output = DVector<f64>;

    fn apply(&self, nuisances: &Self::Param) -> Result<Self::Output, argmin::core::Error> {
        Ok(reduce(self.0, nuisances.as_slice())?.residual)
    }
}

impl Jacobian for Outer<'_, '_> {
    type Param = DVector<f64>;
    type Jacobian = DMatrix<f64>;

    fn jacobian(&self, nuisances: &Self::Param) -> Result<Self::Jacobian, argmin::core::Error> {
        Ok(reduce(self.0, nuisances.as_slice())?.factor.transpose())
    }
}

fn cost(problem: &Problem, parameters: &[f64], blocks: &[LapBlock]) -> f64 {
    let prior: f64 = problem.prior.iter().zip(parameters).map(|(p, x)| p * x * x).sum();
    problem.cost(blocks) + prior
}

/// Least squares from one starting point of the nuisances.
///
/// Errors: [`Error::Numerical`] when an account is not finite or the curvature is singular.
pub fn least_squares_from(problem: &Problem, start: &[f64]) -> Result<LeastSquaresPoint, Error> {
    if start.is_empty() {
        let parameters = eliminate(problem, &[])?;
        let blocks = problem.blocks(&parameters);
        let cost = cost(problem, &parameters, &blocks);
        return Ok(LeastSquaresPoint { parameters, cost, iterations: 1, converged: true });
    }
    let numerical = |e: argmin::core::Error| match e.downcast::<Error>() {
        Ok(own) => own,
        Err(other) => Error::Numerical { stage: "least squares", message: other.to_string() },
    };
    let solver = GaussNewton::new().with_tolerance(TOLERANCE_M).map_err(numerical)?;
    let run = Executor::new(Outer(problem), solver)
        .configure(|s| s.param(DVector::from_column_slice(start)).max_iters(MOST_ITERATIONS))
        .run()
        .map_err(numerical)?;
    let state = run.state();
    let iterations = state.get_iter();
    let nuisances = state.get_param().cloned().unwrap_or_else(|| DVector::from_column_slice(start));
    let reduced = reduce(problem, nuisances.as_slice())?;
    let cost = cost(problem, &reduced.parameters, &reduced.blocks);
    // The scaled step is what is left to go; an end by the iteration limit is not convergence.
    let converged = reduced.residual.norm() < 1e3 * TOLERANCE_M && iterations < MOST_ITERATIONS;
    Ok(LeastSquaresPoint { parameters: reduced.parameters, cost, iterations, converged })
}
