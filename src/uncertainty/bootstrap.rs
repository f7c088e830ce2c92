//! A second opinion on the standard errors: whole laps are drawn again within strata and the equations are solved again
//! for each draw.
//!
//! Given a stratum (run × speed class) per lap, a way to solve with laps counted otherwise than once, and a seed; gives
//! replicates of the parameters as deviations from the estimate. It knows nothing of the equations and never touches a
//! clock or global generator: the same seed gives the same replicates whatever the number of threads.
//!
//! # Method
//!
//! From a stratum of n laps n − 1 are drawn with replacement and counted n/(n − 1) times each (Rao & Wu 1988, J. Am.
//! Stat. Assoc. 83:231, eq. 2.3 with m = n − 1), because the plain draw of n makes the variance of a stratum mean
//! too small by (n − 1)/n, a third for strata of three laps.

use nalgebra::{DMatrix, DVector};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;

use crate::error::Error;

/// Replicates of the estimate.
#[derive(Debug, Clone)]
pub struct Bootstrap {
    /// Deviations from the estimate, replicates × parameters; draws that could not be solved are left out.
    pub deviations: DMatrix<f64>,
    /// Draws that were asked for.
    pub draws: usize,
    /// Draws whose equations were singular.
    pub singular: usize,
    /// Laps alone in their stratum: they never change, so their scatter is not in the replicates.
    pub lone_laps: usize,
}

impl Bootstrap {
    /// Draws and solves `draws` times. `strata` holds any number per lap; laps with the same number are exchanged for each
    /// other. `solve` gives the parameters, less anything that is the same for all counts, when laps count as told;
    /// `None` where its equations are singular.
    ///
    /// Errors: [`Error::Numerical`] when the equations of the laps as ridden are singular.
    pub fn run(
        strata: &[usize],
        draws: usize,
        seed: u64,
        solve: impl Fn(&[f64]) -> Option<DVector<f64>> + Sync,
    ) -> Result<Self, Error> {
        let Some(centre) = solve(&vec![1.0; strata.len()]) else {
            let message = "the equations of the laps as ridden are singular; hold a parameter fixed".into();
            return Err(Error::Numerical { stage: "bootstrap", message });
        };
        let exchanged = strata_of(strata);
        let solved: Vec<Option<DVector<f64>>> = (0..draws)
            .into_par_iter()
            .map(|draw| {
                let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed_of(seed, draw as u64));
                let mut counts = vec![0.0; strata.len()];
                draw_counts(&exchanged, &mut generator, |lap, count| counts[lap] += count);
                solve(&counts)
            })
            .collect();
        let good: Vec<&DVector<f64>> = solved.iter().flatten().collect();
        let deviations = DMatrix::from_fn(good.len(), centre.len(), |row, column| good[row][column] - centre[column]);
        Ok(Bootstrap {
            singular: draws - good.len(),
            draws,
            lone_laps: exchanged.iter().filter(|laps| laps.len() == 1).count(),
            deviations,
        })
    }

    /// Standard deviation of cᵀβ* over the replicates; NaN with fewer than two of them.
    pub fn standard_error(&self, contrast: &DVector<f64>) -> f64 {
        if contrast.len() != self.deviations.ncols() || self.deviations.nrows() < 2 {
            return f64::NAN;
        }
        let values = &self.deviations * contrast;
        let mean = values.mean();
        let squares = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        (squares / (values.len() as f64 - 1.0)).sqrt()
    }
}

/// Zero-based laps of each stratum, in the order in which the strata first appear.
fn strata_of(labels: &[usize]) -> Vec<Vec<usize>> {
    let mut seen: Vec<usize> = Vec::new();
    let mut strata: Vec<Vec<usize>> = Vec::new();
    for (lap, label) in labels.iter().enumerate() {
        match seen.iter().position(|known| known == label) {
            Some(at) => strata[at].push(lap),
            None => {
                seen.push(*label);
                strata.push(vec![lap]);
            }
        }
    }
    strata
}

fn draw_counts(strata: &[Vec<usize>], generator: &mut Xoshiro256PlusPlus, mut add: impl FnMut(usize, f64)) {
    for laps in strata {
        if let [lone] = laps.as_slice() {
            add(*lone, 1.0);
            continue;
        }
        let drawn = laps.len() - 1;
        let count = laps.len() as f64 / drawn as f64;
        for _ in 0..drawn {
            add(laps[generator.random_range(0..laps.len())], count);
        }
    }
}

/// A generator seed of its own for every draw, so that the split over threads cannot matter.
fn seed_of(seed: u64, draw: u64) -> u64 {
    // The odd constant is 2⁶⁴ divided by the golden ratio (Knuth, TAOCP 2, §6.4): neighbouring draws land far apart.
    seed.wrapping_add(draw.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(value: f64) -> DVector<f64> {
        DVector::from_element(1, value)
    }

    /// Mean of values with laps counted.
    fn mean<'v>(values: &'v [f64]) -> impl Fn(&[f64]) -> Option<DVector<f64>> + Sync + 'v {
        move |counts| {
            let sum: f64 = counts.iter().zip(values).map(|(n, value)| n * value).sum();
            Some(one(sum / counts.iter().sum::<f64>()))
        }
    }

    #[test]
    fn the_scatter_of_a_stratified_mean_is_unbiased_even_for_small_strata() {
        // Rao & Wu 1988: the bootstrap variance of a mean over strata tends to Σ (n_s/n)² s_s²/n_s, here with
        // three laps a stratum; the relative error of a standard deviation from 4000 draws is 1/√8000 = 1.1 %.
        let values = [1.0, 4.0, 2.5, 10.0, 11.5, 9.0];
        let bootstrap = Bootstrap::run(&[7, 7, 7, 9, 9, 9], 4000, 1, mean(&values)).unwrap();
        let variance = |v: &[f64]| v.iter().map(|x| (x - v.iter().sum::<f64>() / 3.0).powi(2)).sum::<f64>() / 2.0;
        let expected = ((variance(&values[..3]) + variance(&values[3..])) / 12.0).sqrt();
        let got = bootstrap.standard_error(&one(1.0));
        assert!((got / expected - 1.0).abs() < 0.045, "{got} {expected}");
    }

    #[test]
    fn the_same_seed_gives_the_same_bits_on_one_thread_and_on_many() {
        let values = [1.0, 4.0, 2.5, 10.0, 11.5, 9.0];
        let run = || Bootstrap::run(&[0, 0, 0, 1, 1, 1], 333, 42, mean(&values)).unwrap().deviations;
        let pool = |threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        assert_eq!(pool(1).install(run), pool(3).install(run));
    }

    #[test]
    fn draws_that_cannot_be_solved_are_counted_and_lone_laps_are_named() {
        // Of three laps two are drawn, so that (2/3)² of the draws miss the first, without which nothing is known.
        let solve = |counts: &[f64]| (counts[0] > 0.0).then(|| one(counts[0]));
        let bootstrap = Bootstrap::run(&[0, 0, 0, 5], 2000, 8, solve).unwrap();
        assert_eq!(bootstrap.lone_laps, 1);
        assert!((bootstrap.singular as f64 / 2000.0 - 4.0 / 9.0).abs() < 0.045, "{}", bootstrap.singular);
        assert_eq!(bootstrap.deviations.nrows() + bootstrap.singular, 2000);
        assert!(Bootstrap::run(&[0, 0], 10, 1, |_| None).is_err());
    }
}
