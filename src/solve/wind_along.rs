//! The share of the wind that a rider meets along the loop: trees, houses and banks shelter some of it.
//!
//! At place x of the lap, 0 to 1, a rider meets s(x)·W of the run's wind W, with
//!
//! ```text
//! ln s(x) = Σ_k ( a_k cos 2πkx + b_k sin 2πkx ),   a_k, b_k ~ N(0, (0.5/k)²)
//! ```
//!
//! common to all runs; how much of that there is on this loop is estimated too, see `spread`. The mean of ln s is no
//! parameter: it belongs to W. Given the step edges of a lap; gives the terms of the
//! sum at the middle of each step. It knows nothing of winds.

use std::f64::consts::TAU;

/// Standard deviation of the terms that go once round the loop (common practice, no source): a third of the places have
/// less than 0.6 or more than 1.6 of the middling wind.
const FIRST_SD: f64 = 0.5;
/// Waves round the loop, and those where a lap has many steps.
const WAVES: usize = 3;
const MORE_WAVES: usize = 5;
const MANY_STEPS: usize = 40;

/// The terms of ln s at the middles of the steps, cosine and sine of each wave.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Waves {
    /// Terms × steps.
    pub term: Vec<Vec<f64>>,
}

impl Waves {
    /// For laps cut at these shares of the lap, of which the first is 0 and the last 1.
    pub fn of_edges(edge: &[f64]) -> Waves {
        Waves::new(if edge.len() > MANY_STEPS { MORE_WAVES } else { WAVES }, edge)
    }

    /// So many waves.
    pub fn new(waves: usize, edge: &[f64]) -> Waves {
        let middle: Vec<f64> = edge.windows(2).map(|e| 0.5 * (e[0] + e[1])).collect();
        let term = (1..=waves).flat_map(|k| {
            let angle = |x: &f64| TAU * k as f64 * x;
            [middle.iter().map(|x| angle(x).cos()).collect(), middle.iter().map(|x| angle(x).sin()).collect()]
        });
        Waves { term: term.collect() }
    }

    /// Number of coefficients.
    pub fn len(&self) -> usize {
        self.term.len()
    }

    pub fn is_empty(&self) -> bool {
        self.term.is_empty()
    }

    /// Standard deviation of a coefficient on a loop among trees and houses.
    pub fn expected_sd(place: usize) -> f64 {
        FIRST_SD / (place / 2 + 1) as f64
    }

    /// ln s of each step.
    pub fn log_share(&self, coefficients: &[f64]) -> Vec<f64> {
        let steps = self.term.first().map_or(0, Vec::len);
        (0..steps).map(|j| self.term.iter().zip(coefficients).map(|(t, c)| t[j] * c).sum()).collect()
    }
}

/// What is supposed of the wind along the loop.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum WindAlong {
    /// The same everywhere.
    #[default]
    Even,
    /// Stated share of each step.
    Stated(Vec<f64>),
    Estimated(Waves),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waves_are_orthogonal_over_equal_steps_and_have_no_mean() {
        // Discrete orthogonality of cosines and sines: Σ cos² = Σ sin² = J/2, all else 0.
        for steps in [24, 48] {
            let edge: Vec<f64> = (0..=steps).map(|i| i as f64 / steps as f64).collect();
            let waves = Waves::of_edges(&edge);
            assert_eq!(waves.len(), if steps < 40 { 6 } else { 10 });
            for (i, a) in waves.term.iter().enumerate() {
                assert!(a.iter().sum::<f64>().abs() < 1e-12);
                for (j, b) in waves.term.iter().enumerate() {
                    let product: f64 = a.iter().zip(b).map(|(x, y)| x * y).sum();
                    let expected = if i == j { 0.5 * steps as f64 } else { 0.0 };
                    assert!((product - expected).abs() < 1e-9, "{i} {j} {product}");
                }
            }
        }
    }

    #[test]
    fn longer_waves_are_expected_to_be_larger() {
        assert_eq!([0, 1, 2, 5].map(Waves::expected_sd), [0.5, 0.5, 0.25, 0.5 / 3.0]);
    }
}
