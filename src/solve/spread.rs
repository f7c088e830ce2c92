//! How far rows of the account spread on this day, and its air: what of the differences between the winds of runs is no
//! error of the fit, and how much the wind differs along the loop.
//!
//! Given the equations at a point; gives a share and a scale. Both are taken from the day itself, because either extreme
//! misleads:
//!
//! * Winds of runs err by some 0.05 m/s, and more in a run whose drag differs. Taken for differences of wind, such errors tell
//!   drag against yaw what nothing told: where drag changed by 1 % from run to run, intervals of Crr held on 76 % of days.
//! * A wind that may differ along the loop as between houses costs nearly half of the certainty of CdA on an open road.
//!
//! The scale κ multiplies what is expected of the coefficients of the wind along the loop, a ~ N(0, κ²S). With the information L
//! that the rides have on a, all else being fitted, and h = Lâ,
//!
//! ```text
//! p(κ | rides) ∝ |I + κ²SL|^(−½) exp( ½ hᵀ (L + S⁻¹/κ²)⁻¹ h ),   0 < κ < 1.5
//! ```
//!
//! and the mean of κ is taken (an expectation with a scale of its own: Lindley & Smith 1972, J. R. Stat. Soc. B 34:1). Before a
//! day is ridden h is spread about La by L.

use super::design::{LapBlock, Problem};
use super::layout::RunColumns;
use super::normal::Factored;
use crate::uncertainty::working::Working;
use nalgebra::{DMatrix, DVector};

/// Long-run variance of rows over the variance of one before it is known: neighbouring steps of 3 s in gusts that last as long.
const USUAL_LONG_RUN: f64 = 3.4;

/// Scatter of the rows of the account.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowScatter {
    /// Standard deviation of one row, m.
    pub sd_m: f64,
    /// γ₀(1 + 2Σρ), m²: how little the mean of many rows of a lap is known.
    pub long_run_variance: f64,
    /// Of the air.
    pub spread: Spread,
}

impl RowScatter {
    /// With neighbours that hang together as they usually do.
    pub fn usual(sd_m: f64) -> RowScatter {
        RowScatter { sd_m, long_run_variance: USUAL_LONG_RUN * sd_m * sd_m, spread: Spread::default() }
    }

    /// From the residuals of laps: φ of neighbouring rows makes γ₀(1 + φ)/(1 − φ).
    pub(super) fn of(working: &Working, sd_m: f64) -> RowScatter {
        let phi = working.correlation.get(1).copied().unwrap_or(0.0);
        let mean = working.variance.iter().sum::<f64>() / working.variance.len().max(1) as f64;
        RowScatter { sd_m, long_run_variance: mean * (1.0 + phi) / (1.0 - phi), spread: Spread::default() }
    }
}

/// What the day shows of its air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Share of the differences between the winds of runs that is no error of the fit, 0 to 1.
    pub wind_told: f64,
    /// κ; 1 is a loop among trees and houses.
    pub along: f64,
}

impl Default for Spread {
    /// Before the rides are looked at.
    fn default() -> Self {
        Spread { wind_told: 1.0, along: 1.0 }
    }
}

/// Scales that are tried.
const SCALES: usize = 25;
const LARGEST_SCALE: f64 = 1.5;
/// The mean square of n errors strays by √(2/n) of itself; differences of wind are believed from so many times that.
const MAY_STRAY: f64 = 2.0;

impl Spread {
    /// From equations near their solution, with expectations of scale 1; the default where they are singular.
    pub fn of(problem: &Problem, parameters: &[f64]) -> Spread {
        let found = |rides: RidesAt| {
            let step = rides.equations.solve(&problem.right_side(&rides.blocks, &rides.blocks, parameters))?;
            let at = DVector::from_column_slice(parameters) + step;
            // What both rides and expectations say, times the precision of both: L times what the rides alone say.
            rides.spread(&at, 0.0, |a, together, _| vec![together * a])
        };
        RidesAt::new(problem, parameters).and_then(found).unwrap_or_default()
    }

    /// What a day is expected to show of which these are the true parameters.
    pub fn foreseen(problem: &Problem, truth: &[f64]) -> Spread {
        let at = DVector::from_column_slice(truth);
        let found =
            |rides: RidesAt| rides.spread(&at, 1.0, |a, _, information| scattered(&(information * a), information));
        RidesAt::new(problem, truth).and_then(found).unwrap_or_default()
    }
}

/// What the rides tell at a point, by least squares.
struct RidesAt<'p, 'a> {
    problem: &'p Problem<'a>,
    blocks: Vec<LapBlock>,
    equations: Factored,
}

impl<'p, 'a> RidesAt<'p, 'a> {
    fn new(problem: &'p Problem<'a>, parameters: &[f64]) -> Option<Self> {
        let blocks = problem.blocks(parameters);
        let equations = problem.normal(&blocks, &blocks, &problem.precision(parameters)).factored()?;
        Some(RidesAt { problem, blocks, equations })
    }

    fn spread(
        &self,
        at: &DVector<f64>,
        errors_to_come: f64,
        directions: impl Fn(&DVector<f64>, &DMatrix<f64>, &DMatrix<f64>) -> Vec<DVector<f64>>,
    ) -> Option<Spread> {
        Some(Spread { wind_told: self.wind_share(at, errors_to_come)?, along: self.scale(at, directions)? })
    }

    /// Covariance of some parameters by the rides and what is expected.
    fn covariance(&self, columns: &[usize]) -> Option<DMatrix<f64>> {
        let row_variance = self.problem.row_variance;
        let of = |column: &usize| {
            let unit = |i: usize, _| if i == *column { row_variance } else { 0.0 };
            self.equations.solve(&DVector::from_fn(self.problem.layout.len, unit))
        };
        let all: Vec<DVector<f64>> = columns.iter().map(of).collect::<Option<_>>()?;
        Some(DMatrix::from_fn(columns.len(), columns.len(), |i, j| all[j][columns[i]]))
    }

    /// What the winds scatter about their mean beyond what errors of the fit may, over all of it. `errors_to_come` is 1 where the
    /// winds at hand are without errors as yet.
    fn wind_share(&self, at: &DVector<f64>, errors_to_come: f64) -> Option<f64> {
        let runs = &self.problem.layout.runs;
        let (mut seen, mut error, mut freedom) = (0.0, 0.0, 0.0);
        for component in [|r: &RunColumns| r.east, |r: &RunColumns| r.north] {
            let columns: Vec<usize> = runs.iter().filter_map(component).collect();
            let n = columns.len() as f64;
            if columns.len() < 2 {
                return Some(1.0);
            }
            let mean = columns.iter().map(|c| at[*c]).sum::<f64>() / n;
            let covariance = self.covariance(&columns)?;
            seen += columns.iter().map(|c| (at[*c] - mean).powi(2)).sum::<f64>();
            error += covariance.trace() - covariance.sum() / n;
            freedom += n - 1.0;
        }
        seen += errors_to_come * error;
        let may = error * (1.0 + MAY_STRAY * (2.0 / freedom).sqrt());
        Some((1.0 - may / seen.max(f64::MIN_POSITIVE)).max(0.0))
    }

    /// Mean of κ; 1 where the wind along the loop is not estimated. `directions` makes h of the coefficients, their precision by
    /// rides and expectations, and L; of several the root of the mean square counts.
    fn scale(
        &self,
        at: &DVector<f64>,
        directions: impl Fn(&DVector<f64>, &DMatrix<f64>, &DMatrix<f64>) -> Vec<DVector<f64>>,
    ) -> Option<f64> {
        let columns: Vec<usize> = self.problem.layout.along.clone().collect();
        if columns.is_empty() {
            return Some(1.0);
        }
        let precision = |c: &usize| self.problem.prior[*c].sd_at(0.0).map_or(0.0, |sd| sd.powi(-2));
        let expected = DVector::from_iterator(columns.len(), columns.iter().map(precision));
        let coefficients = DVector::from_iterator(columns.len(), columns.iter().map(|c| at[*c]));
        let together = self.covariance(&columns)?.try_inverse()?;
        let information = &together - DMatrix::from_diagonal(&expected);
        let all = directions(&coefficients, &together, &information);
        let scales: Vec<f64> = all.iter().map(|h| mean_scale(&information, h, &expected)).collect::<Option<_>>()?;
        // Variances grow with the square of the scale.
        Some((scales.iter().map(|s| s * s).sum::<f64>() / scales.len().max(1) as f64).sqrt())
    }
}

/// Points that stand for h = La + noise of covariance L: along each axis of L, both ways, at two distances whose squares have the
/// mean n and the variance 2n of the squared length of n standard normal numbers.
fn scattered(mean: &DVector<f64>, information: &DMatrix<f64>) -> Vec<DVector<f64>> {
    let axes = information.clone().symmetric_eigen();
    let n = mean.len() as f64;
    let near_and_far = [n - (2.0 * n).sqrt(), n + (2.0 * n).sqrt()].map(|square| square.max(0.0).sqrt());
    let steps = axes.eigenvalues.iter().enumerate().flat_map(|(axis, size)| {
        let one = axes.eigenvectors.column(axis) * size.max(0.0).sqrt();
        near_and_far.map(|distance| &one * distance)
    });
    steps.flat_map(|step| [mean + &step, mean - step]).collect()
}

/// Mean of κ from the information L, h and the diagonal of S⁻¹.
fn mean_scale(information: &DMatrix<f64>, h: &DVector<f64>, expected: &DVector<f64>) -> Option<f64> {
    let scales = (1..=SCALES).map(|i| LARGEST_SCALE * i as f64 / SCALES as f64);
    let logs: Vec<(f64, f64)> = scales
        .map(|scale| {
            let precision = expected / (scale * scale);
            let whole = (information + DMatrix::from_diagonal(&precision)).cholesky()?;
            // |I + κ²SL| = |L + S⁻¹/κ²| / |S⁻¹/κ²|.
            let ln_spread = 2.0 * whole.l().diagonal().map(f64::ln).sum() - precision.map(f64::ln).sum();
            Some((scale, 0.5 * h.dot(&whole.solve(h)) - 0.5 * ln_spread))
        })
        .collect::<Option<_>>()?;
    let largest = logs.iter().map(|(_, log)| *log).fold(f64::NEG_INFINITY, f64::max);
    let (mut sum, mut weight) = (0.0, 0.0);
    for (scale, log) in logs {
        let w = (log - largest).exp();
        (sum, weight) = (sum + w * scale, weight + w);
    }
    Some(sum / weight).filter(|mean| mean.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Vouched for by the definition: with L and S of one coefficient, the likelihood of κ is a normal density of â with variance
    /// κ²S + 1/L.
    #[test]
    fn the_scale_is_the_mean_of_its_likelihood() {
        for (estimate, error_sd, expected_sd) in [(0.0, 0.1, 0.5), (0.6, 0.1, 0.5), (2.0, 0.3, 0.25)] {
            let (mut sum, mut weight) = (0.0, 0.0);
            for i in 1..=SCALES {
                let scale = LARGEST_SCALE * i as f64 / SCALES as f64;
                let variance: f64 = (scale * expected_sd).powi(2) + error_sd * error_sd;
                let density = (-0.5 * estimate * estimate / variance).exp() / variance.sqrt();
                (sum, weight) = (sum + density * scale, weight + density);
            }
            let information = DMatrix::from_element(1, 1, 1.0 / (error_sd * error_sd));
            let h = &information * DVector::from_element(1, estimate);
            let expected = DVector::from_element(1, 1.0 / (expected_sd * expected_sd));
            let found = mean_scale(&information, &h, &expected).unwrap();
            assert!((found - sum / weight).abs() < 1e-9, "{found} {}", sum / weight);
        }
    }

    #[test]
    fn an_open_loop_has_a_small_scale_and_one_among_houses_a_large_one() {
        let information = DMatrix::from_diagonal(&DVector::from_element(6, 400.0));
        let expected = DVector::from_fn(6, |i, _| (0.5 / (i / 2 + 1) as f64).powi(-2));
        let of = |coefficient: f64| {
            let h = &information * DVector::from_element(6, coefficient);
            mean_scale(&information, &h, &expected).unwrap()
        };
        assert!(of(0.0) < 0.2, "{}", of(0.0));
        assert!(of(0.5) > 0.9, "{}", of(0.5));
        // Without any information every scale is as likely.
        let nothing = DMatrix::zeros(6, 6);
        let middle = mean_scale(&nothing, &DVector::zeros(6), &expected).unwrap();
        assert!((middle - 0.5 * (LARGEST_SCALE + LARGEST_SCALE / SCALES as f64)).abs() < 1e-9, "{middle}");
    }
}
