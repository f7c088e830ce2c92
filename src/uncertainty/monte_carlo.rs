//! Propagation of distributions: the model is evaluated on random inputs and the outputs are summarised.
//!
//! Given distributions of independent inputs, a model as a closure and a seed; gives mean, standard deviation and
//! coverage intervals of every output. The same seed gives the same result whatever the number of threads.
//!
//! Source: JCGM 101:2008, clauses 6.4, 7.2–7.7.

use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal, StudentT};
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;

use super::interval::Interval;
use crate::error::Error;

/// Draws that share a generator: few, so that a slow model keeps every core busy.
const BLOCK: usize = 64;

/// What is known of one input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum InputDistribution {
    /// A best estimate and a standard uncertainty (JCGM 101, 6.4.7).
    Normal { mean: f64, sd: f64 },
    /// Bounds and nothing else (6.4.2).
    Rectangular { low: f64, high: f64 },
    /// A mean of few readings: standard error and its degrees of freedom (6.4.9).
    Student { mean: f64, standard_error: f64, dof: f64 },
}

/// Summary of one output.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagated {
    pub mean: f64,
    pub sd: f64,
    /// Probabilistically symmetric.
    pub symmetric: Interval,
    pub shortest: Interval,
    /// Standard error of an end of the symmetric interval, the larger of both.
    pub end_se: f64,
    pub draws: usize,
    /// Draws for which the model gave no number; they are left out of the summary.
    pub failed: usize,
}

/// Propagate to `outputs` outputs; the model writes them into its second argument.
///
/// ```
/// use loopwright::uncertainty::monte_carlo::{InputDistribution, propagate};
/// let input = InputDistribution::Normal { mean: 3.0, sd: 0.1 };
/// let doubled = propagate(&[input], 1, 20_000, 0.95, 7, |x, y| y[0] = 2.0 * x[0])?;
/// assert!((doubled[0].sd - 0.2).abs() < 0.005);
/// # Ok::<(), loopwright::error::Error>(())
/// ```
pub fn propagate(
    inputs: &[InputDistribution],
    outputs: usize,
    draws: usize,
    coverage: f64,
    seed: u64,
    model: impl Fn(&[f64], &mut [f64]) + Sync,
) -> Result<Vec<Propagated>, Error> {
    check(inputs)?;
    let blocks: Vec<Vec<f64>> = (0..draws.div_ceil(BLOCK))
        .into_par_iter()
        .map(|block| {
            evaluate(inputs, outputs, BLOCK.min(draws - block * BLOCK), block_seed(seed, block as u64), &model)
        })
        .collect();
    let output_values =
        |output: usize| blocks.iter().flat_map(move |b| b.iter().skip(output).step_by(outputs)).copied();
    Ok((0..outputs).map(|output| summarise(output_values(output).collect(), coverage)).collect())
}

fn evaluate(
    inputs: &[InputDistribution],
    outputs: usize,
    draws: usize,
    seed: u64,
    model: &impl Fn(&[f64], &mut [f64]),
) -> Vec<f64> {
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut values = vec![f64::NAN; draws * outputs];
    let mut drawn = vec![0.0; inputs.len()];
    for output in values.chunks_exact_mut(outputs.max(1)) {
        for (value, input) in drawn.iter_mut().zip(inputs) {
            *value = input.draw(&mut generator);
        }
        model(&drawn, output);
    }
    values
}

fn summarise(mut values: Vec<f64>, coverage: f64) -> Propagated {
    let draws = values.len();
    values.retain(|value| value.is_finite());
    values.sort_by(f64::total_cmp);
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Propagated {
        mean,
        sd: (squares / (count - 1.0)).sqrt(),
        symmetric: Interval::symmetric(&values, coverage),
        shortest: Interval::shortest(&values, coverage),
        end_se: end_standard_error(&values, coverage),
        draws,
        failed: draws - values.len(),
    }
}

/// How many of M draws lie below a quantile is binomial, so the quantile lies within k = √(M a(1 − a)) ranks of its
/// estimate with the chance of one standard error, whatever the distribution; NaN when fewer draws lie outside.
fn end_standard_error(sorted: &[f64], coverage: f64) -> f64 {
    let count = sorted.len();
    let tail = 0.5 * (1.0 - coverage);
    let ranks = (count as f64 * tail * (1.0 - tail)).sqrt().ceil() as usize;
    let end = (count as f64 * tail) as usize;
    if end < ranks || end + ranks >= count {
        return f64::NAN;
    }
    let spread = |rank: usize| 0.5 * (sorted[rank + ranks] - sorted[rank - ranks]);
    spread(end).max(spread((count - 1 - end).min(count - 1 - ranks)))
}

impl InputDistribution {
    fn draw(&self, generator: &mut Xoshiro256PlusPlus) -> f64 {
        match *self {
            InputDistribution::Normal { mean, sd } => {
                let z: f64 = StandardNormal.sample(generator);
                mean + sd * z
            }
            InputDistribution::Rectangular { low, high } => low + (high - low) * generator.random::<f64>(),
            InputDistribution::Student { mean, standard_error, dof } => {
                // The degrees of freedom were checked to be positive, so the distribution exists.
                let t = StudentT::new(dof).map_or(f64::NAN, |t| t.sample(generator));
                mean + standard_error * t
            }
        }
    }

    fn is_sound(&self) -> bool {
        match *self {
            InputDistribution::Normal { mean, sd } => mean.is_finite() && sd.is_finite() && sd >= 0.0,
            InputDistribution::Rectangular { low, high } => low.is_finite() && high.is_finite() && low <= high,
            InputDistribution::Student { mean, standard_error, dof } => {
                mean.is_finite() && standard_error.is_finite() && standard_error >= 0.0 && dof.is_finite() && dof > 0.0
            }
        }
    }
}

fn check(inputs: &[InputDistribution]) -> Result<(), Error> {
    match inputs.iter().position(|input| !input.is_sound()) {
        None => Ok(()),
        Some(bad) => Err(Error::Numerical {
            stage: "propagation of distributions",
            message: format!(
                "input {} is {:?}; finite values, a width of at least 0 and positive degrees of freedom are needed",
                bad + 1,
                inputs[bad]
            ),
        }),
    }
}

/// A generator seed of its own for every block, mixed so that no two share a part of their first states
/// (Steele, Lea & Flood 2014, OOPSLA, fig. 10: the finaliser of SplitMix64).
fn block_seed(seed: u64, block: u64) -> u64 {
    let mut z = seed.wrapping_add(block.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15));
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_bits_on_one_thread_and_on_many() {
        let run = || {
            propagate(&[InputDistribution::Rectangular { low: 0.0, high: 1.0 }], 1, 30_000, 0.95, 3, |x, y| y[0] = x[0])
                .unwrap()
        };
        let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap().install(run);
        let many = rayon::ThreadPoolBuilder::new().num_threads(4).build().unwrap().install(run);
        assert_eq!(one, many);
    }

    #[test]
    fn a_model_that_sometimes_fails_is_counted() {
        // A half of the normal is negative and has no logarithm; binomial sd of the share is 0.005.
        let half =
            propagate(&[InputDistribution::Normal { mean: 0.0, sd: 1.0 }], 1, 10_000, 0.95, 1, |x, y| y[0] = x[0].ln())
                .unwrap();
        assert!((half[0].failed as f64 / 1e4 - 0.5).abs() < 0.025);
        assert!(half[0].mean.is_finite());
    }

    #[test]
    fn the_ends_of_an_interval_err_as_much_as_said() {
        // Asymptotically √(a(1 − a)/M)/f(q) for a normal: q = 1.96, f = 0.05845, so 2.67/√M.
        let ends: Vec<f64> = (0..200)
            .map(|seed| {
                propagate(&[InputDistribution::Normal { mean: 0.0, sd: 1.0 }], 1, 4_000, 0.95, seed, |x, y| y[0] = x[0])
                    .unwrap()[0]
                    .symmetric
                    .high
            })
            .collect();
        let mean = ends.iter().sum::<f64>() / 200.0;
        let sd = (ends.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / 199.0).sqrt();
        // Two hundred repetitions tell a standard deviation to 5 %.
        assert!((sd / (2.67 / 4_000f64.sqrt()) - 1.0).abs() < 0.2, "{sd}");
        let said =
            propagate(&[InputDistribution::Normal { mean: 0.0, sd: 1.0 }], 1, 4_000, 0.95, 1, |x, y| y[0] = x[0])
                .unwrap();
        assert!((said[0].end_se / sd - 1.0).abs() < 0.5, "{} {sd}", said[0].end_se);
    }

    #[test]
    fn a_negative_width_is_refused() {
        assert!(
            propagate(&[InputDistribution::Rectangular { low: 1.0, high: 0.0 }], 1, 10, 0.95, 1, |_, _| ()).is_err()
        );
    }
}
