//! Runs of one set-up against each other: a run that is unlike its twins, and set-ups that were exchanged between files.
//!
//! Given one estimate a run (Crr, or CdA in a test of positions) with the covariance of all of them; gives what does not fit,
//! and by how much a mass would have to be wrong to explain it. It looks at no lap and names no file.
//!
//! The estimates follow c = S β + e, with S the set-up of each run and e of covariance V, to which a variance is added for what
//! changes between mountings. With M = V⁻¹ − V⁻¹S(SᵀV⁻¹S)⁻¹SᵀV⁻¹ the estimates agree where cᵀMc is usual for χ² with as many
//! degrees of freedom as there are runs beyond set-ups; the shift of run i is (Mc)ᵢ/Mᵢᵢ with standard error Mᵢᵢ^(−½) (Cook &
//! Weisberg 1982, Residuals and Influence in Regression, §2.2.2, the mean-shift outlier model, for a general V).

use crate::uncertainty::student::{chi_squared_upper_tail, normal_cdf};
use nalgebra::{DMatrix, DVector};

/// Probability of so large a shift by chance, over all runs together, below which it is told.
const TOLD: f64 = 0.01;
/// Probability of all runs as they stand, from which an exchange or a shift explains them.
const EXPLAINED: f64 = 0.02;
/// Exchanges whose χ² is within this of the best are as good.
const AS_GOOD: f64 = 4.0;
/// More runs than this that are unlike the rest are no slip of single runs.
const MOST_TOLD: usize = 3;

/// One run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunEstimate {
    pub setup: usize,
    /// Crr of this run, or CdA.
    pub value: f64,
    /// Standard deviation of what changes from mounting to mounting, in the unit of the value.
    pub run_to_run_sd: f64,
}

/// What does not fit. Runs are places in the list.
#[derive(Debug, Clone, PartialEq)]
pub enum Unlike {
    /// A run is off by so much from its twins, of which there are two or more.
    Run { run: usize, apart: f64, se: f64, twins: usize },
    /// Two runs of a set-up that has no third, the first less the second.
    Pair { runs: [usize; 2], apart: f64, se: f64 },
    /// With the set-ups of one of these pairs exchanged all runs agree; nothing tells which pair.
    Exchanged { pairs: Vec<[usize; 2]> },
}

/// Mass that a run would need for its rolling resistance to be that of its twins, kg: what is fitted is Crr times mass.
///
/// ```
/// // 68.3 kg stated for 86.3 kg make Crr of 0.0045 look like 0.00569.
/// let needed = loopwright::compare::run_twins::mass_needed_kg(68.3, 0.00569, 0.00569 - 0.0045);
/// assert!((needed - 86.3).abs() < 0.1);
/// ```
pub fn mass_needed_kg(mass_kg: f64, value: f64, apart: f64) -> f64 {
    mass_kg * value / (value - apart)
}

/// Holds the runs of each set-up against each other. Estimates that are not finite are passed over.
pub fn unlike(runs: &[RunEstimate], covariance: &DMatrix<f64>) -> Vec<Unlike> {
    let sound = |k: usize| runs[k].value.is_finite() && covariance[(k, k)].is_finite();
    let mut left: Vec<usize> = (0..runs.len()).filter(|k| sound(*k)).collect();
    let setups: Vec<usize> = runs.iter().map(|r| r.setup).collect();
    let mut out = Vec::new();
    while out.len() < MOST_TOLD {
        let Some(agreement) = Agreement::new(runs, &setups, covariance, &left) else { break };
        let Some((place, t)) = agreement.worst() else { break };
        let tests = agreement.testable().count().max(1) as f64;
        if 2.0 * (1.0 - normal_cdf(t)) * tests > TOLD {
            break;
        }
        let worst = left[place];
        let twins: Vec<usize> = left.iter().copied().filter(|k| *k != worst && setups[*k] == setups[worst]).collect();
        let without: Vec<usize> = left.iter().copied().filter(|k| *k != worst).collect();
        let alone = Agreement::new(runs, &setups, covariance, &without).is_none_or(|a| a.probability() > EXPLAINED);
        let pairs = if alone { Vec::new() } else { exchanges(runs, &setups, covariance, &left) };
        if !pairs.is_empty() {
            out.push(Unlike::Exchanged { pairs });
            break;
        }
        let (apart, se) = agreement.shift(place);
        out.push(match twins[..] {
            [other] => {
                let runs = [worst.min(other), worst.max(other)];
                Unlike::Pair { runs, apart: if runs[0] == worst { apart } else { -apart }, se }
            }
            _ => Unlike::Run { run: worst, apart, se, twins: twins.len() },
        });
        left = without;
    }
    out
}

/// Pairs of runs of different set-ups whose exchange makes all runs agree, the best and those as good.
fn exchanges(runs: &[RunEstimate], setups: &[usize], covariance: &DMatrix<f64>, left: &[usize]) -> Vec<[usize; 2]> {
    let mut found: Vec<([usize; 2], f64)> = Vec::new();
    for (i, &a) in left.iter().enumerate() {
        for &b in left[i + 1..].iter().filter(|b| setups[**b] != setups[a]) {
            let mut exchanged = setups.to_vec();
            exchanged.swap(a, b);
            if let Some(agreement) = Agreement::new(runs, &exchanged, covariance, left)
                && agreement.probability() > EXPLAINED
            {
                found.push(([a, b], agreement.chi_squared()));
            }
        }
    }
    let best = found.iter().map(|f| f.1).fold(f64::INFINITY, f64::min);
    found.into_iter().filter(|(_, chi_squared)| *chi_squared < best + AS_GOOD).map(|(pair, _)| pair).collect()
}

/// Some of the runs with a set-up each.
struct Agreement {
    /// M of the module's head.
    m: DMatrix<f64>,
    /// M c.
    mc: DVector<f64>,
    c: DVector<f64>,
    dof: usize,
}

impl Agreement {
    /// `None` where no set-up has two runs or V is singular.
    fn new(runs: &[RunEstimate], setups: &[usize], covariance: &DMatrix<f64>, left: &[usize]) -> Option<Agreement> {
        let n = left.len();
        let mut present: Vec<usize> = left.iter().map(|k| setups[*k]).collect();
        present.sort_unstable();
        present.dedup();
        let dof = n.checked_sub(present.len()).filter(|d| *d > 0)?;
        let v = DMatrix::from_fn(n, n, |i, j| {
            let own = if i == j { runs[left[i]].run_to_run_sd.powi(2) } else { 0.0 };
            covariance[(left[i], left[j])] + own
        });
        let s = DMatrix::from_fn(n, present.len(), |i, j| f64::from(u8::from(setups[left[i]] == present[j])));
        let inverse = v.try_inverse()?;
        let of_setups = (s.transpose() * &inverse * &s).try_inverse()?;
        let m = &inverse - &inverse * &s * of_setups * s.transpose() * &inverse;
        let c = DVector::from_iterator(n, left.iter().map(|k| runs[*k].value));
        Some(Agreement { mc: &m * &c, m, c, dof })
    }

    fn chi_squared(&self) -> f64 {
        self.c.dot(&self.mc).max(0.0)
    }

    fn probability(&self) -> f64 {
        chi_squared_upper_tail(self.chi_squared(), self.dof as f64)
    }

    /// Runs that have a twin: the others are fitted exactly.
    fn testable(&self) -> impl Iterator<Item = usize> + '_ {
        let scale = self.m.diagonal().amax();
        (0..self.c.len()).filter(move |i| self.m[(*i, *i)] > 1e-9 * scale)
    }

    /// By how much a run is off, and the standard error of that.
    fn shift(&self, i: usize) -> (f64, f64) {
        (self.mc[i] / self.m[(i, i)], self.m[(i, i)].powf(-0.5))
    }

    /// The run furthest off in standard errors; the first of those that are alike.
    fn worst(&self) -> Option<(usize, f64)> {
        let all = self.testable().map(|i| {
            let (apart, se) = self.shift(i);
            (i, (apart / se).abs())
        });
        all.fold(None, |best: Option<(usize, f64)>, one| match best {
            Some(b) if one.1 <= b.1 * (1.0 + 1e-9) => Some(b),
            _ => Some(one),
        })
    }
}

#[cfg(test)]
#[path = "run_twins_tests.rs"]
mod tests;
