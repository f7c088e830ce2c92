//! Estimation with planned speed as the instrument: a gust moves speed, but not the plan.
//!
//! Given a starting point and speed classes; gives the parameters at which the residual has no part along the
//! model's own columns *evaluated at the mean speed and power of the class*:
//!
//! ```text
//! Zᵀ P r(θ) + S⁻¹σ² (μ − θ) = 0,   θ ← θ + (ZᵀPJ + S⁻¹σ²)⁻¹ ( ZᵀPr + S⁻¹σ² (μ − θ) )
//! ```
//!
//! with what is expected of the parameters, N(μ, S), as rows of their own. Z keeps each run's own air, mass and wind, so that
//! only what the gusts of a lap did to its speed and power is taken out. (Wooldridge 2010, Econometric Analysis of Cross Section and
//! Panel Data, ch. 5: instruments by averaging within groups.) Where all laps were planned at one speed nothing moves speed but
//! the rider and the air, so that CdA has no instrument and rests on what is expected of it.

use super::account::LapAccount;
use super::design::{LapBlock, Problem};
use super::separation::STRONG_F;
use super::speed_class::{Origin, SpeedClasses};
use nalgebra::DVector;
use rayon::prelude::*;

/// How often the instruments are worked out: at the start and where that leads.
const REFRESHES: usize = 2;
/// Steps after which the equations have no solution near the start.
const MOST_ITERATIONS: usize = 80;
/// A step goes no farther than this many standard deviations of what is expected of a parameter: beyond, the equations are no
/// longer nearly linear.
const LONGEST_STEP_SDS: f64 = 0.5;
/// Steps after which they are halved, because full ones circle round the solution.
const FULL_STEPS: usize = 25;
/// A step has settled when it is below this share of what each parameter is usually known to, so that a repetition in which
/// nothing moves stays where it is.
const SETTLED: f64 = 1e-9;
/// What parameters are usually known to: Crr, and all others in their units.
const CRR_SCALE: f64 = 1e-5;
const OTHER_SCALE: f64 = 1e-2;

/// Class means that take the place of a lap's own speed and power.
#[derive(Debug, Clone)]
pub struct PlannedRide {
    /// Speeds at the nodes, by class, m/s.
    speed_m_s: Vec<Vec<f64>>,
    /// Rolling distance by step over distance, by class.
    rolling_m: Vec<Vec<f64>>,
    /// Derivative of work with respect to the lag by step, by run and class, W.
    lag_w: Vec<Vec<f64>>,
    classes: usize,
    of_lap: Vec<usize>,
    /// Factor on the class speeds for each lap (1 but for laps that stand for themselves).
    level: Vec<f64>,
    /// Whether planned speeds differ enough to tell CdA.
    tells_cda: bool,
}

/// Means of laps of the same group, value by value, over those that are numbers; 0 where none is.
fn means(
    groups: usize,
    laps: usize,
    group: impl Fn(usize) -> usize,
    values: impl Fn(usize) -> Vec<f64>,
) -> Vec<Vec<f64>> {
    let mut sums: Vec<Vec<f64>> = vec![Vec::new(); groups];
    let mut counts: Vec<Vec<f64>> = vec![Vec::new(); groups];
    for g in 0..laps {
        let (v, c) = (values(g), group(g));
        sums[c].resize(v.len(), 0.0);
        counts[c].resize(v.len(), 0.0);
        for ((s, n), x) in sums[c].iter_mut().zip(&mut counts[c]).zip(&v).filter(|(_, x)| x.is_finite()) {
            *s += x;
            *n += 1.0;
        }
    }
    for (s, n) in sums.iter_mut().flatten().zip(counts.iter().flatten()) {
        *s /= n.max(1.0);
    }
    sums
}

impl PlannedRide {
    /// Averages laps of a class node by node over all runs; the delay's columns over the laps of a run, because the speed
    /// that a mean of runs has at the gate is nobody's.
    pub fn at(problem: &Problem, classes: &SpeedClasses, parameters: &[f64]) -> PlannedRide {
        let laps = problem.laps.len();
        let of_class = |g: usize| classes.of_lap[g];
        let lag_s: Vec<f64> = (0..problem.layout.runs.len()).map(|r| problem.run_state(parameters, r).lag_s).collect();
        let lag_power = |g: usize| {
            let a: &LapAccount = problem.laps[g];
            let d = a.supplied_lag_derivative(problem.work[a.run], lag_s[a.run]);
            d.iter().enumerate().map(|(j, x)| if a.uses(j) { x * a.weight_n } else { f64::NAN }).collect::<Vec<_>>()
        };
        let rolling = |g: usize| {
            let a: &LapAccount = problem.laps[g];
            let of_step = |(j, d): (usize, &f64)| if a.uses(j) { d / a.crr_over_reference } else { f64::NAN };
            a.rolling_m.iter().enumerate().map(of_step).collect()
        };
        let speeds: Vec<f64> = problem.laps.iter().map(|l| l.mean_speed_m_s).collect();
        let mean = speeds.iter().sum::<f64>() / speeds.len().max(1) as f64;
        let own_level = classes.origin == Origin::LapLevels;
        PlannedRide {
            speed_m_s: means(classes.count, laps, of_class, |g| problem.laps[g].node_speeds().collect()),
            rolling_m: means(classes.count, laps, of_class, rolling),
            lag_w: means(
                lag_s.len() * classes.count,
                laps,
                |g| problem.laps[g].run * classes.count + classes.of_lap[g],
                lag_power,
            ),
            classes: classes.count,
            of_lap: classes.of_lap.clone(),
            level: speeds.iter().map(|v| if own_level { v / mean } else { 1.0 }).collect(),
            tells_cda: tell_cda(classes),
        }
    }

    /// Instruments of all laps at given parameters, in the layout of the derivatives.
    pub fn blocks(&self, problem: &Problem, parameters: &[f64]) -> Vec<LapBlock> {
        let share = problem.share(parameters);
        (0..problem.laps.len()).into_par_iter().map(|g| self.block(problem, g, &share, parameters)).collect()
    }

    /// Instruments of one lap.
    pub(super) fn block(&self, problem: &Problem, g: usize, share: &[f64], parameters: &[f64]) -> LapBlock {
        let account = problem.laps[g];
        let run = account.run;
        let class = self.of_lap[g];
        let speeds: Vec<f64> = self.speed_m_s[class].iter().map(|v| v * self.level[g]).collect();
        let state = problem.run_state(parameters, run);
        let mut aero = account.aero_at(problem.air(&state, run, share), Some(&speeds));
        if !self.tells_cda {
            aero.b.fill(0.0);
        }
        let scaled = |values: &[f64], factor: f64| values.iter().map(|v| factor * v).collect::<Vec<_>>();
        let rolling = scaled(&self.rolling_m[class], account.crr_over_reference);
        // Power changes along the loop by slope, as speed, and by drag, as its cube: between the two where laps stand for
        // themselves. Without it the column is the same in all laps and goes with the profile.
        let lag = scaled(&self.lag_w[run * self.classes + class], -self.level[g].powi(2) / account.weight_n);
        let cda = parameters[problem.layout.cda(run)];
        LapBlock { residual: Vec::new(), columns: problem.columns(g, cda, rolling, aero, lag) }
    }
}

/// Whether planned speeds differ enough to tell CdA from what is expected of it.
pub fn tell_cda(classes: &SpeedClasses) -> bool {
    classes.origin != Origin::OneSpeed && classes.first_stage_f.is_none_or(|f| f >= STRONG_F)
}

/// Where the iteration ended.
pub struct InstrumentPoint {
    pub parameters: Vec<f64>,
    /// Where instruments are taken: next to the parameters.
    pub at: Vec<f64>,
    pub iterations: usize,
    pub converged: bool,
}

/// Solves the equations from a starting point: with the instruments of that point, and again with those of the solution.
pub fn solve(problem: &Problem, classes: &SpeedClasses, start: &[f64]) -> InstrumentPoint {
    let mut point = InstrumentPoint { parameters: start.to_vec(), at: start.to_vec(), iterations: 0, converged: false };
    for _ in 0..REFRESHES {
        let at = point.parameters.clone();
        let z = PlannedRide::at(problem, classes, &at).blocks(problem, &at);
        let Some(next) = settle(problem, &z, &at) else { break };
        point = InstrumentPoint { at, iterations: point.iterations + next.iterations, ..next };
    }
    point
}

/// Newton steps with instruments that are held; `None` when they lead nowhere.
fn settle(problem: &Problem, z: &[LapBlock], start: &[f64]) -> Option<InstrumentPoint> {
    let mut parameters = start.to_vec();
    for iteration in 1..=MOST_ITERATIONS {
        let whole = newton_step(problem, z, &parameters)?;
        let step = whole.clone() * share_to_take(problem, &parameters, &whole, iteration);
        if advance(problem, &mut parameters, &step)? < SETTLED {
            return Some(InstrumentPoint { parameters, at: Vec::new(), iterations: iteration, converged: true });
        }
    }
    None
}

/// Share of a step that is taken.
fn share_to_take(problem: &Problem, parameters: &[f64], step: &DVector<f64>, iteration: usize) -> f64 {
    let longest = step
        .iter()
        .zip(&problem.prior)
        .zip(parameters)
        .filter_map(|((s, prior), value)| Some((s / prior.sd_at(*value)?).abs()))
        .fold(0.0_f64, f64::max);
    let most = if iteration > FULL_STEPS { 0.5 } else { 1.0 };
    if longest > LONGEST_STEP_SDS { most * LONGEST_STEP_SDS / longest } else { most }
}

/// Takes a step; its largest part in units of what each parameter is usually known to, `None` when it leads nowhere.
fn advance(problem: &Problem, parameters: &mut [f64], step: &DVector<f64>) -> Option<f64> {
    let kinds = problem.layout.kinds();
    let mut size = 0.0_f64;
    for ((p, s), kind) in parameters.iter_mut().zip(step.iter()).zip(kinds) {
        let scale = if matches!(kind, Some(super::prior::Expected::Crr) | None) { CRR_SCALE } else { OTHER_SCALE };
        size = size.max((s / scale).abs());
        *p += s;
    }
    parameters.iter().all(|p| p.is_finite()).then_some(size)
}

/// One step of the iteration.
pub fn newton_step(problem: &Problem, instruments: &[LapBlock], parameters: &[f64]) -> Option<DVector<f64>> {
    let blocks = problem.blocks(parameters);
    let right = problem.right_side(instruments, &blocks, parameters);
    problem.normal(instruments, &blocks, &problem.precision(parameters)).factored()?.solve(&right)
}
