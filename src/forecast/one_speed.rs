//! A plan at one speed: what such a day gives, and what a second speed or every run once more would bring.
//!
//! Given a plan and its day without noise; gives the weakest difference in watts for the plan and for the two changes, and
//! how well a second speed would tell the values themselves. It recommends nothing.

use super::alternatives::rounds;
use super::design::DesignChoice;
use super::goal::Measure;
use super::prediction::{Predicted, Prediction, predict};
use super::quiet::QuietDay;
use super::row_noise::RowNoise;
use super::speeds::{pair_about, with_speeds};
use crate::plan::Plan;
use serde::Serialize;

/// A day on which all laps are planned alike.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OneSpeed {
    pub speed_km_h: f64,
    /// Smallest true difference in watts that the weakest planned comparison finds; `null` where none can.
    pub detectable_w: Option<f64>,
    /// The same with every run ridden once more, in the order turned about.
    pub every_run_again_w: Option<f64>,
    /// Laps in turn at two speeds about the planned one, as many laps in all; `null` where they cannot be ridden.
    pub second_speed: Option<SecondSpeed>,
}

/// What a second speed brings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SecondSpeed {
    pub speeds_km_h: [f64; 2],
    pub detectable_w: Option<f64>,
    /// Of the baseline, which one speed cannot tell.
    pub crr: Option<Predicted>,
    pub cda_m2: Option<Predicted>,
}

/// `None` where two speeds are planned.
pub(super) fn one_speed(
    plan: &Plan,
    day: &QuietDay,
    choice: &DesignChoice,
    noise: &RowNoise,
    prediction: &Prediction,
) -> Option<OneSpeed> {
    let distinct = plan.distinct_speeds_km_h();
    let [speed_km_h] = distinct[..] else { return None };
    let again = predict(day, &rounds(choice, 2), noise);
    Some(OneSpeed {
        speed_km_h,
        detectable_w: Measure::PowerW.detectable(prediction),
        every_run_again_w: again.ok().and_then(|p| Measure::PowerW.detectable(&p)),
        second_speed: second_speed(plan, noise, pair_about(plan, speed_km_h)),
    })
}

fn second_speed(plan: &Plan, noise: &RowNoise, speeds_km_h: [f64; 2]) -> Option<SecondSpeed> {
    let other = with_speeds(plan, &speeds_km_h).ok()?;
    let told = predict(&other.day, &other.choice, noise).ok()?;
    let baseline = other.day.session.baseline();
    let setup = told.setups.get(baseline);
    Some(SecondSpeed {
        speeds_km_h,
        detectable_w: Measure::PowerW.detectable(&told),
        crr: setup.and_then(|s| s.crr),
        cda_m2: setup.and_then(|s| s.cda_m2),
    })
}
