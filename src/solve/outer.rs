//! The outer problem: lags and winds by variable projection, with CdA and Crr eliminated exactly at every step.
//!
//! Given a problem and a starting point; gives the least-squares parameters. Gauss–Newton steps are argmin's; the
//! derivative is Kaufman's (1975, BIT 15:49), in which the linear parameters follow the nonlinear ones.

use super::design::{LapBlock, LinearRows, Problem};
use super::least_squares::least_squares;
use crate::error::Error;
use argmin::core::{Executor, Jacobian, Operator, State};
use argmin::solver::gaussnewton::GaussNewton;
use nalgebra::{DMatrix, DVector};
use std::cell::RefCell;

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
    /// Cholesky factor L of the curvature JᵀJ at a point, and minus L⁻¹ times the downhill direction Jᵀr of the prediction's
    /// derivative J and the residual r. Errors stop the descent.
    fn reduce(&self, parameters: &[f64]) -> Result<Curvature, Error>;
}

/// Gauss–Newton quantities at a point.
#[derive(Debug, Clone, PartialEq)]
pub struct Curvature {
    pub factor: DMatrix<f64>,
    pub residual: DVector<f64>,
}

impl Curvature {
    /// From JᵀJ and Jᵀr. Errors: [`Error::Numerical`] when the curvature is singular or not finite.
    pub fn new(curvature: DMatrix<f64>, downhill: &DVector<f64>) -> Result<Curvature, Error> {
        let failed = |message: &str| Error::Numerical { stage: "least squares", message: message.into() };
        let chol = curvature
            .cholesky()
            .ok_or_else(|| failed("lag and wind cannot be told from the profile; ride more laps or state the wind"))?;
        let factor = chol.l();
        let residual = factor
            .solve_lower_triangular(downhill)
            .map(|r| -r)
            .filter(|r| r.iter().all(|v| v.is_finite()))
            .ok_or_else(|| failed("the step is not finite"))?;
        Ok(Curvature { factor, residual })
    }
}

/// The problem in the form argmin takes.
///
/// argmin forms (JᵀJ)⁻¹Jᵀr from J and r; handing it the Cholesky factor of JᵀJ and the matching r gives the same step
/// from matrices of the size of the parameters, however many rows there are.
struct Outer<'p, P> {
    problem: &'p P,
    /// The last point, because argmin asks for J and r one after the other.
    last: RefCell<Option<(DVector<f64>, Curvature)>>,
}

impl<P: Reduced> Outer<'_, P> {
    fn at<T>(&self, parameters: &DVector<f64>, pick: impl Fn(&Curvature) -> T) -> Result<T, Error> {
        let mut last = self.last.borrow_mut();
        if let Some((point, curvature)) = &*last
            && point == parameters
        {
            return Ok(pick(curvature));
        }
        let curvature = self.problem.reduce(parameters.as_slice())?;
        let picked = pick(&curvature);
        *last = Some((parameters.clone(), curvature));
        Ok(picked)
    }
}

impl<P: Reduced> Operator for Outer<'_, P> {
    type Param = DVector<f64>;
    type Output = DVector<f64>;

    fn apply(&self, parameters: &Self::Param) -> Result<Self::Output, argmin::core::Error> {
        Ok(self.at(parameters, |c| c.residual.clone())?)
    }
}

impl<P: Reduced> Jacobian for Outer<'_, P> {
    type Param = DVector<f64>;
    type Jacobian = DMatrix<f64>;

    fn jacobian(&self, parameters: &Self::Param) -> Result<Self::Jacobian, argmin::core::Error> {
        Ok(self.at(parameters, |c| c.factor.transpose())?)
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
/// Errors: those of [`Reduced::reduce`].
pub fn descend<P: Reduced>(problem: &P, start: &[f64], tolerance: f64) -> Result<Descent, Error> {
    let numerical = |e: argmin::core::Error| match e.downcast::<Error>() {
        Ok(own) => own,
        Err(other) => Error::Numerical { stage: "least squares", message: other.to_string() },
    };
    let solver = GaussNewton::new().with_tolerance(tolerance).map_err(numerical)?;
    let run = Executor::new(Outer { problem, last: RefCell::new(None) }, solver)
        .configure(|s| s.param(DVector::from_column_slice(start)).max_iters(MOST_ITERATIONS))
        .run()
        .map_err(numerical)?;
    let state = run.state();
    let iterations = state.get_iter();
    let parameters = state.get_param().map_or_else(|| start.to_vec(), |p| p.as_slice().to_vec());
    // The scaled step is what is left to go; an end by the iteration limit is not convergence.
    let left = problem.reduce(&parameters)?.residual.norm();
    Ok(Descent { parameters, iterations, converged: left < 1e3 * tolerance && iterations < MOST_ITERATIONS })
}

/// The laps' problem with CdA, Crr and the profile eliminated.
struct Laps<'p, 'a>(&'p Problem<'a>);

impl Reduced for Laps<'_, '_> {
    fn reduce(&self, nuisances: &[f64]) -> Result<Curvature, Error> {
        let problem = self.0;
        let (_, blocks) = eliminate(problem, nuisances)?;
        let normal = problem.cross(&blocks, &blocks);
        let (l, n) = (problem.layout.linear, nuisances.len());
        let mut within = normal.matrix.view((0, 0), (l, l)).into_owned();
        for i in 0..l {
            within[(i, i)] += problem.prior[i];
        }
        let across = normal.matrix.view((0, l), (l, n)).into_owned();
        let mut curvature = normal.matrix.view((l, l), (n, n)).into_owned();
        if let Some(chol) = (within + DMatrix::identity(l, l) * 1e-12).cholesky() {
            curvature -= across.tr_mul(&chol.solve(&across));
        }
        let mut downhill = normal.right.rows(l, n).into_owned();
        for i in 0..n {
            curvature[(i, i)] += problem.prior[l + i];
            downhill[i] -= problem.prior[l + i] * (nuisances[i] - problem.prior_mean[l + i]);
        }
        Curvature::new(curvature, &downhill)
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

/// Least squares from one starting point of the nuisances.
///
/// Errors: [`Error::Numerical`] when an account is not finite or the curvature is singular.
pub fn least_squares_from(problem: &Problem, start: &[f64]) -> Result<LeastSquaresPoint, Error> {
    let descent = if start.is_empty() {
        Descent { parameters: Vec::new(), iterations: 1, converged: true }
    } else {
        descend(&Laps(problem), start, TOLERANCE_M)?
    };
    let (parameters, blocks) = eliminate(problem, &descent.parameters)?;
    let cost = cost(problem, &parameters, &blocks);
    Ok(LeastSquaresPoint { parameters, cost, iterations: descent.iterations, converged: descent.converged })
}
