//! What is said of factors, as it is written.
//!
//! Given nothing; the other files fill it.

use crate::session::factors::{Factors, Levels};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Factors of a session and what they do.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct FactorResult {
    pub factors: Vec<FactorLevels>,
    /// "crr", "cda_m2" and "power_w" (on rollers "rolling_power_w"), as far as they differ between set-ups.
    pub outputs: Vec<Answer>,
}

/// A factor and its levels.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct FactorLevels {
    pub name: String,
    /// "kind" or "quantity".
    pub is: String,
    /// Of a quantity, as in its key.
    pub unit: Option<String>,
    pub levels: Vec<String>,
    /// Level of each set-up, in their order.
    pub of_setups: Vec<String>,
}

impl FactorLevels {
    pub fn of(factors: &Factors) -> Vec<FactorLevels> {
        let list = factors.list.iter().map(|factor| {
            let (is, unit, levels) = match &factor.levels {
                Levels::Kinds { names, .. } => ("kind", None, names.clone()),
                Levels::Quantities { unit, .. } => {
                    let levels = factor.quantities().iter().map(f64::to_string).collect();
                    ("quantity", Some(unit.key.to_string()), levels)
                }
            };
            let of_setups = (0..factors.setups).map(|s| factor.of_setup(s)).collect();
            FactorLevels { name: factor.key.clone(), is: is.into(), unit, levels, of_setups }
        });
        list.collect()
    }
}

/// One output.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    Told(FactorOutput),
    NotTold { output: String, why: String },
}

impl Answer {
    pub fn told(&self) -> Option<&FactorOutput> {
        match self {
            Answer::Told(output) => Some(output),
            Answer::NotTold { .. } => None,
        }
    }
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct FactorOutput {
    pub output: String,
    /// Of kinds.
    pub effects: Vec<Effects>,
    /// Over quantities with three levels or more.
    pub curves: Vec<Curve>,
    /// Whether effects add, pair by pair.
    pub interactions: Vec<Test>,
    /// Set-ups about the main effects and curves, by what is left after the interactions that can be told.
    pub lack_of_fit: Option<Test>,
    /// Whether effects may be read one by one; where not, the list of set-ups counts. `null` where that cannot be tested.
    pub adds: Option<bool>,
}

/// A value with its two-sided interval.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Interval {
    pub value: f64,
    pub se: f64,
    pub low: f64,
    pub high: f64,
    pub p_value: Option<f64>,
}

/// Levels of a kind, or one more unit of a quantity that has two levels.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Effects {
    pub factor: String,
    /// Level that the others are compared with.
    pub reference: String,
    pub levels: Vec<LevelEffect>,
    /// Whether the levels differ at all.
    pub test: Test,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct LevelEffect {
    pub level: String,
    #[serde(flatten)]
    pub effect: Interval,
    /// Adjusted over all effects of the output (Holm).
    pub p_holm: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Test {
    pub of: String,
    pub f: f64,
    pub numerator_dof: f64,
    /// `null` when the errors are taken as known.
    pub denominator_dof: Option<f64>,
    pub p_value: f64,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Curve {
    pub factor: String,
    pub unit: String,
    /// "straight" or "one bend".
    pub shape: String,
    /// Of no bend; the curve is drawn straight unless this is below 1 − confidence.
    pub bend_p_value: f64,
    /// Change of the output for one more unit, of the straight line.
    pub slope: Interval,
    pub optimum: Optimum,
    pub off_best: Vec<OffBest>,
    /// Set-ups with what kinds do taken off, and their errors without what moves all alike.
    pub points: Vec<CurvePoint>,
    /// The curve over the levels ridden, with its band.
    pub line: Vec<CurvePoint>,
    /// By gain, the largest first; empty where nothing can be gained.
    pub next: Vec<NextLevel>,
}

#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct CurvePoint {
    pub level: f64,
    pub value: f64,
    pub low: f64,
    pub high: f64,
}

/// Where the output is least.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Optimum {
    /// Best level by the bent curve, never outside the levels ridden.
    pub value: f64,
    /// Ends of the interval within the levels ridden.
    pub low: f64,
    pub high: f64,
    /// Whether the best may lie at or below the lowest level ridden, at or above the highest.
    pub open_below: bool,
    pub open_above: bool,
    /// The curve is highest between its ends, so that the best lies at one of them.
    pub at_either_end: bool,
    /// Fieller's set for the turning point of the bent curve: "between", "outside" or "anywhere"; it does not know the levels.
    pub turning_point: Option<f64>,
    pub fieller: String,
    pub fieller_low: Option<f64>,
    pub fieller_high: Option<f64>,
}

/// What riding a level costs against the best level.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct OffBest {
    pub level: f64,
    #[serde(flatten)]
    pub lost: Interval,
}

/// What one more run at a level would bring.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct NextLevel {
    pub level: f64,
    /// Width of the best level's interval (of the bend's where no best level is told) against today's.
    pub width_ratio: f64,
}
