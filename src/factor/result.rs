//! What is said of factors, as it is written.
//!
//! Given nothing; the other files fill it.

use crate::session::factors::{Factors, Levels};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Factors of a session and what they do.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct FactorResult {
    /// One entry a factor.
    pub factors: Vec<FactorLevels>,
    /// "crr", "cda_m2" and "power_w" (on rollers "rolling_power_w"), as far as they differ between set-ups.
    pub outputs: Vec<Answer>,
}

/// A factor and its levels.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct FactorLevels {
    /// The factor's key in the session.
    pub name: String,
    /// "kind" or "quantity".
    pub is: String,
    /// Of a quantity, as in its key.
    pub unit: Option<String>,
    /// Its levels in order.
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
    /// "crr", "cda_m2", "power_w" or "rolling_power_w".
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
    /// Estimate, in the unit of the output.
    pub value: f64,
    /// Standard error.
    pub se: f64,
    /// Lower end at `confidence`.
    pub low: f64,
    /// Upper end at `confidence`.
    pub high: f64,
    /// Degrees of freedom of `se`; `null` where the error is taken as known.
    pub dof: Option<f64>,
    /// Two-sided, of no effect.
    pub p_value: Option<f64>,
}

/// Levels of a kind, or one more unit of a quantity that has two levels.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Effects {
    /// Key of the factor.
    pub factor: String,
    /// Level that the others are compared with.
    pub reference: String,
    /// One entry a level beside the reference.
    pub levels: Vec<LevelEffect>,
    /// Whether the levels differ at all.
    pub test: Test,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct LevelEffect {
    /// The level.
    pub level: String,
    /// Level less reference.
    #[serde(flatten)]
    pub effect: Interval,
    /// Adjusted over all effects of the output (Holm).
    pub p_holm: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Test {
    /// What is tested.
    pub of: String,
    /// The F statistic.
    pub f: f64,
    /// Degrees of freedom of the numerator.
    pub numerator_dof: f64,
    /// `null` when the errors are taken as known.
    pub denominator_dof: Option<f64>,
    /// Chance of so large an F without an effect.
    pub p_value: f64,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Curve {
    /// Key of the factor.
    pub factor: String,
    /// Unit of its levels.
    pub unit: String,
    /// "straight" or "one bend".
    pub shape: String,
    /// Of no bend; the curve is drawn straight unless this is below 1 − confidence.
    pub bend_p_value: f64,
    /// Change of the output for one more unit, of the straight line.
    pub slope: Interval,
    /// Where the output is least.
    pub optimum: Optimum,
    /// What each level ridden costs against the best.
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
    /// Level of the quantity.
    pub level: f64,
    /// Output there.
    pub value: f64,
    /// Lower end at `confidence`.
    pub low: f64,
    /// Upper end at `confidence`.
    pub high: f64,
}

/// Where the output is least.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Optimum {
    /// Best level by the bent curve, never outside the levels ridden.
    pub value: f64,
    /// Ends of the interval within the levels ridden.
    pub low: f64,
    /// Upper end of the interval within the levels ridden.
    pub high: f64,
    /// Whether the best may lie at or below the lowest level ridden, at or above the highest.
    pub open_below: bool,
    /// Whether the best may lie at or above the highest level.
    pub open_above: bool,
    /// The curve is highest between its ends, so that the best lies at one of them.
    pub at_either_end: bool,
    /// Fieller's set for the turning point of the bent curve: "between", "outside" or "anywhere"; it does not know the levels.
    pub turning_point: Option<f64>,
    /// Kind of Fieller's set.
    pub fieller: String,
    /// Its lower end.
    pub fieller_low: Option<f64>,
    /// Its upper end.
    pub fieller_high: Option<f64>,
}

/// What riding a level costs against the best level.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct OffBest {
    /// The level.
    pub level: f64,
    /// What it costs.
    #[serde(flatten)]
    pub lost: Interval,
}

/// What one more run at a level would bring.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct NextLevel {
    /// The level.
    pub level: f64,
    /// Width of the best level's interval (of the bend's where no best level is told) against today's.
    pub width_ratio: f64,
}
