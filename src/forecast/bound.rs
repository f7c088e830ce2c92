//! The least scatter with which a day can be known: that of generalised least squares with the noise known.
//!
//! Given a design and the noise of its rows; gives the covariance of the best linear unbiased estimate,
//!
//! ```text
//! cov β̂ = [ (X T)ᵀ Ω⁻¹ (X T) + Π ]⁻¹ ,
//! ```
//!
//! with X the derivatives of the solver's own equations, T the steps of the profile, Ω the covariance of all rows of a run
//! (gusts outlast laps) and Π the solver's weak priors (Aitken 1935, Proc. R. Soc. Edinb. 55:42; from memory). It is a bound for
//! the planned speeds: what riders add by riding unevenly is not in it, nor is any error of wheel sensor, chainage or
//! gusts' mean drag. It draws no random number.

use super::design::Design;
use super::prediction::as_planned;
use super::quiet::QuietDay;
use super::row_noise::RowNoise;
use crate::analysis::quantities::{Linear, PowerAt, SetupQuantities};
use crate::error::Error;
use crate::plan::Plan;
use crate::solve::design::Problem;
use crate::solve::fit::Frame;
use crate::solve::layout::Layout;
use nalgebra::{Cholesky, DMatrix};

/// Least standard errors of the scatter, no measuring chain.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastScatter {
    pub setups: Vec<LeastErrors>,
    /// Against the baseline.
    pub contrasts: Vec<LeastErrors>,
}

/// Those of one set-up or difference; `None` for what is held common.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastErrors {
    pub setup: String,
    pub crr: Option<f64>,
    pub cda_m2: Option<f64>,
}

/// The bound for a plan whose runs are all on its loop.
///
/// Errors: those of the simulation without noise, and [`Error::Numerical`] where the laps leave a parameter undetermined.
pub fn least_scatter(plan: &Plan) -> Result<LeastScatter, Error> {
    let day = QuietDay::ride(plan)?;
    let design = Design::new(&day, &as_planned(&day, plan));
    let best = design.best(&RowNoise::of(&plan.noise))?;
    let power = PowerAt::reference(&day.session);
    let of = |s: usize| SetupQuantities::new(&best.layout, s, &power);
    let errors = |setup: usize, q: &SetupQuantities| LeastErrors {
        setup: day.session.setups[setup].id.clone(),
        crr: best.standard_error(&q.crr),
        cda_m2: best.standard_error(&q.cda),
    };
    let (count, baseline) = (day.session.setups.len(), day.session.baseline());
    Ok(LeastScatter {
        setups: (0..count).map(|s| errors(s, &of(s))).collect(),
        contrasts: (0..count).filter(|s| *s != baseline).map(|s| errors(s, &of(s).minus(&of(baseline)))).collect(),
    })
}

/// The best estimate of a design.
struct Best {
    layout: Layout,
    covariance: DMatrix<f64>,
    /// Change of the parameters for each row of each lap; kept for the proof that it is what it should be.
    #[cfg_attr(not(test), allow(dead_code))]
    rows: Vec<DMatrix<f64>>,
}

impl Best {
    fn standard_error(&self, linear: &Linear) -> Option<f64> {
        let c = &linear.coefficients;
        c.iter().any(|x| *x != 0.0).then(|| c.dot(&(&self.covariance * c)).max(0.0).sqrt())
    }
}

impl Design<'_> {
    fn best(&self, noise: &RowNoise) -> Result<Best, Error> {
        let undetermined = |message: &str| Error::Numerical { stage: "least scatter", message: message.into() };
        let frame = Frame { work: self.work.clone(), choices: &self.choices, survey: self.survey.as_ref() };
        let all: Vec<usize> = (0..self.laps.len()).collect();
        let row_sd_m = self.row_sd_m(noise);
        let problem = frame.problem(&self.laps, &all, &vec![1.0; all.len()], row_sd_m);
        let (k, steps) = (problem.layout.len, problem.steps());
        let width = k + steps - 1;
        let rows = whole_rows(&problem, &self.parameters(&problem.layout), width);
        let mut information = DMatrix::zeros(width, width);
        let mut weighted: Vec<DMatrix<f64>> = vec![DMatrix::zeros(0, 0); rows.len()];
        for run in 0..self.runs.len() {
            let of_run: Vec<usize> = (0..self.laps.len()).filter(|g| self.laps[*g].account.run == run).collect();
            let mut x = DMatrix::zeros(of_run.len() * steps, width);
            for (place, &g) in of_run.iter().enumerate() {
                x.view_mut((place * steps, 0), (steps, width)).copy_from(&rows[g]);
            }
            let Some(omega) = Cholesky::new(self.covariance_of_run(noise, &of_run, steps)) else {
                return Err(undetermined("the covariance of the rows is not positive; state some scatter of power"));
            };
            let w = omega.solve(&x);
            information += x.tr_mul(&w);
            for (place, &g) in of_run.iter().enumerate() {
                weighted[g] = w.rows(place * steps, steps).into_owned();
            }
        }
        for (i, p) in problem.prior.iter().enumerate() {
            information[(i, i)] += p / (row_sd_m * row_sd_m);
        }
        if let Some(survey) = &self.survey {
            let precision =
                survey_precision(steps, survey.sd_m).ok_or_else(|| undetermined("the survey is singular"))?;
            let mut block = information.view_mut((k, k), (steps - 1, steps - 1));
            block += precision;
        }
        // Columns differ by powers of ten; scaled to a unit diagonal the inverse is sound.
        let scale = information.diagonal().map(|d| if d > 0.0 { 1.0 / d.sqrt() } else { 1.0 });
        let scaled = DMatrix::from_fn(width, width, |i, j| information[(i, j)] * scale[i] * scale[j]);
        let inverse = Cholesky::new(scaled)
            .ok_or_else(|| undetermined("the planned laps leave a parameter undetermined; plan more laps or speeds"))?
            .inverse();
        let covariance = DMatrix::from_fn(width, width, |i, j| inverse[(i, j)] * scale[i] * scale[j]);
        let first = covariance.columns(0, k).into_owned();
        Ok(Best {
            rows: weighted.into_iter().map(|w| w * &first).collect(),
            covariance: first.rows(0, k).into_owned(),
            layout: problem.layout.clone(),
        })
    }

    /// Variance of the height that the error of the speed at an edge stands for, m².
    fn edge_m2(&self, noise: &RowNoise, lap: usize) -> f64 {
        let account = &self.laps[lap].account;
        let mass_kg = account.weight_n / self.day.truth.gravity_m_s2;
        noise.edge_j2(mass_kg, account.mean_speed_m_s) / account.weight_n.powi(2)
    }

    /// Covariance of all rows of some laps of one run, in the order of riding, m².
    fn covariance_of_run(&self, noise: &RowNoise, of_run: &[usize], steps: usize) -> DMatrix<f64> {
        let rows = of_run.len() * steps;
        let mut omega = DMatrix::zeros(rows, rows);
        let (mut begin_s, mut duration_s, mut push) = (Vec::new(), Vec::new(), Vec::new());
        let mut at_s = 0.0;
        for (place, &g) in of_run.iter().enumerate() {
            let account = &self.laps[g].account;
            let variance = self.work_variances(noise, &self.laps[g], self.quiet[g]);
            // The edge between two laps belongs to the one that begins.
            let edge_m2 = self.edge_m2(noise, g);
            let next_m2 = of_run.get(place + 1).map_or(edge_m2, |next| self.edge_m2(noise, *next));
            push.extend(self.pushes(account));
            for (j, variance) in variance.into_iter().enumerate() {
                let (row, step_s) = (place * steps + j, account.edge_s[j + 1] - account.edge_s[j]);
                begin_s.push(at_s);
                duration_s.push(step_s);
                at_s += step_s;
                // The error of the speed at an edge is lost to one step and gained by the next.
                let ends_m2 = if j + 1 == steps { next_m2 } else { edge_m2 };
                omega[(row, row)] += variance + edge_m2 + ends_m2;
                if row > 0 {
                    omega[(row, row - 1)] -= edge_m2;
                    omega[(row - 1, row)] -= edge_m2;
                }
            }
        }
        for i in 0..rows {
            omega[(i, i)] += push[i].squared() * noise.gust_m2_s2(duration_s[i], duration_s[i], None);
            for j in i + 1..rows {
                let apart_s = begin_s[j] - begin_s[i] - duration_s[i];
                if apart_s > noise.memory_s() {
                    break;
                }
                let shared = push[i].dot(push[j]) * noise.gust_m2_s2(duration_s[i], duration_s[j], Some(apart_s));
                omega[(i, j)] += shared;
                omega[(j, i)] += shared;
            }
        }
        omega
    }
}

/// Derivatives of all rows of each lap with respect to the parameters and to all steps of the profile but the last, which
/// is the others' sum taken away.
fn whole_rows(problem: &Problem, parameters: &[f64], width: usize) -> Vec<DMatrix<f64>> {
    let (k, steps) = (problem.layout.len, problem.steps());
    let dense = |block: crate::solve::design::LapBlock| {
        let mut rows = DMatrix::zeros(steps, width);
        for c in &block.columns {
            for (j, v) in c.values.iter().enumerate() {
                rows[(j, c.parameter)] += v;
            }
        }
        for j in 0..steps - 1 {
            rows[(j, k + j)] = 1.0;
            rows[(steps - 1, k + j)] = -1.0;
        }
        rows
    };
    problem.blocks(parameters).into_iter().map(dense).collect()
}

/// Inverse covariance of the surveyed steps but the last, sd² (2I − S − Sᵀ) without it, 1/m².
fn survey_precision(steps: usize, sd_m: f64) -> Option<DMatrix<f64>> {
    let covariance = DMatrix::from_fn(steps - 1, steps - 1, |i, j| {
        sd_m * sd_m
            * match i.abs_diff(j) {
                0 => 2.0,
                1 => -1.0,
                _ => 0.0,
            }
    });
    Cholesky::new(covariance).map(|c| c.inverse())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solve::fit::Estimator;
    use nalgebra::DVector;

    /// The largest of the differences of two covariances, in units of their standard deviations.
    fn apart(a: &DMatrix<f64>, b: &DMatrix<f64>) -> f64 {
        let sd: DVector<f64> = b.diagonal().map(f64::sqrt);
        let share = |(at, d): (usize, &f64)| (d / (sd[at % a.nrows()] * sd[at / a.nrows()])).abs();
        (a - b).iter().enumerate().map(share).fold(0.0, f64::max)
    }

    fn plan(source: &str, gust_sd_m_s: f64) -> Plan {
        let text = format!(
            "order = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 5\nspeeds_km_h = [29.0, 41.0]\n\
             rider_and_bike.mass_kg = 86.0\nloop.length_m = 1100.0\nwind = {{ speed_m_s = 1.5, from_deg = 240.0 }}\n\
             noise = {{ gust_sd_m_s = {gust_sd_m_s}, speed_source = \"{source}\" }}\nsolve.cda = \"common\"\n\
             [[setup]]\nid = \"a\"\ncda_m2 = 0.262\ncrr = 0.0045\n[[setup]]\nid = \"b\"\ncda_m2 = 0.262\ncrr = 0.0041\n"
        );
        Plan::from_toml(&text, "bound").unwrap()
    }

    #[test]
    fn the_noise_carried_through_the_best_estimate_is_its_covariance() {
        // Algebra: with G = Ω⁻¹X(XᵀΩ⁻¹X)⁻¹ the covariance GᵀΩG is (XᵀΩ⁻¹X)⁻¹. GᵀΩG comes from the sums of `propagate`, which
        // never build Ω. The weak priors take a share of the order of (0.5/5)² of a wind's precision.
        for (source, gusts) in [("wheel", 0.4), ("satellite", 0.4), ("satellite", 0.0)] {
            let plan = plan(source, gusts);
            let day = QuietDay::ride(&plan).unwrap();
            let design = Design::new(&day, &as_planned(&day, &plan));
            let noise = RowNoise::of(&plan.noise);
            let best = design.best(&noise).unwrap();
            let through = design.core(&noise, &best.rows, true);
            let linear = best.layout.linear;
            let block = |m: &DMatrix<f64>| m.view((0, 0), (linear, linear)).into_owned();
            let apart = apart(&block(&through), &block(&best.covariance));
            assert!(apart < 0.02, "{source} {gusts}: {apart}");
        }
    }

    #[test]
    fn no_estimator_of_the_solver_scatters_less_than_the_bound() {
        // Gauss and Markov: least squares and instruments are linear and unbiased, so that none can be below.
        for (source, gusts) in [("wheel", 0.2), ("satellite", 0.8)] {
            let plan = plan(source, gusts);
            let day = QuietDay::ride(&plan).unwrap();
            let design = Design::new(&day, &as_planned(&day, &plan));
            let noise = RowNoise::of(&plan.noise);
            let best = design.best(&noise).unwrap();
            for estimator in [Estimator::Instruments, Estimator::LeastSquares] {
                let other = design.propagate(&noise, estimator).unwrap();
                for i in 0..best.layout.linear {
                    let ratio = (best.covariance[(i, i)] / other.scatter[(i, i)]).sqrt();
                    assert!(ratio < 1.0 + 1e-6 && ratio > 0.3, "{source} {estimator:?} column {i}: {ratio}");
                }
            }
        }
    }
}
