//! How many laps a set-up needs, and what each number of laps can show in different winds.
//!
//! Given a day without noise and the noise; repeats the prediction with more and fewer laps. It assumes that the day stays
//! as it is, however long it gets.

use super::design::DesignChoice;
use super::goal::{Goal, Measure};
use super::prediction::{Prediction, predict};
use super::quiet::QuietDay;
use super::row_noise::RowNoise;
use rayon::prelude::*;
use serde::Serialize;

/// Most laps of a run that are looked at.
const MOST_LAPS: usize = 64;
/// Longest run, s.
const LONGEST_RUN_S: f64 = 4.0 * 3600.0;
/// A rise of less is no matter.
const RISES_FROM: f64 = 1.02;
/// Laps of the figure.
const SHOWN: [usize; 10] = [2, 4, 6, 8, 10, 12, 16, 20, 24, 32];

/// Whether a target is reached, and with how many laps.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GoalReached {
    pub goal: Goal,
    /// With the plan as it is; `None` where it can show nothing of the kind.
    pub detectable: Option<f64>,
    pub reached: bool,
    /// Laps to plan for each run; `None` when no number of laps is enough.
    pub laps_per_run: Option<usize>,
    /// The same counted for a set-up, whole laps that can be used.
    pub laps_per_setup: Option<usize>,
    /// Most laps of a run that were looked at, and what they would show; 0 on rollers.
    pub most_laps_per_run: usize,
    pub with_most_laps: Option<f64>,
}

impl GoalReached {
    /// A target judged without looking at other numbers of laps.
    pub(super) fn of(goal: Goal, prediction: &Prediction) -> GoalReached {
        let detectable = goal.measure.detectable(prediction);
        GoalReached {
            goal,
            detectable,
            reached: detectable.is_some_and(|d| d <= goal.target),
            laps_per_run: None,
            laps_per_setup: None,
            most_laps_per_run: 0,
            with_most_laps: None,
        }
    }

    /// The same where more than the loop finds `found`, if that is less.
    pub(super) fn or_with(self, found: Option<f64>) -> GoalReached {
        let detectable = match (self.detectable, found) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
        GoalReached { detectable, reached: detectable.is_some_and(|d| d <= self.goal.target), ..self }
    }
}

/// Detectable watts against laps for a few winds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LapsTable {
    /// Whole laps of each set-up.
    pub laps_per_setup: Vec<usize>,
    pub winds: Vec<WindLine>,
}

impl LapsTable {
    /// Whether somewhere more laps find clearly less than fewer: scatter is then small against what changes from run to
    /// run, which few runs tell with few degrees of freedom.
    pub fn rises(&self) -> bool {
        let rises = |w: &[Option<f64>]| matches!(w, [Some(few), Some(more)] if *more > RISES_FROM * few);
        self.winds.iter().any(|wind| wind.detectable_power_w.windows(2).any(rises))
    }
}

/// One wind of the table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WindLine {
    pub gust_sd_m_s: f64,
    /// Smallest difference in watts that every planned comparison finds; `null` where none can be told.
    pub detectable_power_w: Vec<Option<f64>>,
}

/// A prediction that is asked again with other numbers of laps.
#[derive(Clone, Copy)]
pub(super) struct Laps<'a> {
    pub(super) day: &'a QuietDay,
    pub(super) choice: &'a DesignChoice,
    pub(super) noise: &'a RowNoise,
}

impl Laps<'_> {
    fn detectable(&self, laps: usize, noise: &RowNoise, measure: Measure) -> Option<f64> {
        let choice = DesignChoice { laps, ..self.choice.clone() };
        measure.detectable(&predict(self.day, &choice, noise).ok()?)
    }

    /// Whole cycles of planned speeds, in laps, up to what fits into a run.
    fn numbers(&self) -> Vec<usize> {
        let ridden = &self.day.laps[0];
        let lap_s = ridden.iter().map(|l| l.duration_s).sum::<f64>() / ridden.len() as f64;
        let most = ((LONGEST_RUN_S / lap_s) as usize).min(MOST_LAPS);
        let cycle = self.day.cycle;
        (1..=most / cycle).map(|k| k * cycle).filter(|laps| *laps >= 2).collect()
    }

    /// Average number of runs of a set-up.
    fn runs_of_setup(&self) -> f64 {
        self.choice.runs.len() as f64 / self.day.session.setups.len().max(1) as f64
    }

    /// Judges one target.
    pub(super) fn judge(&self, goal: Goal) -> GoalReached {
        let now = self.detectable(self.choice.laps, self.noise, goal.measure);
        let enough = |d: Option<f64>| d.is_some_and(|d| d <= goal.target);
        let numbers = self.numbers();
        let most = numbers.last().copied().unwrap_or(self.choice.laps);
        let with_most = self.detectable(most, self.noise, goal.measure);
        // Each in turn: with few runs what is detectable need not fall with every lap (see `LapsTable::rises`).
        let needed = numbers.par_iter().find_first(|n| enough(self.detectable(**n, self.noise, goal.measure))).copied();
        GoalReached {
            goal,
            detectable: now,
            reached: enough(now),
            laps_per_run: needed.map(|n| n + self.day.laps_lost),
            laps_per_setup: needed.map(|n| (n as f64 * self.runs_of_setup()).round() as usize),
            most_laps_per_run: most + self.day.laps_lost,
            with_most_laps: with_most,
        }
    }

    /// The table of the figure: half, once and twice the gusts of the plan.
    pub(super) fn table(&self) -> LapsTable {
        let planned = self.noise.gust_sd_m_s();
        let gusts = if planned > 0.0 { [0.5 * planned, planned, 2.0 * planned] } else { [0.0, 0.2, 0.4] };
        let numbers: Vec<usize> = {
            let possible = self.numbers();
            let cycle = self.day.cycle;
            let mut shown: Vec<usize> =
                SHOWN.iter().map(|n| n.div_ceil(cycle) * cycle).filter(|n| possible.contains(n)).collect();
            shown.dedup();
            shown
        };
        let winds = gusts
            .par_iter()
            .map(|&gust_sd_m_s| WindLine {
                gust_sd_m_s,
                detectable_power_w: numbers
                    .par_iter()
                    .map(|&n| self.detectable(n, &self.noise.with_gusts(gust_sd_m_s), Measure::PowerW))
                    .collect(),
            })
            .collect();
        let per_setup = |n: &usize| (*n as f64 * self.runs_of_setup()).round() as usize;
        LapsTable { laps_per_setup: numbers.iter().map(per_setup).collect(), winds }
    }
}
