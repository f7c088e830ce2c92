//! The stretch of a roller ride at one speed, in blocks of ten seconds.
//!
//! Given the steps of a ride; gives blocks with their Crr, and the longest run of them at one speed. It knows nothing
//! of warm-up.

use super::account::{Inputs, Step, WindowSums};
use crate::error::Error;
use std::ops::Range;

/// Length of a block, s: long enough to average a meter's noise, short beside any warm-up.
pub const BLOCK_S: f64 = 10.0;
/// Least share of a block that must have been recorded.
const LEAST_COVERAGE: f64 = 0.5;
/// A block belongs to the stretch when its speed is within this share of the median.
const SPEED_BAND: f64 = 0.10;

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
/// Errors: those of [`Inputs::load_sum_n`].
pub fn blocks(steps: &[Step], inputs: &Inputs) -> Result<Vec<Block>, Error> {
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
pub fn steady_stretch(blocks: &[Block]) -> Range<usize> {
    let mut speeds: Vec<f64> = blocks.iter().map(Block::speed_m_s).collect();
    speeds.sort_by(f64::total_cmp);
    let Some(&median) = speeds.get(speeds.len() / 2) else { return 0..0 };
    let mut longest = 0..0;
    let mut start = 0;
    for (i, block) in blocks.iter().enumerate() {
        let steady = (block.speed_m_s() / median - 1.0).abs() <= SPEED_BAND;
        let follows = i > start && blocks.get(i - 1).is_some_and(|before| before.number + 1 == block.number);
        if !steady {
            start = i + 1;
        } else if !follows {
            start = i;
        }
        if i + 1 > start && i + 1 - start > longest.len() {
            longest = start..i + 1;
        }
    }
    longest
}
