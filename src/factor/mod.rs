//! What varies between set-ups: kinds (a tyre, a wheel) and quantities (a pressure, a width), and what each of them does.
//!
//! Given the factors of each set-up and the values of all set-ups with their joint covariance, laps, priors, instruments and
//! changes from run to run included; gives effects of kinds, curves over quantities with their best level, and tests whether
//! effects add. It fits no ride and never looks beyond the levels that were ridden.
//!
//! ```text
//! session::factors, pairs (joint covariance) ─ model (columns, generalised least squares)
//!                      ├─ effects (kinds, interaction)
//!                      └─ curve ─ fieller (ratio of two estimates), next_level
//! ```

pub mod columns;
pub mod curve;
pub mod effects;
pub mod fieller;
pub mod model;
mod next_level;
pub mod pairs;
mod result;

pub use result::{
    Answer, Curve, CurvePoint, Effects, FactorLevels, FactorOutput, FactorResult, Interval, LevelEffect, NextLevel,
    OffBest, Optimum, Test,
};

use crate::session::factors::Factors;
use model::Joint;

/// Everything that is said of the factors for one output (Crr, CdA or watts), smaller being better.
///
/// `baseline` is the set-up whose levels of kinds the others are compared with.
pub fn answer(output: &str, factors: &Factors, joint: &Joint, baseline: usize, confidence: f64) -> Answer {
    match columns::Main::new(factors, joint, baseline) {
        Err(why) => Answer::NotTold { output: output.to_string(), why },
        Ok(main) => Answer::Told(FactorOutput {
            output: output.to_string(),
            interactions: effects::interactions(factors, &main, joint),
            lack_of_fit: effects::lack_of_fit(factors, &main, joint),
            adds: effects::adds(factors, &main, joint, 1.0 - confidence),
            effects: effects::effects(factors, &main, joint, confidence),
            curves: curve::curves(factors, &main, joint, confidence),
        }),
    }
}

#[cfg(test)]
#[path = "factor_tests.rs"]
mod tests;

#[cfg(test)]
mod simulated_tests;
