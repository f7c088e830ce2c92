//! The pair of speeds that shows most, within what the rider can do.
//!
//! Given a plan; rides it without noise at pairs of speeds within its limits and predicts each. Pairs that cannot be
//! ridden on the loop, or need more power than stated, are left out.

use super::design::{DesignChoice, DesignRun};
use super::goal::Measure;
use super::prediction::{as_planned, predict};
use super::quiet::QuietDay;
use super::row_noise::RowNoise;
use crate::error::Error;
use crate::plan::{Plan, PlannedDay};
use rayon::prelude::*;
use serde::Serialize;

/// Speeds tried at each end of the range.
const TRIED: usize = 4;
/// Least difference of a pair, km/h.
const LEAST_APART_KM_H: f64 = 4.0;
/// A second speed about a planned one, as shares of it.
const PAIR: [f64; 2] = [0.83, 1.17];
/// Laps ridden of each set-up to know a pair.
const LAPS: usize = 6;

/// What a pair of speeds can show.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpeedPair {
    pub slow_km_h: f64,
    pub fast_km_h: f64,
    pub detectable: f64,
    /// Mean power of the fast laps.
    pub fast_power_w: f64,
}

/// The best pair and the range it was looked for in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeedAdvice {
    pub measure: Measure,
    pub slowest_km_h: f64,
    pub fastest_km_h: f64,
    pub most_power_w: Option<f64>,
    /// Whether the range was stated in `[limits]`.
    pub stated: bool,
    /// What the planned speeds show by the same reckoning; `None` where they cannot separate.
    pub planned: Option<f64>,
    pub best: Option<SpeedPair>,
}

/// The plan with other speeds, each set-up ridden once and only as long as is needed to know the laps.
///
/// Errors: those of riding it.
pub(super) fn with_speeds(plan: &Plan, speeds_km_h: &[f64]) -> Result<OtherSpeeds, Error> {
    let mut other = plan.clone();
    other.speeds_km_h = speeds_km_h.to_vec();
    other.powers_w.clear();
    other.order = plan.setups.iter().map(|s| s.id.clone()).collect();
    other.run_mass_kg.clear();
    other.run_tyre_temperature_c.clear();
    other.day = PlannedDay::default();
    other.on.clear();
    other.mishaps.clear();
    other.laps_per_run = plan.laps_per_run.min(LAPS.max(speeds_km_h.len()));
    other.check()?;
    let day = QuietDay::ride(&other)?;
    let runs = plan.order.iter().filter_map(|id| plan.setups.iter().position(|s| &s.id == id));
    let choice = DesignChoice {
        runs: runs.map(|setup| DesignRun { of: setup, setup }).collect(),
        laps: plan.laps_per_run.saturating_sub(day.laps_lost).max(1),
        ..as_planned(&day, plan)
    };
    Ok(OtherSpeeds { day, choice })
}

/// A plan ridden at other speeds.
pub(super) struct OtherSpeeds {
    pub(super) day: QuietDay,
    pub(super) choice: DesignChoice,
}

impl OtherSpeeds {
    pub(super) fn detectable(&self, noise: &RowNoise, measure: Measure) -> Option<f64> {
        measure.detectable(&predict(&self.day, &self.choice, noise).ok()?)
    }

    /// Largest mean power of a lap.
    fn hardest_lap_w(&self) -> f64 {
        let lap_w = |run: usize, lap: &super::quiet::QuietLap| {
            let edge_s = &lap.input.account.edge_s;
            let work = self.day.work(run);
            (work.at(edge_s[edge_s.len() - 1]) - work.at(edge_s[0])) / lap.duration_s
        };
        self.day
            .laps
            .iter()
            .enumerate()
            .flat_map(|(run, laps)| laps.iter().map(move |l| lap_w(run, l)))
            .fold(0.0, f64::max)
    }
}

/// Slowest and fastest that can be asked of the rider: what is stated, else a little about what is planned.
fn range_km_h(plan: &Plan) -> [f64; 2] {
    let planned = plan.lap_speeds_km_h();
    let slow = planned.iter().copied().fold(f64::MAX, f64::min);
    let fast = planned.iter().copied().fold(0.0, f64::max);
    let limits = &plan.limits;
    [
        limits.slowest_km_h.unwrap_or((0.8 * slow).max(12.0)).round(),
        limits.fastest_km_h.unwrap_or((1.1 * fast).min(80.0)).round(),
    ]
}

/// Two speeds about one, as far apart as a second speed usually is and the rider can hold, km/h.
pub(super) fn pair_about(plan: &Plan, speed_km_h: f64) -> [f64; 2] {
    let [slowest, fastest] = range_km_h(plan);
    PAIR.map(|share| (share * speed_km_h).round().clamp(slowest.min(speed_km_h), fastest.max(speed_km_h)))
}

/// Looks for the best pair.
pub(super) fn best_speeds(plan: &Plan, noise: &RowNoise, measure: Measure) -> SpeedAdvice {
    let planned = plan.lap_speeds_km_h();
    let l = &plan.limits;
    let [slowest_km_h, fastest_km_h] = range_km_h(plan);
    let span = fastest_km_h - slowest_km_h;
    let at = |share: f64| slowest_km_h + (share * span).round();
    let mut pairs = Vec::new();
    for i in 0..TRIED {
        for j in 0..TRIED {
            let (slow, fast) = (at(0.2 * i as f64), at(1.0 - 0.2 * j as f64));
            if fast - slow >= LEAST_APART_KM_H && !pairs.contains(&(slow, fast)) {
                pairs.push((slow, fast));
            }
        }
    }
    let tried: Vec<SpeedPair> = pairs
        .par_iter()
        .filter_map(|&(slow_km_h, fast_km_h)| {
            let other = with_speeds(plan, &[slow_km_h, fast_km_h]).ok()?;
            let fast_power_w = other.hardest_lap_w();
            if l.power_w.is_some_and(|most| fast_power_w > most) {
                return None;
            }
            Some(SpeedPair { slow_km_h, fast_km_h, detectable: other.detectable(noise, measure)?, fast_power_w })
        })
        .collect();
    SpeedAdvice {
        measure,
        slowest_km_h,
        fastest_km_h,
        most_power_w: l.power_w,
        stated: l.slowest_km_h.is_some() || l.fastest_km_h.is_some() || l.power_w.is_some(),
        planned: with_speeds(plan, &planned).ok().and_then(|o| o.detectable(noise, measure)),
        best: tried.into_iter().min_by(|a, b| a.detectable.total_cmp(&b.detectable)),
    }
}
