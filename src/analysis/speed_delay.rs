//! The delay of the speed reading on a track of known bends, from the account itself.
//!
//! Given a way to try a delay; gives the one with which laps repeat best, with its standard uncertainty.

use crate::circuit::SpeedDelay;
use rayon::prelude::*;

/// First and last coarse trial, s.
const COARSE_S: [f64; 2] = [-0.3, 1.5];
/// Steps of the coarse, the fine and the finest trials, s.
const STEPS_S: [f64; 3] = [0.15, 0.04, 0.01];
/// Steps to either side of the best so far.
const REACH: i32 = 3;
/// Share of the most laps that a delay must leave standing.
const STANDING: f64 = 0.9;

/// What a delay of the speed reading gives.
#[derive(Debug, Clone, Copy)]
pub struct DelayTrial {
    pub delay_s: f64,
    /// Laps that pass the screening; a wrong delay makes sound laps look spoiled.
    pub laps: usize,
    /// Scatter of a row of the account, m.
    pub scatter_m: f64,
}

/// The delay of the speed reading with which the laps of a track repeat best.
///
/// Between two bends load, speed and height of the centre of mass change within metres, so two metres of misplacement show
/// in every step (and move Crr by several per cent); lap marks alone leave that much open. Coarse first, then fine; what is
/// left open is the finest step.
pub fn by_scatter(trial: impl Fn(f64) -> Option<DelayTrial> + Sync) -> Option<SpeedDelay> {
    let best_of = |delays: Vec<f64>| {
        let tried: Vec<DelayTrial> = delays.into_par_iter().filter_map(&trial).collect();
        let most = tried.iter().map(|t| t.laps).max()?;
        tried
            .into_iter()
            .filter(|t| t.laps as f64 >= STANDING * most as f64)
            .min_by(|a, b| a.scatter_m.total_cmp(&b.scatter_m))
            .map(|t| t.delay_s)
    };
    let around = |centre: f64, step: f64| (-REACH..=REACH).map(|k| centre + f64::from(k) * step).collect::<Vec<f64>>();
    let [coarse, fine, finest] = STEPS_S;
    let count = ((COARSE_S[1] - COARSE_S[0]) / coarse).round() as i32;
    let mut best = best_of((0..=count).map(|k| COARSE_S[0] + f64::from(k) * coarse).collect())?;
    for step in [fine, finest] {
        best = best_of(around(best, step))?;
    }
    Some(SpeedDelay { mean_s: best, sd_s: finest })
}
