//! A profile that is known before the fit: a survey, shifted to where it belongs, or a track that is level.
//!
//! Given the survey or the statement, the laps as cut and a first solution; gives the heights of the steps.

use crate::circuit::{LapCut, Survey};
use crate::solve::fit::{LoopFit, SurveyedSteps};

/// Standard deviation of the heights of a track that is level, and the least scatter of a row against which it is weighed, m
/// (common practice, no source).
const LEVEL_SD_M: f64 = 0.02;
const LEVEL_LEAST_ROW_SD_M: f64 = 0.01;

/// The survey on the steps, shifted along the loop to where it fits the reconstructed profile best.
///
/// A survey counts from its own gate; where the session names no gate the one found may lie elsewhere.
pub(super) fn align_survey(survey: &Survey, cut: &LapCut, fit: &LoopFit) -> SurveyedSteps {
    // By the length that is known without the wheel, whose size may be off.
    let length_m = cut.lengths.known().map_or(cut.length_m, |known| known.length_m);
    let gains = |shift: f64| -> Vec<f64> {
        let heights = survey.heights(length_m, cut.edge.iter().map(|share| share + shift));
        heights.windows(2).map(|w| w[1] - w[0]).collect()
    };
    let misfit = |shift: f64| gains(shift).iter().zip(&fit.profile_m).map(|(s, p)| (s - p).powi(2)).sum::<f64>();
    let fine = (cut.length_m / 2.0).ceil() as usize;
    let best = (0..fine).map(|i| i as f64 / fine as f64).min_by(|a, b| misfit(*a).total_cmp(&misfit(*b)));
    SurveyedSteps { gain_m: gains(best.unwrap_or(0.0)), sd_m: survey.sd_m, least_row_sd_m: 0.0 }
}

/// A track that was stated to be level. It is never taken as exactly so: what repeats in every lap, such as a rider who leans
/// otherwise than a rigid body, would pass for drag.
pub(super) fn level(cut: &LapCut) -> SurveyedSteps {
    SurveyedSteps { gain_m: vec![0.0; cut.edge.len() - 1], sd_m: LEVEL_SD_M, least_row_sd_m: LEVEL_LEAST_ROW_SD_M }
}
