//! The warm-up: Crr falls as tyres, bearings and the rider's legs warm, and the fall dies away.
//!
//! Given Crr in blocks of time; gives the exponential decay that fits it, where one shows above the noise. It never
//! chooses the window.

use super::scatter::scatter_of_mean;
use argmin::core::{CostFunction, Executor, State};
use argmin::solver::brent::BrentOpt;

/// Shortest and longest time constant that is looked for, s. A shorter one is the start-up itself, a longer one cannot
/// be told from a straight line in an hour.
const SHORTEST_S: f64 = 20.0;
const LONGEST_S: f64 = 3000.0;
/// Trial values on a logarithmic scale before the best is refined.
const TRIALS: usize = 48;
/// Chi-squared of two degrees of freedom at 99 %: what amplitude and time constant must gain to be believed.
const BELIEVED: f64 = 9.21;
/// Fewest blocks a decay is fitted to.
const FEWEST: usize = 8;

/// Crr = level + amplitude · exp(−(t − origin)/τ).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decay {
    pub level: f64,
    pub amplitude: f64,
    pub time_constant_s: f64,
    pub origin_s: f64,
}

impl Decay {
    /// Part of Crr at an instant that will still die away.
    pub fn remaining(&self, time_s: f64) -> f64 {
        self.amplitude * (-(time_s - self.origin_s) / self.time_constant_s).exp()
    }

    pub fn at(&self, time_s: f64) -> f64 {
        self.level + self.remaining(time_s)
    }
}

/// What the fit found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WarmUp {
    /// `None` when no decay shows above the noise.
    pub decay: Option<Decay>,
    /// Standard deviation of one block that gives the right error of a long mean, serial correlation included.
    pub noise: f64,
}

/// Level and amplitude for a time constant, by linear least squares, with the squares left over.
struct Trial {
    decay: Decay,
    squares: f64,
}

fn trial(time_s: &[f64], crr: &[f64], time_constant_s: f64) -> Trial {
    let count = time_s.len() as f64;
    let origin_s = time_s.first().copied().unwrap_or(0.0);
    let shape = |t: &f64| (-(t - origin_s) / time_constant_s).exp();
    let mean_shape = time_s.iter().map(shape).sum::<f64>() / count;
    let mean_crr = crr.iter().sum::<f64>() / count;
    let (mut cross, mut square) = (0.0, 0.0);
    for (t, c) in time_s.iter().zip(crr) {
        cross += (shape(t) - mean_shape) * (c - mean_crr);
        square += (shape(t) - mean_shape).powi(2);
    }
    let amplitude = if square > 0.0 { cross / square } else { 0.0 };
    let decay = Decay { level: mean_crr - amplitude * mean_shape, amplitude, time_constant_s, origin_s };
    let squares = time_s.iter().zip(crr).map(|(t, c)| (c - decay.at(*t)).powi(2)).sum();
    Trial { decay, squares }
}

/// Squares left over as a function of ln τ, for the refinement.
struct Misfit<'a> {
    time_s: &'a [f64],
    crr: &'a [f64],
}

impl CostFunction for Misfit<'_> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, log_s: &f64) -> Result<f64, argmin::core::Error> {
        Ok(trial(self.time_s, self.crr, log_s.exp()).squares)
    }
}

/// Fits the decay by variable projection: level and amplitude are linear for a given time constant, which is scanned
/// from 20 to 3000 s and refined by Brent's method.
///
/// The decay is believed when it takes more than χ²₂(0.99) = 9.21 noise variances off the squares about the mean, the
/// noise being the long-run variance of what the fit leaves.
///
/// ```
/// use loopwright::rollers::warm_up::fit;
/// let time_s: Vec<f64> = (0..80).map(|i| 5.0 + 10.0 * f64::from(i)).collect();
/// let wobble = |i: usize| 1e-5 * (i as f64 * 2.4).sin();
/// let crr: Vec<f64> =
///     time_s.iter().enumerate().map(|(i, t)| 0.009 + 0.0013 * (-t / 200.0).exp() + wobble(i)).collect();
/// let found = fit(&time_s, &crr, 10.0).decay.unwrap();
/// assert!((found.time_constant_s - 200.0).abs() < 2.0 && (found.level - 0.009).abs() < 1e-5);
/// ```
pub fn fit(time_s: &[f64], crr: &[f64], spacing_s: f64) -> WarmUp {
    let count = time_s.len().min(crr.len());
    let (time_s, crr) = (&time_s[..count], &crr[..count]);
    let mean = crr.iter().sum::<f64>() / count.max(1) as f64;
    let about_mean: Vec<f64> = crr.iter().map(|c| c - mean).collect();
    if count < FEWEST || about_mean.iter().any(|c| !c.is_finite()) {
        return WarmUp { decay: None, noise: block_noise(&about_mean, spacing_s) };
    }
    let step = (LONGEST_S / SHORTEST_S).ln() / (TRIALS - 1) as f64;
    let logs = (0..TRIALS).map(|i| SHORTEST_S.ln() + step * i as f64);
    let squares = |log: &f64| trial(time_s, crr, log.exp()).squares;
    let best = logs.min_by(|a, b| squares(a).total_cmp(&squares(b))).unwrap_or(SHORTEST_S.ln());
    let refined = trial(time_s, crr, refine(time_s, crr, best, step).exp());
    let left: Vec<f64> = time_s.iter().zip(crr).map(|(t, c)| c - refined.decay.at(*t)).collect();
    let noise = block_noise(&left, spacing_s);
    let gained = about_mean.iter().map(|c| c * c).sum::<f64>() - refined.squares;
    if gained > BELIEVED * noise * noise {
        WarmUp { decay: Some(refined.decay), noise }
    } else {
        WarmUp { decay: None, noise: block_noise(&about_mean, spacing_s) }
    }
}

/// The best ln τ within one step of a trial; the trial itself when the refinement does not help.
fn refine(time_s: &[f64], crr: &[f64], best: f64, step: f64) -> f64 {
    let problem = Misfit { time_s, crr };
    let run = Executor::new(problem, BrentOpt::new(best - step, best + step)).configure(|s| s.max_iters(60)).run();
    run.ok().and_then(|r| r.state().get_best_param().copied()).filter(|log| log.is_finite()).unwrap_or(best)
}

/// Standard error of the mean of the blocks times √n.
fn block_noise(residuals: &[f64], spacing_s: f64) -> f64 {
    let count = residuals.len() as f64;
    match scatter_of_mean(residuals, spacing_s) {
        Some(scatter) => scatter.standard_error() * count.sqrt(),
        None => (residuals.iter().map(|r| r * r).sum::<f64>() / (count - 1.0).max(1.0)).sqrt(),
    }
}
