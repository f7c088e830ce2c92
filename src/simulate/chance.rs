//! Random numbers of a rehearsal: one stream for each purpose of each run, and slow wandering.
//!
//! Given a seed; gives the same numbers on every machine. A stream for each purpose keeps the wind the same when
//! only a sensor changes, so that two plans can be compared on the same day. It never asks the clock.

use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// What a stream is drawn for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Purpose {
    Instruments = 1,
    Masses,
    Survey,
    Gusts,
    Rider,
    PowerMeter,
    Speed,
    Position,
    Altitude,
    LapMarks,
    RunToRun,
    Junction,
}

/// The stream of one purpose in one run; purposes of the whole day take run 0.
pub(super) fn stream(seed: u64, run: usize, purpose: Purpose) -> Xoshiro256PlusPlus {
    // Odd multipliers spread the three numbers over the word; the generator's own seeding mixes them.
    let word = seed
        .wrapping_mul(0x9e37_79b9_7f4a_7c15)
        .wrapping_add((run as u64).wrapping_mul(0xd1b5_4a32_d192_ed03))
        .wrapping_add((purpose as u64).wrapping_mul(0x8cb9_2ba7_2f3d_8dd7));
    Xoshiro256PlusPlus::seed_from_u64(word)
}

/// One standard normal number.
pub(super) fn normal(random: &mut Xoshiro256PlusPlus) -> f64 {
    StandardNormal.sample(random)
}

/// A stationary first-order autoregressive process (Ornstein–Uhlenbeck), sampled at equal steps.
///
/// xₙ₊₁ = a xₙ + σ √(1 − a²) N(0, 1) with a = exp(−Δt/τ): exact for any step.
#[derive(Debug, Clone)]
pub(super) struct Wander {
    keep: f64,
    kick: f64,
    pub(super) value: f64,
}

impl Wander {
    /// With standard deviation, correlation time and step; the first value is drawn from the stationary law.
    pub(super) fn new(sd: f64, time_s: f64, step_s: f64, random: &mut Xoshiro256PlusPlus) -> Wander {
        let keep = if time_s > 0.0 { (-step_s / time_s).exp() } else { 0.0 };
        Wander { keep, kick: sd * (1.0 - keep * keep).sqrt(), value: sd * normal(random) }
    }

    pub(super) fn advance(&mut self, random: &mut Xoshiro256PlusPlus) -> f64 {
        self.value = self.keep * self.value + self.kick * normal(random);
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gust_has_the_stated_deviation_and_forgets_at_the_stated_rate() {
        // Autocorrelation exp(−lag/τ) and variance σ² follow from the definition. A day of 20 000 s holds about
        // 20000/2τ = 3300 independent values, so the standard deviation is known to 1.2 % and a correlation to 0.02.
        let mut random = stream(7, 0, Purpose::Gusts);
        let (sd, time_s, step_s) = (0.6, 3.0, 0.01);
        let mut gust = Wander::new(sd, time_s, step_s, &mut random);
        let x: Vec<f64> = (0..2_000_000).map(|_| gust.advance(&mut random)).collect();
        let n = x.len() as f64;
        let mean = x.iter().sum::<f64>() / n;
        let covariance =
            |lag: usize| x.iter().zip(&x[lag..]).map(|(a, b)| (a - mean) * (b - mean)).sum::<f64>() / (n - lag as f64);
        let variance = covariance(0);
        assert!((variance.sqrt() / sd - 1.0).abs() < 0.04, "{}", variance.sqrt());
        for lag_s in [1.0_f64, 3.0, 6.0] {
            let found = covariance((lag_s / step_s) as usize) / variance;
            assert!((found - (-lag_s / time_s).exp()).abs() < 0.06, "{lag_s} s: {found}");
        }
    }

    #[test]
    fn streams_of_neighbouring_seeds_runs_and_purposes_differ() {
        let first = |seed, run, purpose| normal(&mut stream(seed, run, purpose));
        let values = [
            first(1, 0, Purpose::Gusts),
            first(2, 0, Purpose::Gusts),
            first(1, 1, Purpose::Gusts),
            first(1, 0, Purpose::Rider),
        ];
        for i in 0..4 {
            for j in 0..i {
                assert_ne!(values[i], values[j]);
            }
        }
    }
}
