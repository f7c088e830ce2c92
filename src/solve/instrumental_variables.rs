//! Instrumental variables: planned speed stands for the speed that was ridden, for a gust moves speed, but not the plan. (What
//! measures, and errs, is in `analysis/instrument.rs`.)
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
//! the rider and the air: the mean of all laps is the instrument then, and what the laps cannot tell of CdA and Crr is shared as
//! both are expected.

use super::account::{FittedWind, LapAccount};
use super::design::{LapBlock, Problem, RunState};
use super::prior::Expected;
use super::separation::STRONG_F;
use super::speed_class::{Origin, SpeedClasses};
use nalgebra::DVector;
use rayon::prelude::*;
use std::borrow::Cow;

/// Steps after which the equations have no solution near the start.
const MOST_ITERATIONS: usize = 80;
/// A step goes no farther than this many standard deviations of what is expected of a parameter: beyond, the equations are no
/// longer nearly linear.
const LONGEST_STEP_SDS: f64 = 0.5;
/// Share of a step that is taken at least.
const LEAST_SHARE: f64 = 0.1;
/// A step below so many standard deviations of what is expected is one near the solution, from where instruments can be held.
const NEAR_SDS: f64 = 0.01;
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
        // Speeds that differ by chance are one.
        let tells_cda = tell_cda(classes);
        let count = if tells_cda { classes.count } else { 1 };
        let of_lap = if tells_cda { classes.of_lap.clone() } else { vec![0; laps] };
        let of_class = |g: usize| of_lap[g];
        let rolling = |g: usize| {
            let a: &LapAccount = problem.laps[g];
            let of_step = |(j, d): (usize, &f64)| if a.uses(j) { d / a.crr_over_reference } else { f64::NAN };
            a.rolling_m.iter().enumerate().map(of_step).collect()
        };
        let speeds: Vec<f64> = problem.laps.iter().map(|l| l.mean_speed_m_s).collect();
        let mean = speeds.iter().sum::<f64>() / speeds.len().max(1) as f64;
        let own_level = tells_cda && classes.origin == Origin::LapLevels;
        PlannedRide {
            speed_m_s: means(count, laps, of_class, |g| problem.laps[g].node_speeds().collect()),
            rolling_m: means(count, laps, of_class, rolling),
            lag_w: lag_w(problem, count, &of_lap, parameters),
            classes: count,
            level: speeds.iter().map(|v| if own_level { v / mean } else { 1.0 }).collect(),
            of_lap,
        }
    }

    /// The same laps at other parameters: only the delay's columns depend on them.
    fn moved(&self, problem: &Problem, parameters: &[f64]) -> PlannedRide {
        PlannedRide { lag_w: lag_w(problem, self.classes, &self.of_lap, parameters), ..self.clone() }
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
        if problem.layout.yaw(run).is_some() && problem.wind_told < 1.0 {
            let shrunk = RunState { wind: shrunk_wind(problem, parameters, run), ..state };
            aero.yaw = account.aero_at(problem.air(&shrunk, run, share), Some(&speeds)).yaw;
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

/// The wind of a run with its differences from the day's mean shrunk to what is no error of the fit.
fn shrunk_wind(problem: &Problem, parameters: &[f64], run: usize) -> FittedWind {
    let own = problem.run_state(parameters, run).wind;
    let runs = problem.layout.runs.iter();
    let fitted: Vec<(f64, f64)> = runs.filter_map(|r| Some((parameters[r.east?], parameters[r.north?]))).collect();
    let n = fitted.len().max(1) as f64;
    let mean = fitted.iter().fold((0.0, 0.0), |sum, w| (sum.0 + w.0 / n, sum.1 + w.1 / n));
    FittedWind {
        east_m_s: mean.0 + problem.wind_told * (own.east_m_s - mean.0),
        north_m_s: mean.1 + problem.wind_told * (own.north_m_s - mean.1),
        ..own
    }
}

/// Derivative of work with respect to the lag by step, means by run and class, W.
fn lag_w(problem: &Problem, classes: usize, of_lap: &[usize], parameters: &[f64]) -> Vec<Vec<f64>> {
    let lag_s: Vec<f64> = (0..problem.layout.runs.len()).map(|r| problem.run_state(parameters, r).lag_s).collect();
    let of_one = |g: usize| {
        let a: &LapAccount = problem.laps[g];
        let d = a.supplied_lag_derivative(problem.work[a.run], lag_s[a.run]);
        d.iter().enumerate().map(|(j, x)| if a.uses(j) { x * a.weight_n } else { f64::NAN }).collect()
    };
    means(lag_s.len() * classes, problem.laps.len(), |g| problem.laps[g].run * classes + of_lap[g], of_one)
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

/// Solves the equations from a starting point: first with instruments that go along, until the solution is near, then with those
/// of the point reached.
///
/// Held instruments of a far point may leave the equations without any solution: those of a day at one speed, where least squares
/// puts CdA far from what is expected of it.
pub fn solve(problem: &Problem, classes: &SpeedClasses, start: &[f64]) -> InstrumentPoint {
    let planned = PlannedRide::at(problem, classes, start);
    let instruments = |at: &[f64]| planned.moved(problem, at).blocks(problem, at);
    let near = walk(problem, start, |at| Cow::Owned(instruments(at)), |_, in_sds| in_sds.amax() < NEAR_SDS);
    let held = instruments(&near.parameters);
    let settled = walk(
        problem,
        &near.parameters,
        |_| Cow::Borrowed(&held[..]),
        |step, _| in_usual_errors(problem, step) < SETTLED,
    );
    InstrumentPoint { at: near.parameters, iterations: near.iterations + settled.iterations, ..settled }
}

/// Newton steps with the instruments of each point until one is short enough, by itself and in standard deviations of what is
/// expected, or as far as they lead.
fn walk<'z>(
    problem: &Problem,
    start: &[f64],
    instruments: impl Fn(&[f64]) -> Cow<'z, [LapBlock]>,
    short_enough: impl Fn(&DVector<f64>, &DVector<f64>) -> bool,
) -> InstrumentPoint {
    let mut point = InstrumentPoint { parameters: start.to_vec(), at: Vec::new(), iterations: 0, converged: false };
    let (mut share, mut last) = (1.0_f64, None::<DVector<f64>>);
    while point.iterations < MOST_ITERATIONS && !point.converged {
        let Some(step) = newton_step(problem, &instruments(&point.parameters), &point.parameters) else { break };
        // Steps there and back go round the solution; shorter ones end there.
        let in_sds = in_standard_deviations(problem, &point.parameters, &step);
        let back = last.is_some_and(|last| last.dot(&in_sds) < 0.0);
        share = if back { (0.5 * share).max(LEAST_SHARE) } else { (1.5 * share).min(1.0) };
        let taken = share.min(LONGEST_STEP_SDS / in_sds.amax().max(f64::MIN_POSITIVE));
        let moved: Vec<f64> = point.parameters.iter().zip(step.iter()).map(|(p, s)| p + taken * s).collect();
        if !moved.iter().all(|p| p.is_finite()) {
            break;
        }
        let converged = short_enough(&step, &in_sds);
        last = Some(in_sds);
        point = InstrumentPoint { parameters: moved, iterations: point.iterations + 1, converged, ..point };
    }
    point
}

/// A step in standard deviations of what is expected of each parameter; 0 where nothing is.
fn in_standard_deviations(problem: &Problem, parameters: &[f64], step: &DVector<f64>) -> DVector<f64> {
    let of = |i: usize| problem.prior[i].sd_at(parameters[i]).map_or(0.0, |sd| step[i] / sd);
    DVector::from_fn(step.len(), |i, _| of(i))
}

/// Largest part of a step in what each parameter is usually known to.
fn in_usual_errors(problem: &Problem, step: &DVector<f64>) -> f64 {
    let scale = |kind| if matches!(kind, Some(Expected::Crr) | None) { CRR_SCALE } else { OTHER_SCALE };
    step.iter().zip(problem.layout.kinds()).map(|(s, kind)| (s / scale(kind)).abs()).fold(0.0, f64::max)
}

/// One step of the iteration.
pub fn newton_step(problem: &Problem, instruments: &[LapBlock], parameters: &[f64]) -> Option<DVector<f64>> {
    let blocks = problem.blocks(parameters);
    let right = problem.right_side(instruments, &blocks, parameters);
    problem.normal(instruments, &blocks, &problem.prior_slope(parameters)).factored()?.solve(&right)
}
