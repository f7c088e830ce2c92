//! The working covariance estimated from residuals, by the method of moments.
//!
//! Given residuals and, per lap, a speed class; gives the φ and the variances with which Σ r² of each class and Σ r_j r_{j+1}
//! of all laps are what the model expects of residuals, which are smaller and less correlated than errors. It never enters
//! the parameters.

use nalgebra::DVector;
use rayon::prelude::*;

use super::laps::{Absorbed, Laps};
use super::residual_model::{NeighbourSums, ResidualModel};
use super::working::Working;
use crate::error::Error;

/// Largest correlation of neighbouring steps that is believed: beyond it a mean shift and a correlation look alike.
const MOST_CORRELATION: f64 = 0.9;
/// Corrections after the first guess: on six laps of fifteen steps φ is then within 0.002 and the ratio of two variances
/// within 2 % of where endless ones lead, a tenth of their own scatter.
const CORRECTIONS: usize = 3;
/// A class is not believed to be quieter than this share of the noisiest.
const LEAST_VARIANCE_SHARE: f64 = 0.01;
/// Share of the expected squares of which a class must have more to have anything left.
const LEAST_LEFT: f64 = 1e-9;

impl Working {
    /// From residuals, with one φ for all laps and one variance for each class of laps.
    ///
    /// `class` has any number per lap. Laps without scatter give independence. Errors: those of
    /// [`super::cluster::ClusterRobust::new`].
    pub fn estimated(laps: &Laps, absorbed: &Absorbed, class: &[usize]) -> Result<Self, Error> {
        let mut model = ResidualModel::new(laps, absorbed, &Working::independent(laps.residual.len()))?;
        Working::matched(&mut model, &laps.residual, class)
    }

    /// The same, leaving it supposed in a model of these laps that supposed independence.
    pub(super) fn matched(
        model: &mut ResidualModel,
        residual: &[DVector<f64>],
        class: &[usize],
    ) -> Result<Self, Error> {
        let steps = residual.iter().map(|r| r.len()).max().unwrap_or(0);
        let mut classes = class.to_vec();
        classes.sort_unstable();
        classes.dedup();
        let class: Vec<usize> = class.iter().map(|c| classes.partition_point(|known| known < c)).collect();
        let mut guess = Guess { phi: 0.0, variance: vec![1.0; classes.len()] };
        let counts: Vec<(usize, usize)> = (0..residual.len()).map(|g| model.rows_and_pairs(g)).collect();
        let found = Moments::observed(residual, &counts, &class);
        for _ in 0..=CORRECTIONS {
            if !guess.correct(&found, &Moments::expected(model, &counts, &class)) {
                return Ok(Working::independent(residual.len()));
            }
            model.suppose(&guess.working(steps, &class))?;
        }
        Ok(guess.working(steps, &class))
    }
}

/// Σ r² and Σ r_j r_{j+1} of each class, and how many terms they have.
struct Moments {
    squares: Vec<f64>,
    neighbours: Vec<f64>,
    rows: f64,
    pairs: f64,
}

impl Moments {
    /// `counts` are the rows of each lap, and those that have the next one as well.
    fn observed(residual: &[DVector<f64>], counts: &[(usize, usize)], class: &[usize]) -> Moments {
        let each = residual.iter().map(|r| {
            let next = r.len() - 1;
            NeighbourSums { squares: r.norm_squared(), neighbours: r.rows(0, next).dot(&r.rows(1, next)) }
        });
        Moments::summed(class, counts, each.collect())
    }

    fn expected(model: &ResidualModel, counts: &[(usize, usize)], class: &[usize]) -> Moments {
        let pieces = model.pieces();
        let each = (0..counts.len()).into_par_iter().map(|g| pieces.neighbour_sums(g)).collect();
        Moments::summed(class, counts, each)
    }

    fn summed(class: &[usize], counts: &[(usize, usize)], each: Vec<NeighbourSums>) -> Moments {
        let classes = class.iter().max().map_or(0, |c| c + 1);
        let mut sums = Moments { squares: vec![0.0; classes], neighbours: vec![0.0; classes], rows: 0.0, pairs: 0.0 };
        for ((&c, own), (rows, pairs)) in class.iter().zip(each).zip(counts) {
            sums.squares[c] += own.squares;
            sums.neighbours[c] += own.neighbours;
            sums.rows += *rows as f64;
            sums.pairs += *pairs as f64;
        }
        sums
    }

    /// Σ r_j r_{j+1} over Σ r², every class divided by its variance so that the noisiest does not decide alone.
    fn correlation(&self, variance: &[f64]) -> f64 {
        let scaled = |sums: &[f64]| sums.iter().zip(variance).map(|(s, v)| s / v).sum::<f64>();
        scaled(&self.neighbours) / scaled(&self.squares)
    }
}

/// What is believed while moments are matched.
struct Guess {
    phi: f64,
    variance: Vec<f64>,
}

impl Guess {
    fn working(&self, steps: usize, class: &[usize]) -> Working {
        Working::autoregressive(self.phi, steps, class.iter().map(|c| self.variance[*c]).collect())
    }

    /// Moves the guess to where the expected moments would meet the observed ones; false when there is no scatter.
    fn correct(&mut self, observed: &Moments, expected: &Moments) -> bool {
        let expected_correlation = expected.correlation(&self.variance);
        let (all_observed, all_expected) = (observed.squares.iter().sum::<f64>(), expected.squares.iter().sum::<f64>());
        for (c, variance) in self.variance.iter_mut().enumerate() {
            // A class of which the fit leaves nothing is taken to be as the others are.
            let is_left = observed.squares[c] > 0.0 && expected.squares[c] > LEAST_LEFT * all_expected;
            *variance *= if is_left { observed.squares[c] / expected.squares[c] } else { all_observed / all_expected };
        }
        let noisiest = self.variance.iter().fold(0.0_f64, |a, b| a.max(*b));
        self.variance.iter_mut().for_each(|v| *v = v.max(LEAST_VARIANCE_SHARE * noisiest));
        let missing = (observed.correlation(&self.variance) - expected_correlation) * observed.rows / observed.pairs;
        if missing.is_finite() {
            self.phi = (self.phi + missing).clamp(0.0, MOST_CORRELATION);
        }
        all_observed > 0.0
    }
}
