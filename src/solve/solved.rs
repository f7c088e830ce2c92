//! A solved fit, ready to be asked: covariance, small changes of its inputs, laps drawn again, inputs drawn anew.
//!
//! Given the equations and where they are solved; holds the derivatives, the instruments and the factored equations at that
//! point, the one place where they are worked out after the fit. Where nothing moves nothing changes. It never looks for the
//! solution itself.

use super::account::LapAccount;
use super::design::{LapBlock, LapProducts, Problem};
use super::instrumental_variables::{PlannedRide, newton_step};
use super::normal::Factored;
use super::profile::Absorption;
use super::speed_class::SpeedClasses;
use crate::error::Error;
use crate::uncertainty::bootstrap::Bootstrap;
use crate::uncertainty::cluster::{Absorbed, ClusterRobust, Laps, PriorRows, expected_covariance};
use crate::uncertainty::working::Working;
use nalgebra::{DMatrix, DVector};

/// Newton steps of a repetition: inputs move by about one standard uncertainty, so the second step is already tiny.
const REPETITION_STEPS: usize = 2;

/// Where equations are solved.
#[derive(Debug, Clone, Copy)]
pub struct Solution<'f> {
    pub parameters: &'f [f64],
    /// Parameters at which the instruments are taken.
    pub instruments_at: &'f [f64],
    pub classes: &'f SpeedClasses,
}

/// See the module.
pub struct Solved<'a, 'f> {
    pub problem: Problem<'a>,
    at: Solution<'f>,
    planned: PlannedRide,
    /// Derivatives and residuals of each lap.
    pub x: Vec<LapBlock>,
    /// Instruments of each lap.
    pub z: Vec<LapBlock>,
    products: Vec<LapProducts>,
    /// Of what is expected of the parameters.
    precision: DVector<f64>,
    equations: Factored,
}

/// A lap whose account has changed.
pub struct AlteredLap {
    /// Place among the laps in use.
    pub lap: usize,
    pub account: LapAccount,
}

/// How often to draw and from which seed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drawing {
    pub draws: usize,
    pub seed: u64,
}

impl<'a, 'f> Solved<'a, 'f> {
    /// Works everything out. Errors: [`Error::Numerical`] when the equations are singular.
    pub fn new(problem: Problem<'a>, at: Solution<'f>) -> Result<Solved<'a, 'f>, Error> {
        let x = problem.blocks(at.parameters);
        let planned = PlannedRide::at(&problem, at.classes, at.instruments_at);
        let z = planned.blocks(&problem, at.instruments_at);
        let products: Vec<LapProducts> = z.iter().zip(&x).map(|(z, x)| LapProducts::new(z, x)).collect();
        let precision = problem.precision(at.parameters);
        let equations =
            problem.normal_of(&z, &x, &products, &precision).factored().ok_or_else(|| Error::Numerical {
                stage: "solved equations",
                message: "they are singular; hold a parameter fixed or share it between runs".into(),
            })?;
        Ok(Solved { problem, at, planned, x, z, products, precision, equations })
    }

    /// Rows of all laps with the profile taken out.
    pub fn rows(&self) -> Laps {
        Laps {
            jacobian: self.problem.projected_columns(&self.x),
            instruments: self.problem.projected_columns(&self.z),
            residual: self.problem.projected_residuals(&self.x),
            prior: PriorRows { precision: self.precision.clone(), row_variance: self.problem.row_variance },
        }
    }

    /// The robust covariance. Fast laps scatter more than slow ones, and gusts outlast a step: so much of the working covariance
    /// is estimated.
    ///
    /// Errors: those of [`ClusterRobust::new`].
    pub fn covariance(&self) -> Result<ClusterRobust, Error> {
        ClusterRobust::estimated(&self.rows(), &absorbed(&self.problem), &self.at.classes.of_lap)
    }

    /// The same with a working covariance that is known.
    pub fn covariance_with(&self, working: &Working) -> Result<ClusterRobust, Error> {
        ClusterRobust::new(&self.rows(), &absorbed(&self.problem), working)
    }

    /// Covariance of the parameters if a working covariance were the true one, with what is expected of them.
    ///
    /// Errors: those of [`ClusterRobust::new`].
    pub fn expected_covariance(&self, working: &Working) -> Result<DMatrix<f64>, Error> {
        expected_covariance(&self.rows(), &absorbed(&self.problem), working)
    }

    /// The working covariance of the laps.
    pub fn working(&self) -> Result<Working, Error> {
        Working::estimated(&self.rows(), &absorbed(&self.problem), &self.at.classes.of_lap)
    }

    /// (ZᵀPX + Λ)⁻¹, parameters × parameters; `None` when it is not finite.
    pub fn inverse(&self) -> Option<DMatrix<f64>> {
        let k = self.problem.layout.len;
        let mut inverse = DMatrix::zeros(k, k);
        for i in 0..k {
            let mut unit = DVector::zeros(k);
            unit[i] = 1.0;
            inverse.set_column(i, &self.equations.solve(&unit)?);
        }
        Some(inverse)
    }

    /// Change of all parameters by one Newton step for altered laps and a change of the variance of the gusts, m²/s².
    ///
    /// That is the first-order response; of a change by ±u the half difference is right to third order in u, since what is of
    /// second order is the same on both sides. Laps that are not altered are not worked out again. `None` when it is not finite.
    pub fn after(&self, altered: &[AlteredLap], gust_variance: f64) -> Option<DVector<f64>> {
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
            .then(|| PlannedRide::at(&problem, self.at.classes, self.at.instruments_at));
        let planned = new_plan.as_ref().unwrap_or(&self.planned);
        let (parameters, instruments_at) = (self.at.parameters, self.at.instruments_at);
        let (share, share_at) = (problem.share(parameters), problem.share(instruments_at));
        let blocks_of = |of: &dyn Fn(usize) -> LapBlock| changed.iter().map(|g| of(*g)).collect::<Vec<_>>();
        let x = blocks_of(&|g| problem.block(g, &share, parameters));
        let z = blocks_of(&|g| planned.block(&problem, g, &share_at, instruments_at));
        let (x, z) = (with_changes(&self.x, &changed, &x), with_changes(&self.z, &changed, &z));
        self.equations.solve(&problem.right_side(&z, &x, parameters))
    }

    /// Parameters of altered accounts of the same laps, from the solved point, by the same equations.
    ///
    /// `None` when they are not finite.
    pub fn again(&self, problem: &Problem) -> Option<Vec<f64>> {
        let mut parameters = self.at.parameters.to_vec();
        let at = self.at.instruments_at;
        let z = PlannedRide::at(problem, self.at.classes, at).blocks(problem, at);
        for _ in 0..REPETITION_STEPS {
            let step = newton_step(problem, &z, &parameters)?;
            for (p, s) in parameters.iter_mut().zip(step.iter()) {
                *p += s;
            }
        }
        parameters.iter().all(|p| p.is_finite()).then_some(parameters)
    }

    /// Draws laps again within each class of speed of each run, so that every draw has the runs and speeds of the day.
    ///
    /// Errors: those of [`Bootstrap::run`].
    pub fn resample(&self, drawing: Drawing) -> Result<Bootstrap, Error> {
        let classes = self.at.classes;
        let strata: Vec<usize> =
            self.problem.laps.iter().zip(&classes.of_lap).map(|(lap, class)| lap.run * classes.count + class).collect();
        Bootstrap::run(&strata, drawing.draws, drawing.seed, |counts| self.recounted(counts))
    }

    /// Change of all parameters with laps counted so often, the equations linearised where they are solved: with ω_g the count of
    /// lap g every weight w_g becomes ω_g w_g, also in the step means,
    ///
    /// ```text
    /// β* − β̂ = (ZᵀP*X + Λ)⁻¹ ( ZᵀP*r + Λ (μ − β̂) ) .
    /// ```
    ///
    /// `None` where it is not finite.
    pub fn recounted(&self, counts: &[f64]) -> Option<DVector<f64>> {
        let mut problem = self.problem.clone();
        problem.weight.iter_mut().zip(counts).for_each(|(w, n)| *w *= n);
        if let Absorption::Free { .. } = problem.absorption {
            problem.absorption = Absorption::free(&problem.shown());
        }
        let normal = problem.normal_of(&self.z, &self.x, &self.products, &self.precision);
        let mut right = problem.pull(self.at.parameters);
        for ((z, products), w) in self.z.iter().zip(&self.products).zip(&problem.weight) {
            for (column, product) in z.columns.iter().zip(&products.zr) {
                right[column.parameter] += w * product;
            }
        }
        let absorbed = problem.absorption.profile(&problem.residual_sum(&self.x));
        right.gemv_tr(-1.0, &normal.u, &absorbed, 1.0);
        normal.factored()?.solve(&right)
    }

    /// Condition number of the unit-scaled columns of Crr and CdA of the first run with all other parameters taken out.
    pub fn condition(&self) -> f64 {
        let nothing = DVector::zeros(self.problem.layout.len);
        let Some(equations) = self.problem.normal(&self.x, &self.x, &nothing).factored() else { return f64::INFINITY };
        let (a, b) =
            (self.problem.layout.crr(self.problem.laps[0].run), self.problem.layout.cda(self.problem.laps[0].run));
        let inverse_column = |c: usize| {
            let unit = DVector::from_fn(self.problem.layout.len, |i, _| if i == c { 1.0 } else { 0.0 });
            equations.solve(&unit)
        };
        let Some((of_a, of_b)) = inverse_column(a).zip(inverse_column(b)) else { return f64::INFINITY };
        let pair = DMatrix::from_row_slice(2, 2, &[of_a[a], of_b[a], of_a[b], of_b[b]]);
        let r = (pair[(0, 1)] / (pair[(0, 0)] * pair[(1, 1)]).sqrt()).abs().min(1.0);
        ((1.0 + r) / (1.0 - r).max(1e-12)).sqrt()
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

/// What was taken out of the rows of a problem.
pub fn absorbed(problem: &Problem) -> Absorbed {
    match problem.survey_m {
        Some(_) => Absorbed::Nothing,
        None => Absorbed::StepMeans { lap_weights: problem.weight.clone() },
    }
}
