//! How gusty it was: the standard deviation of the wind along travel, from the way residuals hang together in time.
//!
//! Given residual work in short steps; gives a variance with its standard uncertainty. The scatter of a power meter is
//! white and errors of speed at a step edge cancel in the next step, so both are gone after two seconds; what neighbouring
//! residuals still share after that is wind:
//!
//! ```text
//! residual force / (ρ CdA w) = gust,   cov(lag) = σ² exp(−lag/τ) − b  for lags from 2.5 to 12 s
//! ```
//!
//! b ≥ 0 is what the fit of laps, winds and lags has already taken out of the slow part.

use super::account::LapAccount;
use super::design::Problem;
use crate::circuit::Lap;

/// Short steps in each step of the account.
pub const SHORT_STEPS: usize = 4;
/// Lags that carry wind and nothing else, s.
const LAG_FROM_S: f64 = 2.5;
const LAG_TO_S: f64 = 12.0;
/// Correlation time of gusts at rider height as a moving rider meets them: median and the factor that is one standard
/// deviation (integral length of about 24 m at 1.2 m over short grass, EN 1991-1-4 annex B, passed at 8–11 m/s).
const TIME_S: f64 = 2.8;
const TIME_FACTOR: f64 = 1.3;
/// Correlation times tried, s.
const TIMES_S: [f64; 13] = [1.0, 1.3, 1.6, 2.0, 2.4, 2.8, 3.3, 4.0, 4.8, 5.6, 6.8, 8.0, 10.0];
/// Fewest laps of a class that show a step for its mean to be taken out.
const FEWEST_OF_CLASS: f64 = 3.0;
/// Most groups of laps that are left out in turn: 60 tell a standard uncertainty to a tenth of itself.
const MOST_GROUPS: usize = 60;

/// What the residuals say of the gusts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gustiness {
    /// σ² of the wind along travel, m²/s², never negative.
    pub variance: f64,
    /// Standard uncertainty of the variance.
    pub standard_uncertainty: f64,
    pub time_s: f64,
}

impl Gustiness {
    pub fn sd_m_s(&self) -> f64 {
        self.variance.sqrt()
    }
}

/// A lap whose steps are cut into short ones at equal times.
pub fn short_lap(lap: &Lap) -> Lap {
    let mut edge_s = Vec::with_capacity(lap.edge_s.len() * SHORT_STEPS);
    for w in lap.edge_s.windows(2) {
        edge_s.extend((0..SHORT_STEPS).map(|q| w[0] + (w[1] - w[0]) * q as f64 / SHORT_STEPS as f64));
    }
    edge_s.extend(lap.edge_s.last());
    let step_reason = lap.step_reason.iter().flat_map(|reason| [*reason; SHORT_STEPS]).collect();
    Lap { edge_s, step_reason, ..lap.clone() }
}

/// Short step edges as shares of the lap.
pub fn short_edges(edge: &[f64]) -> Vec<f64> {
    let mut out = Vec::with_capacity(edge.len() * SHORT_STEPS);
    for w in edge.windows(2) {
        out.extend((0..SHORT_STEPS).map(|q| w[0] + (w[1] - w[0]) * q as f64 / SHORT_STEPS as f64));
    }
    out.extend(edge.last());
    out
}

/// Sums over products of residuals some lag apart, of one lap or of many: what a fit of their covariances needs.
#[derive(Debug, Clone, Copy, Default)]
struct LagSums {
    /// Lags.
    terms: f64,
    /// Products.
    count: f64,
    product: f64,
    /// Squares of the sums of products over their numbers.
    square: f64,
    shaped: [ShapedSums; TIMES_S.len()],
}

/// Sums weighted with exp(−lag/τ) of one correlation time.
#[derive(Debug, Clone, Copy, Default)]
struct ShapedSums {
    product: f64,
    count: f64,
    /// With the square of the weight.
    square: f64,
}

impl LagSums {
    fn add_lag(&mut self, lag_s: f64, product: f64, count: f64) {
        self.terms += 1.0;
        self.count += count;
        self.product += product;
        self.square += product * product / count;
        for (sums, time_s) in self.shaped.iter_mut().zip(TIMES_S) {
            let shape = (-lag_s / time_s).exp();
            sums.product += product * shape;
            sums.count += count * shape;
            sums.square += count * shape * shape;
        }
    }

    fn of_laps<'l>(laps: impl IntoIterator<Item = &'l LagSums>) -> LagSums {
        let mut all = LagSums::default();
        for lap in laps {
            all.terms += lap.terms;
            all.count += lap.count;
            all.product += lap.product;
            all.square += lap.square;
            for (sums, more) in all.shaped.iter_mut().zip(&lap.shaped) {
                sums.product += more.product;
                sums.count += more.count;
                sums.square += more.square;
            }
        }
        all
    }
}

/// Estimates the gusts from a problem whose laps are cut into short steps, at solved parameters.
///
/// `class` is the speed class of each lap: the mean of a class is taken out step by step, since it holds what profile and
/// rider repeat.
pub fn gustiness(problem: &Problem, parameters: &[f64], class: &[usize]) -> Option<Gustiness> {
    let blocks = problem.blocks(parameters);
    let steps = problem.steps();
    let classes = class.iter().max()? + 1;
    let mut mean = vec![vec![0.0; steps]; classes];
    let mut count = vec![vec![0.0; steps]; classes];
    let gust: Vec<Vec<f64>> = problem
        .laps
        .iter()
        .zip(&blocks)
        .map(|(account, block)| {
            let cda = parameters[problem.layout.cda(account.run)];
            let of_step =
                |(j, r): (usize, &f64)| if account.uses(j) { r * gust_per_height(account, j, cda) } else { f64::NAN };
            block.residual.iter().enumerate().map(of_step).collect()
        })
        .collect();
    for (g, &c) in gust.iter().zip(class) {
        for ((m, n), x) in mean[c].iter_mut().zip(&mut count[c]).zip(g).filter(|(_, x)| x.is_finite()) {
            *m += x;
            *n += 1.0;
        }
    }
    let mut per_lap: Vec<LagSums> = Vec::new();
    for ((g, &c), account) in gust.iter().zip(class).zip(&problem.laps) {
        // A lap takes part in its own class mean; this undoes the shrinkage of its products.
        let left: Vec<f64> = g
            .iter()
            .zip(mean[c].iter().zip(&count[c]))
            .map(|(x, (m, n))| if *n < FEWEST_OF_CLASS { f64::NAN } else { (x - m / n) * (n / (n - 1.0)).sqrt() })
            .collect();
        let step_s = (account.edge_s[steps] - account.edge_s[0]) / steps as f64;
        let first = (LAG_FROM_S / step_s).ceil() as usize;
        let last = ((LAG_TO_S / step_s).floor() as usize).min(steps / 2);
        let mut sums = LagSums::default();
        for k in (first..=last.max(first)).take_while(|k| *k < steps) {
            let products = left.iter().zip(&left[k..]).map(|(a, b)| a * b).filter(|p| p.is_finite());
            let (product, count) = products.fold((0.0, 0.0), |(sum, n), p| (sum + p, n + 1.0));
            if count > 0.0 {
                sums.add_lag(k as f64 * step_s, product, count);
            }
        }
        if sums.count > 0.0 {
            per_lap.push(sums);
        }
    }
    if per_lap.len() < 4 {
        return None;
    }
    let best = fit(&LagSums::of_laps(&per_lap))?;
    // Leaving out one lap at a time tells how well the variance is known (jackknife; Efron & Stein 1981, Ann. Stat. 9:586);
    // of many laps, one group at a time.
    let groups = per_lap.len().min(MOST_GROUPS);
    let n = groups as f64;
    let without: Vec<f64> = (0..groups)
        .filter_map(|skip| {
            let others = per_lap.iter().enumerate().filter(|(i, _)| i % groups != skip).map(|(_, l)| l);
            fit(&LagSums::of_laps(others)).map(|g| g.variance)
        })
        .collect();
    let centre = without.iter().sum::<f64>() / n;
    let spread = (n - 1.0) / n * without.iter().map(|v| (v - centre).powi(2)).sum::<f64>();
    Some(Gustiness { standard_uncertainty: spread.sqrt(), ..best })
}

/// Wind along travel that explains a metre of residual elevation in a short step, m/s per m: mg / (ρ CdA w Δs).
fn gust_per_height(account: &LapAccount, step: usize, cda_m2: f64) -> f64 {
    let way_m = account.rolling_m[step] / account.crr_over_reference;
    account.weight_n / (account.mean_density_kg_m3 * cda_m2 * account.mean_speed_m_s * way_m)
}

/// Least squares of the covariances on σ² exp(−lag/τ) − b with the prior on τ, weighted by the number of products.
fn fit(all: &LagSums) -> Option<Gustiness> {
    let mut best: Option<(f64, Gustiness)> = None;
    for (shaped, time_s) in all.shaped.iter().zip(TIMES_S) {
        let determinant = shaped.square * all.count - shaped.count * shaped.count;
        let mut variance = (shaped.product * all.count - all.product * shaped.count) / determinant;
        let mut taken_out = (variance * shaped.count - all.product) / all.count;
        if taken_out < 0.0 {
            taken_out = 0.0;
            variance = shaped.product / shaped.square;
        }
        let variance = variance.max(0.0);
        // Σ count (product/count − σ² shape + b)², multiplied out.
        let misfit = all.square - 2.0 * (variance * shaped.product - taken_out * all.product)
            + variance * variance * shaped.square
            - 2.0 * variance * taken_out * shaped.count
            + taken_out * taken_out * all.count;
        // The scatter of a covariance estimate sets how much the prior weighs against the misfit.
        let prior = ((time_s / TIME_S).ln() / TIME_FACTOR.ln()).powi(2);
        let score = all.terms * (misfit / all.count).max(1e-12).ln() + prior;
        if best.is_none_or(|(s, _)| score < s) {
            best = Some((score, Gustiness { variance, standard_uncertainty: f64::NAN, time_s }));
        }
    }
    best.map(|b| b.1)
}
