//! What changes from run to run: the run is the unit of replication, not the lap.
//!
//! Twenty laps with one mounting of a tyre are one mounting. Given one estimate for each run with the covariance that laps and
//! priors leave, gives the values of set-ups and any contrast of them with what changes between runs mixed in:
//!
//! ```text
//! c ~ N(S β, V_τ),   V_τ = V_R + τ² diag(h²)
//! p(τ) ∝ (1 + τ²/3s²)⁻² · |V_τ|^(−½) · |Sᵀ V_τ⁻¹ S|^(−½) · exp(−½ rᵀ V_τ⁻¹ r)      r = c − S β̂(τ)
//! ```
//!
//! The first factor is the prior, half a Student's t with 3 degrees of freedom and scale s; the others are the restricted
//! likelihood (Patterson & Thompson 1971, Biometrika 58:545). For a given τ a contrast is spread by Student's t, not by a
//! normal: V_R is an estimate from few laps, and beside τ² it is worth the degrees of freedom of Welch and Satterthwaite. It
//! knows nothing of roads or drums and never decides.
//!
//! All is done in units of h and in the axes of V_R there, so that V_τ is diagonal for every τ and nothing is inverted.

use super::budget::Combined;
use super::mixture::{Component, Mixture};
pub use super::run_to_run::{Contrast, RunToRun};
use crate::error::Error;
use nalgebra::{Cholesky, DMatrix, DVector};

/// Points of the grid beside 0.
const POINTS: usize = 90;
/// Farthest point of the grid in units of the prior's scale: a millionth of the prior lies beyond.
const FARTHEST: f64 = 100.0;
/// Least standard deviation that laps and priors leave a run, as a fraction of the prior's scale: a singular covariance
/// would otherwise put everything at τ = 0.
const LEAST_SD: f64 = 1e-3;

/// One estimate for each run.
#[derive(Debug, Clone, PartialEq)]
pub struct RunEstimates {
    pub estimates: DVector<f64>,
    /// V_R, from laps and priors.
    pub covariance: DMatrix<f64>,
    /// Degrees of freedom of each run's own variance in V_R; infinite where it is known.
    pub dof: Vec<f64>,
    /// Set-up of each run, counted from 0; every set-up up to the largest has a run.
    pub setup: Vec<usize>,
    /// h: what a change by the whole of the resistance does to the run's estimate, so that τ is a fraction of the resistance.
    /// For Crr it is the resistance over the weight.
    pub scale: Vec<f64>,
}

/// One value of τ.
#[derive(Debug, Clone)]
struct Node {
    tau: f64,
    /// Probability.
    weight: f64,
    prior: f64,
    /// β̂(τ).
    values: DVector<f64>,
    /// (Sᵀ V_τ⁻¹ S)⁻¹.
    covariance: DMatrix<f64>,
    /// β̂(τ) = gain · c; set-ups × runs.
    gain: DMatrix<f64>,
}

/// The second stage, solved.
#[derive(Debug, Clone)]
pub struct Replication {
    nodes: Vec<Node>,
    runs: RunEstimates,
    prior_scale: f64,
}

impl Replication {
    /// Mixes over τ with a prior of scale `prior_scale`; 0 says that nothing changes from run to run.
    ///
    /// Errors: numbers that are not finite, scales and degrees of freedom not above 0, lengths that differ, a set-up without a
    /// run.
    pub fn of(runs: RunEstimates, prior_scale: f64) -> Result<Replication, Error> {
        let c = runs.estimates.clone();
        Replication::mixed(runs, prior_scale, |axes, node| {
            let rotated = axes.rotated(&c);
            let values = node.fitted(axes, &rotated);
            let left = &rotated - &axes.design * &values;
            left.iter().zip(&node.precision).map(|(r, d)| d * r * r).sum()
        })
    }

    /// What a day is expected to tell before it is ridden, if runs change by `true_fraction`: the misfit of each τ is replaced
    /// by its mean, tr(V_τ⁻¹ (1 − P) V_true). The estimates are only read for their set-ups' values.
    ///
    /// Errors: those of [`Replication::of`].
    pub fn expected(runs: RunEstimates, prior_scale: f64, true_fraction: f64) -> Result<Replication, Error> {
        Replication::mixed(runs, prior_scale, |axes, node| {
            let truth = axes.variance.map(|v| v + true_fraction * true_fraction);
            let seen: f64 = truth.iter().zip(&node.precision).map(|(v, d)| v * d).sum();
            // tr(M⁻¹ SᵀD V D S).
            let weighted = DMatrix::from_fn(axes.design.nrows(), axes.design.ncols(), |i, j| {
                axes.design[(i, j)] * node.precision[i] * truth[i].sqrt()
            });
            let fitted = (&node.inverse * weighted.tr_mul(&weighted)).trace();
            seen - fitted
        })
    }

    fn mixed(
        runs: RunEstimates,
        prior_scale: f64,
        misfit: impl Fn(&Axes, &Given) -> f64,
    ) -> Result<Replication, Error> {
        check(&runs, prior_scale)?;
        let axes = Axes::of(&runs, prior_scale)?;
        let taus = grid(&axes, prior_scale);
        let mut logs = Vec::with_capacity(taus.len());
        let mut nodes = Vec::with_capacity(taus.len());
        for &tau in &taus {
            let given = Given::of(&axes, tau).ok_or_else(|| refusal("the runs do not determine the set-ups".into()))?;
            let log_prior =
                if prior_scale > 0.0 { -2.0 * (tau * tau / (3.0 * prior_scale.powi(2))).ln_1p() } else { 0.0 };
            logs.push((log_prior, log_prior + given.log_determinants - 0.5 * misfit(&axes, &given)));
            let gain = given.gain(&axes);
            nodes.push(Node {
                tau,
                weight: 0.0,
                prior: 0.0,
                values: &gain * &runs.estimates,
                covariance: given.inverse,
                gain,
            });
        }
        let steps = trapezoid(&taus);
        let (prior, posterior): (Vec<f64>, Vec<f64>) = logs.into_iter().unzip();
        let shares = normalised(&prior, &steps).into_iter().zip(normalised(&posterior, &steps));
        for (node, (prior, weight)) in nodes.iter_mut().zip(shares) {
            (node.prior, node.weight) = (prior, weight);
        }
        if nodes.iter().any(|n| !n.weight.is_finite()) {
            return Err(refusal("the runs scatter beyond what can be computed with".into()));
        }
        Ok(Replication { nodes, runs, prior_scale })
    }

    /// Number of set-ups.
    pub fn setups(&self) -> usize {
        self.nodes[0].values.len()
    }

    /// Values of the set-ups, mean over τ.
    pub fn values(&self) -> DVector<f64> {
        self.nodes.iter().fold(DVector::zeros(self.setups()), |sum, n| sum + n.weight * &n.values)
    }

    /// Their joint covariance: the mean over τ of that for each τ, and the scatter of the values over τ.
    pub fn covariance(&self) -> DMatrix<f64> {
        let mean = self.values();
        let k = self.setups();
        self.nodes.iter().fold(DMatrix::zeros(k, k), |sum, n| {
            let off = &n.values - &mean;
            sum + n.weight * (&n.covariance + &off * off.transpose())
        })
    }

    /// Share of each run in the values of the set-ups, mean over τ; set-ups × runs.
    pub fn shares(&self) -> DMatrix<f64> {
        let (k, n) = self.nodes[0].gain.shape();
        self.nodes.iter().fold(DMatrix::zeros(k, n), |sum, node| sum + node.weight * &node.gain)
    }

    /// Σ weights · value over the set-ups; weights that are missing are 0.
    pub fn contrast(&self, weights: &[f64]) -> Contrast {
        let l = DVector::from_fn(self.setups(), |i, _| weights.get(i).copied().unwrap_or(0.0));
        let (mut within, mut between, mut loss) = (0.0, 0.0, 0.0);
        let mut components = Vec::with_capacity(self.nodes.len());
        for node in &self.nodes {
            let of_run = node.gain.tr_mul(&l);
            let laps = (&self.runs.covariance * &of_run).dot(&of_run).max(0.0);
            let run_to_run: f64 = of_run.iter().zip(&self.runs.scale).map(|(w, h)| (w * h * node.tau).powi(2)).sum();
            let dof_of_laps = self.dof_of_laps(&of_run);
            within += node.weight * laps;
            loss += node.weight / dof_of_laps;
            between += node.weight * run_to_run;
            let variance = laps + run_to_run;
            let dof = if laps > 0.0 { dof_of_laps * (variance / laps).powi(2) } else { f64::INFINITY };
            components.push(Component { weight: node.weight, place: l.dot(&node.values), scale: variance.sqrt(), dof });
        }
        Contrast {
            distribution: Mixture::new(&components),
            within: Combined { standard_uncertainty: within.sqrt(), dof: loss.recip() },
            between_sd: between.sqrt(),
        }
    }

    /// One set-up.
    pub fn value(&self, setup: usize) -> Contrast {
        self.contrast(&self.unit(setup))
    }

    /// One set-up less another.
    pub fn difference(&self, setup: usize, baseline: usize) -> Contrast {
        let mut weights = self.unit(setup);
        if let Some(w) = weights.get_mut(baseline) {
            *w -= 1.0;
        }
        self.contrast(&weights)
    }

    fn unit(&self, setup: usize) -> Vec<f64> {
        (0..self.setups()).map(|s| if s == setup { 1.0 } else { 0.0 }).collect()
    }

    /// Welch and Satterthwaite over the runs' own variances. What runs have in common (a shared CdA) is left out of the
    /// weights: it comes from all laps and would only raise the number.
    fn dof_of_laps(&self, of_run: &DVector<f64>) -> f64 {
        let parts = of_run.iter().enumerate().map(|(i, w)| (w * w * self.runs.covariance[(i, i)], self.runs.dof[i]));
        let (mut variance, mut loss) = (0.0, 0.0);
        for (part, dof) in parts {
            variance += part;
            loss += part * part / dof;
        }
        if loss == 0.0 { f64::INFINITY } else { variance * variance / loss }
    }

    /// Scale of the prior.
    pub fn supposed_fraction(&self) -> f64 {
        self.prior_scale
    }

    /// Mean of τ².
    pub fn mean_square_fraction(&self) -> f64 {
        self.nodes.iter().map(|n| n.weight * n.tau * n.tau).sum()
    }

    /// τ and how far it rests on its prior.
    pub fn run_to_run(&self, confidence: f64) -> RunToRun {
        let of = |probability: f64, weight: &dyn Fn(&Node) -> f64| self.tau_quantile(probability, weight);
        let posterior = |n: &Node| n.weight;
        let prior = |n: &Node| n.prior;
        let outside = 0.5 * (1.0 - confidence);
        let width = |weight: &dyn Fn(&Node) -> f64| of(0.84, weight) - of(0.16, weight);
        let left = width(&posterior) / width(&prior);
        RunToRun {
            median: of(0.5, &posterior),
            low: of(outside, &posterior),
            high: of(1.0 - outside, &posterior),
            repeats: self.runs.estimates.len() - self.setups(),
            left_of_prior: if self.prior_scale > 0.0 { left.min(1.0) } else { 0.0 },
        }
    }

    /// Each point of the grid stands for the stretch to the middles of its neighbours.
    fn tau_quantile(&self, probability: f64, weight: &dyn Fn(&Node) -> f64) -> f64 {
        let mut below = 0.0;
        for (i, node) in self.nodes.iter().enumerate() {
            let here = weight(node);
            if below + here >= probability || i + 1 == self.nodes.len() {
                let middle = |other: Option<&Node>| other.map_or(node.tau, |o| 0.5 * (o.tau + node.tau));
                let from = middle(i.checked_sub(1).map(|j| &self.nodes[j]));
                let share = if here > 0.0 { ((probability - below) / here).clamp(0.0, 1.0) } else { 0.0 };
                return from + share * (middle(self.nodes.get(i + 1)) - from);
            }
            below += here;
        }
        f64::NAN
    }
}

/// Runs in units of h, turned into the axes of V_R.
struct Axes {
    /// Eigenvalues of V_R in units of h.
    variance: DVector<f64>,
    /// Runs × axes.
    turn: DMatrix<f64>,
    /// S turned; axes × set-ups.
    design: DMatrix<f64>,
    scale: Vec<f64>,
    /// Root mean square of the runs about their set-ups, as a fraction.
    spread: f64,
}

impl Axes {
    fn of(runs: &RunEstimates, prior_scale: f64) -> Result<Axes, Error> {
        let (n, h) = (runs.scale.len(), &runs.scale);
        let in_units =
            DMatrix::from_fn(n, n, |i, j| 0.5 * (runs.covariance[(i, j)] + runs.covariance[(j, i)]) / (h[i] * h[j]));
        let eigen = nalgebra::SymmetricEigen::try_new(in_units, f64::EPSILON, 100_000)
            .ok_or_else(|| refusal("the covariance of the runs has no axes".into()))?;
        let largest = eigen.eigenvalues.iter().fold(0.0_f64, |a, b| a.max(*b));
        let least = (LEAST_SD * prior_scale).powi(2).max(1e-10 * largest).max(1e-24);
        let setups = runs.setup.iter().max().map_or(0, |s| s + 1);
        let s = DMatrix::from_fn(n, setups, |i, j| if runs.setup[i] == j { 1.0 / h[i] } else { 0.0 });
        Ok(Axes {
            variance: eigen.eigenvalues.map(|v| v.max(least)),
            design: eigen.eigenvectors.tr_mul(&s),
            turn: eigen.eigenvectors,
            scale: h.clone(),
            spread: spread(runs),
        })
    }

    fn rotated(&self, c: &DVector<f64>) -> DVector<f64> {
        self.turn.tr_mul(&DVector::from_fn(c.len(), |i, _| c[i] / self.scale[i]))
    }
}

/// The equations at one τ.
struct Given {
    precision: DVector<f64>,
    inverse: DMatrix<f64>,
    /// −½ ln |V_τ| − ½ ln |SᵀV_τ⁻¹S|.
    log_determinants: f64,
}

impl Given {
    fn of(axes: &Axes, tau: f64) -> Option<Given> {
        let precision = axes.variance.map(|v| (v + tau * tau).recip());
        let weighted =
            DMatrix::from_fn(axes.design.nrows(), axes.design.ncols(), |i, j| axes.design[(i, j)] * precision[i]);
        let factored = Cholesky::new(axes.design.tr_mul(&weighted))?;
        let of_set_ups: f64 = factored.l_dirty().diagonal().iter().map(|d| d.ln()).sum();
        let log_determinants = 0.5 * precision.iter().map(|d| d.ln()).sum::<f64>() - of_set_ups;
        Some(Given { precision, inverse: factored.inverse(), log_determinants })
    }

    fn fitted(&self, axes: &Axes, rotated: &DVector<f64>) -> DVector<f64> {
        &self.inverse * axes.design.tr_mul(&rotated.component_mul(&self.precision))
    }

    fn gain(&self, axes: &Axes) -> DMatrix<f64> {
        let (n, k) = axes.design.shape();
        let weighted = DMatrix::from_fn(n, k, |i, j| axes.design[(i, j)] * self.precision[i]);
        let of_units = &self.inverse * (&axes.turn * weighted).transpose();
        DMatrix::from_fn(k, n, |i, j| of_units[(i, j)] / axes.scale[j])
    }
}

/// 0 and points that rise by a factor, from well below what laps and priors leave to well above the runs' own spread.
fn grid(axes: &Axes, prior_scale: f64) -> Vec<f64> {
    if prior_scale == 0.0 {
        return vec![0.0];
    }
    let narrowest = axes.variance.iter().copied().fold(f64::INFINITY, f64::min).sqrt();
    let first = (0.1 * narrowest).min(0.01 * prior_scale);
    let last = (FARTHEST * prior_scale).max(10.0 * axes.spread);
    let step = (last / first).ln() / (POINTS - 1) as f64;
    std::iter::once(0.0).chain((0..POINTS).map(|i| first * (step * i as f64).exp())).collect()
}

fn trapezoid(taus: &[f64]) -> Vec<f64> {
    let last = taus.len() - 1;
    if last == 0 {
        return vec![1.0];
    }
    (0..=last).map(|i| 0.5 * (taus[(i + 1).min(last)] - taus[i.saturating_sub(1)])).collect()
}

/// exp of logarithms, times steps, summing to one.
fn normalised(logs: &[f64], steps: &[f64]) -> Vec<f64> {
    let largest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let masses: Vec<f64> = logs.iter().zip(steps).map(|(l, step)| (l - largest).exp() * step).collect();
    let total: f64 = masses.iter().sum();
    masses.into_iter().map(|m| m / total).collect()
}

/// Root mean square of the runs about the plain means of their set-ups, in units of h.
fn spread(runs: &RunEstimates) -> f64 {
    let mean = |s: usize| {
        let own = runs.setup.iter().zip(runs.estimates.iter()).filter(|(of, _)| **of == s);
        let (count, sum) = own.fold((0.0, 0.0), |(n, sum), (_, c)| (n + 1.0, sum + c));
        sum / count
    };
    let squares = (0..runs.setup.len()).map(|i| ((runs.estimates[i] - mean(runs.setup[i])) / runs.scale[i]).powi(2));
    (squares.sum::<f64>() / runs.setup.len() as f64).sqrt()
}

fn refusal(message: String) -> Error {
    Error::Numerical { stage: "run to run", message }
}

fn check(runs: &RunEstimates, prior_scale: f64) -> Result<(), Error> {
    let n = runs.estimates.len();
    let lengths =
        [runs.covariance.nrows(), runs.covariance.ncols(), runs.dof.len(), runs.setup.len(), runs.scale.len()];
    if n == 0 || lengths.iter().any(|l| *l != n) {
        return Err(refusal(format!(
            "{n} estimates beside {lengths:?} other entries; one of each for every run is needed"
        )));
    }
    let positive = |x: &f64| *x > 0.0;
    if !prior_scale.is_finite() || prior_scale < 0.0 {
        return Err(refusal(format!("scale {prior_scale} of the changes from run to run; 0 or more is needed")));
    }
    let sound = |i: &usize| {
        runs.estimates[*i].is_finite()
            && runs.scale[*i].is_finite()
            && positive(&runs.scale[*i])
            && positive(&runs.dof[*i])
            && runs.covariance.row(*i).iter().all(|v| v.is_finite())
            && runs.covariance[(*i, *i)] >= 0.0
    };
    if let Some(bad) = (0..n).find(|i| !sound(i)) {
        return Err(refusal(format!(
            "run {} says {} with variance {} on {} degrees of freedom; finite numbers above 0 are needed",
            bad + 1,
            runs.estimates[bad],
            runs.covariance[(bad, bad)],
            runs.dof[bad]
        )));
    }
    let setups = runs.setup.iter().max().map_or(0, |s| s + 1);
    match (0..setups).find(|s| !runs.setup.contains(s)) {
        Some(empty) => Err(refusal(format!("set-up {} has no run", empty + 1))),
        None => Ok(()),
    }
}

#[cfg(test)]
#[path = "replication_tests.rs"]
mod tests;
