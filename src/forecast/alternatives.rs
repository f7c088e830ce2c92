//! What a change of plan would buy: another speed, a survey, more rounds, calmer air, sharing what does not change.
//!
//! Given a plan and its day without noise; predicts each change on its own. It recommends nothing that it has not
//! predicted.

use super::design::{DesignChoice, DesignRun};
use super::goal::Measure;
use super::in_words::{laps_of_each, place_of};
use super::prediction::predict;
use super::quiet::QuietDay;
use super::row_noise::RowNoise;
use super::speeds::{pair_about, with_speeds};
use crate::plan::Plan;
use crate::session::Sharing;
use rayon::prelude::*;
use serde::Serialize;

/// Survey that is supposed where none is planned, m (levelling by hand; common practice, no source).
const SURVEY_SD_M: f64 = 0.02;
/// Rounds of the whole order that are looked at.
const MOST_ROUNDS: usize = 6;

/// One change and what could be found with it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alternative {
    /// "a levelled survey of the loop (± 0.02 m)".
    pub change: String,
    pub detectable: Option<f64>,
}

/// All changes that make sense for a plan, none combined.
pub(super) fn alternatives(
    plan: &Plan,
    day: &QuietDay,
    choice: &DesignChoice,
    noise: &RowNoise,
    measure: Measure,
) -> Vec<Alternative> {
    let mut list: Vec<(String, DesignChoice, RowNoise)> = Vec::new();
    let mut change = |text: String, choice: DesignChoice, noise: RowNoise| list.push((text, choice, noise));
    change("the whole order ridden twice".into(), rounds(choice, 2), *noise);
    let more = 2 * choice.laps.div_ceil(day.cycle).max(1) * day.cycle;
    change(laps_of_each(plan, more + day.laps_lost), DesignChoice { laps: more, ..choice.clone() }, *noise);
    match choice.survey_sd_m {
        None => change(
            format!("a levelled survey of the {} (± {SURVEY_SD_M} m)", place_of(plan)),
            DesignChoice { survey_sd_m: Some(SURVEY_SD_M), ..choice.clone() },
            *noise,
        ),
        Some(_) => {
            change("without the survey".into(), DesignChoice { survey_sd_m: None, ..choice.clone() }, *noise);
        }
    }
    let several = plan.setups.len() > 1;
    let same = |f: fn(&crate::plan::PlannedSetup) -> f64| plan.setups.windows(2).all(|w| f(&w[0]) == f(&w[1]));
    if several && choice.cda == Sharing::PerSetup && measure != Measure::CdaM2 && same(|s| s.cda_m2) {
        let common = DesignChoice { cda: Sharing::Common, ..choice.clone() };
        change("CdA held common (cda = \"common\"), as only the tyres change".into(), common, *noise);
    }
    if several && choice.crr == Sharing::PerSetup && measure != Measure::Crr && same(|s| s.crr) {
        let common = DesignChoice { crr: Sharing::Common, ..choice.clone() };
        change("Crr held common (crr = \"common\"), as only the position changes".into(), common, *noise);
    }
    if noise.gust_sd_m_s() > 0.0 {
        change("a day with gusts half as strong".into(), choice.clone(), noise.with_gusts(0.5 * noise.gust_sd_m_s()));
    }
    if day.supposes_changes() {
        let alike = DesignChoice { runs_alike: true, ..choice.clone() };
        change("a day on which nothing changes from run to run, as rehearsed".into(), alike, *noise);
    }
    if plan.uncertainty.mass_kg > 0.0 {
        change("weighing twice as well".into(), DesignChoice { weighing: 0.5, ..choice.clone() }, *noise);
    }
    let mut found: Vec<Alternative> = list
        .into_par_iter()
        .map(|(change, choice, noise)| Alternative {
            change,
            detectable: predict(day, &choice, &noise).ok().and_then(|p| measure.detectable(&p)),
        })
        .collect();
    found.extend(speeds(plan, noise, measure));
    found
}

/// A second speed where one is planned; the mean speed alone where there are two.
fn speeds(plan: &Plan, noise: &RowNoise, measure: Measure) -> Option<Alternative> {
    let distinct = plan.distinct_speeds_km_h();
    let mean = distinct.iter().sum::<f64>() / distinct.len() as f64;
    let one = distinct.len() == 1;
    let speeds: Vec<f64> = if one { pair_about(plan, mean).to_vec() } else { vec![mean.round()] };
    let detectable = with_speeds(plan, &speeds).ok()?.detectable(noise, measure);
    let change = if one {
        format!("laps in turn at {:.0} and {:.0} km/h", speeds[0], speeds[1])
    } else {
        format!("one speed only, {:.0} km/h", speeds[0])
    };
    Some(Alternative { change, detectable })
}

/// The whole order several times over, turned about in every second round.
pub(super) fn rounds(choice: &DesignChoice, count: usize) -> DesignChoice {
    let forward = choice.runs.iter().copied();
    let runs: Vec<DesignRun> = (0..count)
        .flat_map(|r| if r % 2 == 0 { forward.clone().collect::<Vec<_>>() } else { forward.clone().rev().collect() })
        .collect();
    DesignChoice { runs, ..choice.clone() }
}

/// Fewest rounds of the whole order with which a target is reached.
pub(super) fn rounds_needed(
    day: &QuietDay,
    choice: &DesignChoice,
    noise: &RowNoise,
    measure: Measure,
    target: f64,
) -> Option<usize> {
    (2..=MOST_ROUNDS).find(|&count| {
        predict(day, &rounds(choice, count), noise)
            .ok()
            .and_then(|p| measure.detectable(&p))
            .is_some_and(|d| d <= target)
    })
}
