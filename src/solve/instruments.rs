//! Estimation with planned speed as the instrument: a gust moves speed, but not the plan.
//!
//! Given the least-squares point and speed classes; gives the parameters at which the residual has no part along the
//! model's own columns *evaluated at the mean speed and power of the class*:
//!
//! ```text
//! Zᵀ P r(θ) = 0,   θ ← θ + (ZᵀPJ)⁻¹ ZᵀPr
//! ```
//!
//! Z keeps each run's own air, mass and wind, so that only what the gusts of a lap did to its speed and power is taken
//! out. (Wooldridge 2010, Econometric Analysis of Cross Section and Panel Data, ch. 5: instruments by averaging within
//! groups.)

use super::account::LapAccount;
use super::design::{Column, LapBlock, Problem};
use super::speed_class::{Origin, SpeedClasses};
use nalgebra::DVector;
use rayon::prelude::*;

/// Steps after which the iteration has failed.
const MOST_ITERATIONS: usize = 25;

/// Class means that take the place of a lap's own speed and power.
pub struct PlannedRide {
    /// Speeds at the nodes, by class, m/s.
    speed_m_s: Vec<Vec<f64>>,
    /// Rolling distance by step over distance, by class.
    rolling_m: Vec<Vec<f64>>,
    /// Derivative of work with respect to the lag by step, by class, W.
    lag_w: Vec<Vec<f64>>,
    of_lap: Vec<usize>,
    /// Factor on the class speeds for each lap (1 but for laps that stand for themselves).
    level: Vec<f64>,
}

impl PlannedRide {
    /// Averages laps of a class node by node over all runs.
    pub fn new(problem: &Problem, classes: &SpeedClasses, lag_s: &[f64]) -> PlannedRide {
        let mean_of = |values: &dyn Fn(usize) -> Vec<f64>| -> Vec<Vec<f64>> {
            let mut sums: Vec<Vec<f64>> = vec![Vec::new(); classes.count];
            let mut counts = vec![0.0; classes.count];
            for g in 0..problem.laps.len() {
                let v = values(g);
                let c = classes.of_lap[g];
                if sums[c].is_empty() {
                    sums[c] = vec![0.0; v.len()];
                }
                for (s, x) in sums[c].iter_mut().zip(&v) {
                    *s += x;
                }
                counts[c] += 1.0;
            }
            for (s, n) in sums.iter_mut().zip(&counts) {
                s.iter_mut().for_each(|x| *x /= n);
            }
            sums
        };
        let lag_power = |g: usize| {
            let a: &LapAccount = problem.laps[g];
            let d = a.supplied_lag_derivative(problem.work[a.run], lag_s[a.run]);
            d.iter().map(|x| x * a.weight_n).collect::<Vec<_>>()
        };
        let speeds: Vec<f64> = problem.laps.iter().map(|l| l.mean_speed_m_s).collect();
        let mean = speeds.iter().sum::<f64>() / speeds.len().max(1) as f64;
        let own_level = classes.origin == Origin::LapLevels;
        PlannedRide {
            speed_m_s: mean_of(&|g| problem.laps[g].node_speeds().collect()),
            rolling_m: mean_of(&|g| {
                let a: &LapAccount = problem.laps[g];
                a.rolling_m.iter().map(|d| d / a.crr_over_reference).collect()
            }),
            lag_w: mean_of(&lag_power),
            of_lap: classes.of_lap.clone(),
            level: speeds.iter().map(|v| if own_level { v / mean } else { 1.0 }).collect(),
        }
    }

    /// The same with the lags among the parameters.
    pub fn at(problem: &Problem, classes: &SpeedClasses, parameters: &[f64]) -> PlannedRide {
        let lag_s: Vec<f64> = (0..problem.layout.runs.len()).map(|r| problem.run_state(parameters, r).lag_s).collect();
        PlannedRide::new(problem, classes, &lag_s)
    }

    /// Instruments of all laps at given parameters, in the layout of the derivatives.
    pub fn blocks(&self, problem: &Problem, parameters: &[f64]) -> Vec<LapBlock> {
        (0..problem.laps.len()).into_par_iter().map(|g| self.block(problem, g, parameters)).collect()
    }

    /// Instruments of one lap.
    pub(super) fn block(&self, problem: &Problem, g: usize, parameters: &[f64]) -> LapBlock {
        let account = problem.laps[g];
        let l = &problem.layout;
        let run = &l.runs[account.run];
        let class = self.of_lap[g];
        let speeds: Vec<f64> = self.speed_m_s[class].iter().map(|v| v * self.level[g]).collect();
        let state = problem.run_state(parameters, account.run);
        let aero = account.aero_at(state.wind, problem.gust_variance[account.run], Some(&speeds));
        let cda = parameters[l.cda[account.setup]];
        let scaled = |values: &[f64], factor: f64| values.iter().map(|v| factor * v).collect::<Vec<_>>();
        let rolling = scaled(&self.rolling_m[class], account.crr_over_reference);
        let mut columns = vec![
            Column { parameter: l.crr[account.setup], values: rolling.clone() },
            Column { parameter: l.cda[account.setup], values: aero.b.clone() },
        ];
        let mut push = |parameter: Option<usize>, values: Vec<f64>| {
            if let Some(parameter) = parameter {
                columns.push(Column { parameter, values });
            }
        };
        push(l.crr_drift, scaled(&rolling, problem.hour[g]));
        // Power changes along the loop by slope, as speed, and by drag, as its cube: between the two where laps stand for
        // themselves. Without it the column is the same in all laps and goes with the profile.
        push(run.lag, scaled(&self.lag_w[class], -self.level[g].powi(2) / account.weight_n));
        push(run.east, scaled(&aero.east, cda));
        push(run.north, scaled(&aero.north, cda));
        push(run.drift_east, scaled(&aero.east, cda * account.phase));
        push(run.drift_north, scaled(&aero.north, cda * account.phase));
        LapBlock { residual: Vec::new(), columns }
    }
}

/// Where the iteration ended.
pub struct InstrumentPoint {
    pub parameters: Vec<f64>,
    pub iterations: usize,
}

/// Solves ZᵀPr = 0 from the least-squares point; `None` when it does not settle nearby.
pub fn solve(problem: &Problem, planned: &PlannedRide, start: &[f64]) -> Option<InstrumentPoint> {
    let mut parameters = start.to_vec();
    let instruments = planned.blocks(problem, start);
    for iteration in 1..=MOST_ITERATIONS {
        let step = newton_step(problem, &instruments, &parameters)?;
        for (p, s) in parameters.iter_mut().zip(step.iter()) {
            *p += s;
        }
        if !parameters.iter().all(|p| p.is_finite()) {
            return None;
        }
        let small = step.iter().enumerate().all(|(i, s)| {
            // Crr settles to 1e-9, everything else to 1e-6 of its unit.
            s.abs() < if problem.layout.crr.contains(&i) { 1e-9 } else { 1e-6 }
        });
        if small {
            return Some(InstrumentPoint { parameters, iterations: iteration });
        }
    }
    None
}

/// One step of the iteration.
pub fn newton_step(problem: &Problem, instruments: &[LapBlock], parameters: &[f64]) -> Option<DVector<f64>> {
    let blocks = problem.blocks(parameters);
    let right = problem.right_side(instruments, &blocks, parameters);
    problem.normal(instruments, &blocks).factored()?.solve(&right)
}
