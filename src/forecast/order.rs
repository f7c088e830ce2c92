//! Orders of riding the set-ups, compared by what a drift through the day leaves in the differences.
//!
//! Given a plan; gives the planned order, there and back, in turn, in blocks and shuffled by the plan's seed, each with
//! what is left of a drift and what fitting a drift costs. Nothing here knows whether the day will drift.

use super::design::{DesignChoice, DesignRun};
use super::goal::Measure;
use super::prediction::predict;
use super::quiet::QuietDay;
use super::row_noise::RowNoise;
use crate::compare::balanced_order::{balanced, carry_over_gap};
use crate::compare::order::{drift_left, pairs_in_time};
use crate::plan::Plan;
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;
use serde::Serialize;

/// One order and what a drift does to it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OrderForecast {
    /// "as planned", "there and back", "there and back by a Williams design", "in turn", "in blocks", "shuffled with seed 1".
    pub name: String,
    pub order: Vec<String>,
    /// What is left in the worst difference with the baseline of a drift of 1 W an hour, W.
    pub left_of_steady_drift_w: f64,
    /// The same for a drift of 1 W an hour that grows by the hour, 1 W/h².
    pub left_of_growing_drift_w: f64,
    /// Largest less smallest number of times that one set-up follows another one: what a run leaves to the next is then uneven.
    pub carry_over_gap: usize,
    /// Whether a difference cannot be told from the drift.
    pub confounded: bool,
    /// Detectable watts when a drift of Crr is fitted with everything else.
    pub detectable_with_drift_fitted_w: Option<f64>,
}

/// Compares orders on a loop; none where there is nothing to order.
pub(super) fn orders(plan: &Plan, day: &QuietDay, choice: &DesignChoice, noise: &RowNoise) -> Vec<OrderForecast> {
    let run_s = day.laps[0].iter().map(|l| l.duration_s).sum::<f64>();
    let template = |setup: usize| choice.runs.iter().find(|r| r.setup == setup).map_or(0, |r| r.of);
    compared(plan, run_s, &|order| {
        let with_drift = DesignChoice {
            runs: order.iter().map(|&setup| DesignRun { of: template(setup), setup }).collect(),
            crr_drift: true,
            ..choice.clone()
        };
        Measure::PowerW.detectable(&predict(day, &with_drift, noise).ok()?)
    })
}

/// Compares orders on rollers, where no drift is fitted.
pub(super) fn orders_on_rollers(plan: &Plan) -> Vec<OrderForecast> {
    compared(plan, plan.run_duration_s, &|_| None)
}

fn compared(plan: &Plan, run_s: f64, fitted: &(dyn Fn(&[usize]) -> Option<f64> + Sync)) -> Vec<OrderForecast> {
    let setups = plan.setups.len();
    if setups < 2 {
        return Vec::new();
    }
    let index = |id: &str| plan.setups.iter().position(|s| s.id == id).unwrap_or(0);
    let planned: Vec<usize> = plan.order.iter().map(|id| index(id)).collect();
    let baseline = plan.baseline.as_deref().map_or(0, index);
    let rounds = planned.len().div_ceil(setups).max(2);
    let mut list: Vec<(String, Vec<usize>)> = vec![("as planned".into(), planned)];
    list.push(("there and back".into(), there_and_back(setups, rounds)));
    list.push(("there and back by a Williams design".into(), balanced(setups, rounds)));
    list.push(("in turn".into(), (0..rounds).flat_map(|_| 0..setups).collect()));
    list.push(("in blocks".into(), (0..setups).flat_map(|s| vec![s; rounds]).collect()));
    list.push((format!("shuffled with seed {}", plan.seed), shuffled(setups, rounds, plan.seed)));
    let mut seen: Vec<Vec<usize>> = Vec::new();
    list.retain(|(_, order)| {
        let new = !seen.contains(order);
        seen.push(order.clone());
        new
    });
    let slot_h = (run_s + plan.pause_between_runs_s) / 3600.0;
    list.par_iter()
        .map(|(name, order)| {
            let worst = |power: i32| {
                (0..setups)
                    .filter(|s| *s != baseline)
                    .map(|s| drift_left(&relabelled(order, baseline, s), power).abs())
                    .fold(0.0, f64::max)
            };
            let times: Vec<f64> = (0..order.len()).map(|slot| slot as f64 * slot_h).collect();
            OrderForecast {
                name: name.clone(),
                order: order.iter().map(|&s| plan.setups[s].id.clone()).collect(),
                left_of_steady_drift_w: worst(1) * slot_h,
                left_of_growing_drift_w: worst(2) * slot_h * slot_h,
                carry_over_gap: carry_over_gap(order, setups),
                confounded: pairs_in_time(order, &times).iter().any(|p| p.is_confounded()),
                detectable_with_drift_fitted_w: fitted(order),
            }
        })
        .collect()
}

/// A B C C B A, as often as there are rounds.
fn there_and_back(setups: usize, rounds: usize) -> Vec<usize> {
    (0..rounds).flat_map(|r| (0..setups).map(move |s| if r % 2 == 0 { s } else { setups - 1 - s })).collect()
}

/// Every set-up once in each round, in an order drawn for the round, so that no set-up is bunched.
fn shuffled(setups: usize, rounds: usize, seed: u64) -> Vec<usize> {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    (0..rounds)
        .flat_map(|_| {
            let mut round: Vec<usize> = (0..setups).collect();
            round.shuffle(&mut random);
            round
        })
        .collect()
}

/// The baseline as 0, the other as 1, everything else out of the way.
fn relabelled(order: &[usize], baseline: usize, other: usize) -> Vec<usize> {
    let label = |s: usize| match s {
        s if s == baseline => 0,
        s if s == other => 1,
        _ => 2,
    };
    order.iter().map(|&s| label(s)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_cancels_a_steady_drift_for_every_pair() {
        // Symmetry: each set-up's slots lie evenly about the middle.
        let order = there_and_back(3, 2);
        assert_eq!(order, [0, 1, 2, 2, 1, 0]);
        for s in [1, 2] {
            assert_eq!(drift_left(&relabelled(&order, 0, s), 1), 0.0);
        }
        // Squares of the slots: A 0 and 25, C 4 and 9, so a growing drift leaves 6.5 − 12.5 = −6.
        assert_eq!(drift_left(&relabelled(&order, 0, 2), 2), -6.0);
    }

    #[test]
    fn a_shuffle_is_fair_in_every_round_and_the_same_for_a_seed() {
        let order = shuffled(4, 3, 7);
        assert_eq!(order, shuffled(4, 3, 7));
        assert_ne!(order, shuffled(4, 3, 8));
        for round in order.chunks(4) {
            let mut sorted = round.to_vec();
            sorted.sort_unstable();
            assert_eq!(sorted, [0, 1, 2, 3]);
        }
    }
}
