//! What a plan is judged by: the smallest difference that its weakest comparison can find.
//!
//! Given a prediction; gives that difference in watts, Crr or CdA, beside what was wanted.

use super::prediction::{DifferenceForecast, Predicted, Prediction, SetupForecast};
use crate::plan::Target;
use serde::Serialize;

/// In what a difference is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    PowerW,
    Crr,
    CdaM2,
}

impl Measure {
    /// A value with its unit.
    pub fn text(self, value: f64) -> String {
        match self {
            Measure::PowerW => format!("{value:.1} W"),
            Measure::Crr => format!("{value:.5} in Crr"),
            Measure::CdaM2 => format!("{value:.4} m² of CdA"),
        }
    }

    /// As a word, «watts at the reference conditions».
    pub fn name(self) -> &'static str {
        match self {
            Measure::PowerW => "watts at the reference conditions",
            Measure::Crr => "Crr",
            Measure::CdaM2 => "CdA",
        }
    }

    fn of_difference(self, d: &DifferenceForecast) -> Option<Predicted> {
        match self {
            Measure::PowerW => d.power_w,
            Measure::Crr => d.crr,
            Measure::CdaM2 => d.cda_m2,
        }
    }

    fn of_setup(self, s: &SetupForecast) -> Option<Predicted> {
        match self {
            Measure::PowerW => s.power_w,
            Measure::Crr => s.crr,
            Measure::CdaM2 => s.cda_m2,
        }
    }

    /// Smallest difference that every planned comparison finds; `None` where one of them can find none. A single set-up
    /// is compared with a known value.
    pub fn detectable(self, prediction: &Prediction) -> Option<f64> {
        if prediction.differences.is_empty() {
            weakest(prediction.setups.iter().map(|s| self.of_setup(s)))
        } else {
            self.of_all(&prediction.differences)
        }
    }

    /// Smallest difference that each of these comparisons finds; `None` where one of them can find none.
    pub fn of_all(self, differences: &[DifferenceForecast]) -> Option<f64> {
        weakest(differences.iter().map(|d| self.of_difference(d)))
    }
}

fn weakest(all: impl Iterator<Item = Option<Predicted>>) -> Option<f64> {
    all.map(|p| p?.detectable).reduce(|a, b| Some(a?.max(b?))).flatten()
}

/// A difference that is to be found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Goal {
    pub measure: Measure,
    pub target: f64,
}

/// The stated targets, watts first.
pub(super) fn goals(target: &Target) -> Vec<Goal> {
    [(Measure::PowerW, target.power_w), (Measure::Crr, target.crr), (Measure::CdaM2, target.cda_m2)]
        .into_iter()
        .filter_map(|(measure, target)| Some(Goal { measure, target: target? }))
        .collect()
}
