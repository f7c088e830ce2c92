//! The stretch of a roller ride at one speed, in blocks of ten seconds.
//!
//! Given the steps of a ride; gives blocks with their Crr, and the longest run of them at one speed. It knows nothing
//! of warm-up.

use super::account::{DrumInputs, Step, WindowSums};
use crate::error::Error;
use std::ops::Range;

/// Length of a block, s: long enough to average a meter's noise, short beside any warm-up.
pub const BLOCK_S: f64 = 10.0;
/// Least share of a block that must have been recorded.
const LEAST_COVERAGE: f64 = 0.5;
/// A block belongs to the stretch when its speed is within this share of the median.
const SPEED_BAND: f64 = 0.10;
/// So many blocks in a row, and so far off, are forgiven (common practice, no source).
const MOST_EXCUSED: usize = 3;
const EXCUSED_BAND: f64 = 0.25;

/// Ten seconds of riding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Block {
    /// Which ten seconds, counted from the first record.
    pub number: u64,
    pub sums: WindowSums,
    pub crr_drum: f64,
}

impl Block {
    /// Middle of the block, s from the first record.
    pub fn middle_s(&self) -> f64 {
        (self.number as f64 + 0.5) * BLOCK_S
    }

    fn speed_m_s(&self) -> f64 {
        self.sums.distance_m / self.sums.duration_s
    }
}

/// Blocks that were recorded well enough and in which the wheel turned.
///
/// Errors: those of [`DrumInputs::load_sum_n`].
pub fn blocks(steps: &[Step], inputs: &DrumInputs) -> Result<Vec<Block>, Error> {
    let number_of = |step: &Step| (0.5 * (step.from_s + step.to_s) / BLOCK_S) as u64;
    let mut blocks = Vec::new();
    for group in steps.chunk_by(|a, b| number_of(a) == number_of(b)) {
        let mut sums = WindowSums::default();
        group.iter().for_each(|step| sums.add(&step.sums));
        let Some(first) = group.first() else { continue };
        if sums.duration_s >= LEAST_COVERAGE * BLOCK_S && sums.distance_m > sums.duration_s {
            blocks.push(Block { number: number_of(first), sums, crr_drum: inputs.crr_drum(&sums)? });
        }
    }
    Ok(blocks)
}

/// The longest run of neighbouring blocks within a tenth of the median speed; empty when there is none.
///
/// A few blocks in a row may leave the band, as when the rider looks up: the account holds at every speed, and the
/// stretch still begins and ends in it.
pub fn steady_stretch(blocks: &[Block]) -> Range<usize> {
    let mut speeds: Vec<f64> = blocks.iter().map(Block::speed_m_s).collect();
    speeds.sort_by(f64::total_cmp);
    let Some(&median) = speeds.get(speeds.len() / 2) else { return 0..0 };
    let mut longest = 0..0;
    let mut current: Option<Range<usize>> = None;
    let mut before: Option<&Block> = None;
    for (i, block) in blocks.iter().enumerate() {
        let off = (block.speed_m_s() / median - 1.0).abs();
        let follows = before.is_some_and(|b| b.number + 1 == block.number);
        let excused = |stretch: &Range<usize>| off <= EXCUSED_BAND && i - stretch.end < MOST_EXCUSED;
        current = match current {
            Some(stretch) if follows && off <= SPEED_BAND => Some(stretch.start..i + 1),
            Some(stretch) if follows && excused(&stretch) => Some(stretch),
            _ if off <= SPEED_BAND => Some(i..i + 1),
            _ => None,
        };
        if let Some(stretch) = current.as_ref().filter(|s| s.len() > longest.len()) {
            longest = stretch.clone();
        }
        before = Some(block);
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ride(speeds: &[f64]) -> Vec<Block> {
        let block = |(number, speed): (usize, &f64)| Block {
            number: number as u64,
            sums: WindowSums { duration_s: BLOCK_S, distance_m: speed * BLOCK_S, ..WindowSums::default() },
            crr_drum: 0.009,
        };
        speeds.iter().enumerate().map(block).collect()
    }

    #[test]
    fn a_short_excursion_does_not_end_the_stretch_and_a_long_one_does() {
        let glance = [[5.0, 8.0].as_slice(), &[10.0; 20], &[11.5, 12.0, 11.2], &[10.0; 9], &[7.0]].concat();
        assert_eq!(steady_stretch(&ride(&glance)), 2..34);
        let sprint = [[10.0; 20].as_slice(), &[12.0; 4], &[10.0; 9]].concat();
        assert_eq!(steady_stretch(&ride(&sprint)), 0..20);
        let stop = [[10.0; 9].as_slice(), &[3.0], &[10.0; 20]].concat();
        assert_eq!(steady_stretch(&ride(&stop)), 10..30);
    }

    #[test]
    fn a_missing_block_ends_the_stretch() {
        let mut blocks = ride(&[10.0; 30]);
        blocks.remove(12);
        assert_eq!(steady_stretch(&blocks), 12..29);
        assert_eq!(steady_stretch(&[]), 0..0);
    }
}
