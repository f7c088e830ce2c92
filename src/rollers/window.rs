//! Where the warm-up is over: the part of a steady stretch that the value is taken from.
//!
//! Given blocks of Crr and the fitted decay; gives the earliest window to the end of the stretch in which what is left
//! of the decay, on average, is below the noise of the window's mean, and no trend shows. It never corrects Crr for
//! what is left: that is carried as uncertainty.

use super::SHORTEST_WINDOW_S;
use super::steady::{BLOCK_S, Block};
use super::warm_up::WarmUp;
use std::ops::Range;

/// How much the window may later lose, half at each end, to make its end speeds alike, s.
pub const TRIM_S: f64 = 10.0;
/// Share of Crr that may be left of the warm-up when a run is too short for the rule above. More than twice the usual
/// uncertainty of a power meter's scale (1 %) would make it the largest error of all.
const MOST_REMAINING: f64 = 0.02;
/// Two-sided normal quantile at 99 %: a trend beyond it is not noise.
const TREND: f64 = 2.576;

/// A window over the blocks of the stretch.
#[derive(Debug, Clone, PartialEq)]
pub struct Window {
    pub blocks: Range<usize>,
    /// Mean over the window of what is left of the decay, in Crr on the drums; negative when Crr rises.
    pub remaining: f64,
    /// Whether what is left is below the noise and no trend shows.
    pub settled: bool,
}

/// Why there is no window.
#[derive(Debug, Clone, PartialEq)]
pub enum Refusal {
    /// The steady stretch is shorter than [`SHORTEST_WINDOW_S`] allows.
    TooShort { steady_s: f64 },
    /// Crr still moves at the end, by this share of itself.
    StillWarming { share: f64 },
}

/// Mean of the remaining decay over some blocks.
pub fn remaining(warm_up: &WarmUp, blocks: &[Block]) -> f64 {
    let Some(decay) = warm_up.decay else { return 0.0 };
    blocks.iter().map(|b| decay.remaining(b.middle_s())).sum::<f64>() / blocks.len().max(1) as f64
}

/// Change of Crr over the blocks along a straight line, and the same in standard errors.
struct Trend {
    change: f64,
    standard_errors: f64,
}

impl Trend {
    /// Whether it is more than noise.
    fn shows(&self) -> bool {
        self.standard_errors.abs() > TREND
    }
}

fn trend(blocks: &[Block], noise: f64) -> Trend {
    let count = blocks.len() as f64;
    let middle = blocks.iter().map(Block::middle_s).sum::<f64>() / count;
    let square: f64 = blocks.iter().map(|b| (b.middle_s() - middle).powi(2)).sum();
    let slope = blocks.iter().map(|b| (b.middle_s() - middle) * b.crr_drum).sum::<f64>() / square;
    Trend { change: slope * count * BLOCK_S, standard_errors: slope * square.sqrt() / noise }
}

/// The earliest window that has settled, else the latest that is allowed.
///
/// `noise` of the warm-up is the long-run standard deviation of a block, so that σ/√n is the standard error of a mean
/// and σ/√Σ(t − t̄)² that of a slope, serial correlation included.
pub fn choose(blocks: &[Block], warm_up: &WarmUp) -> Result<Window, Refusal> {
    let needed = ((SHORTEST_WINDOW_S + TRIM_S) / BLOCK_S).ceil() as usize;
    let Some(latest) = blocks.len().checked_sub(needed) else {
        return Err(Refusal::TooShort { steady_s: blocks.len() as f64 * BLOCK_S });
    };
    let window =
        |start: usize, settled: bool, remaining: f64| Window { blocks: start..blocks.len(), remaining, settled };
    for start in 0..=latest {
        let part = &blocks[start..];
        let left = remaining(warm_up, part);
        let standard_error = warm_up.noise / (part.len() as f64).sqrt();
        if left.abs() <= standard_error && !trend(part, warm_up.noise).shows() {
            return Ok(window(start, true, left));
        }
    }
    let part = &blocks[latest..];
    let mean = part.iter().map(|b| b.crr_drum).sum::<f64>() / part.len() as f64;
    let left = remaining(warm_up, part);
    let line = trend(part, warm_up.noise);
    // Along a line half of the change is, on average, still to come.
    let drift = if line.shows() { 0.5 * line.change.abs() } else { 0.0 };
    let share = left.abs().max(drift) / mean.abs();
    if share <= MOST_REMAINING { Ok(window(latest, false, left)) } else { Err(Refusal::StillWarming { share }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rollers::account::WindowSums;
    use crate::rollers::warm_up::fit;

    /// Blocks of a decay with a small, regular wobble.
    fn ride(seconds: u64, time_constant_s: f64, amplitude: f64) -> Vec<Block> {
        (0..seconds / BLOCK_S as u64)
            .map(|number| {
                let t = (number as f64 + 0.5) * BLOCK_S;
                let wobble = 4e-5 * (number as f64 * 2.4).sin();
                let crr_drum = 0.009 + amplitude * (-t / time_constant_s).exp() + wobble;
                Block { number, sums: WindowSums::default(), crr_drum }
            })
            .collect()
    }

    fn chosen(blocks: &[Block]) -> Result<Window, Refusal> {
        let time_s: Vec<f64> = blocks.iter().map(Block::middle_s).collect();
        let crr: Vec<f64> = blocks.iter().map(|b| b.crr_drum).collect();
        choose(blocks, &fit(&time_s, &crr, BLOCK_S))
    }

    #[test]
    fn the_window_opens_when_the_decay_is_lost_in_the_noise() {
        let ride = ride(1800, 200.0, 0.0013);
        let window = chosen(&ride).unwrap();
        let start_s = window.blocks.start as f64 * BLOCK_S;
        // The wobble is regular, so its mean is known much better than random noise would allow: several time
        // constants must pass, and yet not the whole ride.
        assert!(window.settled && (600.0..1400.0).contains(&start_s), "{start_s}");
    }

    #[test]
    fn without_a_warm_up_the_whole_stretch_is_used() {
        let window = chosen(&ride(600, 200.0, 0.0)).unwrap();
        assert_eq!((window.blocks.start, window.remaining, window.settled), (0, 0.0, true));
    }

    #[test]
    fn a_ride_that_ends_while_warming_up_has_no_window() {
        let refusal = chosen(&ride(400, 300.0, 0.0013)).unwrap_err();
        assert!(matches!(refusal, Refusal::StillWarming { share } if share > 0.02), "{refusal:?}");
    }

    #[test]
    fn a_ride_of_three_minutes_is_too_short_whatever_it_shows() {
        assert_eq!(chosen(&ride(180, 200.0, 0.0)), Err(Refusal::TooShort { steady_s: 180.0 }));
    }
}
