//! Standard error of a window's Crr from the scatter of its steps, respecting that neighbours are alike.
//!
//! Given the residual energies of the steps in order; gives the standard error of their mean by two methods. It
//! never decides what the window is.

use crate::uncertainty::serial::{batch_means, newey_west_of_mean};

/// Length of a batch is at least this, so that it spans several turns of a rider's attention, s
/// (common practice, no source).
const SHORTEST_BATCH_S: f64 = 15.0;
/// Fewer batches say nothing about their scatter, more would make them needlessly short.
const FEWEST_BATCHES: usize = 5;
const MOST_BATCHES: usize = 20;

/// Standard error of a mean by Newey–West and by batch means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    pub newey_west: f64,
    pub batch_means: f64,
    /// Batches less one.
    pub dof: f64,
}

impl Scatter {
    /// The larger of the two: both are low when the correlation outlasts their reach.
    pub fn standard_error(&self) -> f64 {
        self.newey_west.max(self.batch_means)
    }
}

/// Scatter of the mean of a series whose neighbours stand `spacing_s` apart, or `None` where it is too short to be cut
/// into batches.
pub fn scatter_of_mean(series: &[f64], spacing_s: f64) -> Option<Scatter> {
    let batches =
        ((series.len() as f64 * spacing_s / SHORTEST_BATCH_S) as usize).min(series.len() / 2).min(MOST_BATCHES);
    if batches < FEWEST_BATCHES {
        return None;
    }
    let lags = ((SHORTEST_BATCH_S / spacing_s).ceil() as usize).clamp(1, series.len() / 8);
    let by_batches = batch_means(series, batches)?;
    let newey_west = newey_west_of_mean(series, lags);
    Some(Scatter { newey_west, batch_means: by_batches.standard_error, dof: by_batches.dof })
}
