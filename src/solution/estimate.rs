//! A value with what is known of its error.
//!
//! Given nothing; every other part of the solution holds values of these types.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A value with its standard error and interval.
///
/// `se` combines `scatter_se` (type A, from the laps, shrunk towards a model of their scatter) and `instrument_se` (type B, from
/// the instruments).
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Estimate {
    /// Best estimate, in the unit of the key that holds it; `null` where it is not known.
    pub value: Option<f64>,
    /// Combined standard uncertainty; `null` where the value is held or shared.
    pub se: Option<f64>,
    /// Lower end of the interval at `confidence`.
    pub low: Option<f64>,
    /// Upper end of the interval at `confidence`.
    pub high: Option<f64>,
    /// Degrees of freedom of `se`; `null` where there are so many that they do not matter.
    pub dof: Option<f64>,
    /// From the scatter of the laps.
    pub scatter_se: Option<f64>,
    /// From what the rides left to what was expected: wind, its share along the loop, yaw, delay, and CdA or Crr at one speed.
    #[serde(default)]
    pub prior_se: Option<f64>,
    /// From what changes between one run and the next.
    #[serde(default)]
    pub run_to_run_se: Option<f64>,
    /// From power meter, wheel, scale and thermometer (type B).
    pub instrument_se: Option<f64>,
}

/// A nuisance parameter: value and standard error; `se` is `null` when it was held fixed.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Measured {
    /// Estimate, in the unit of the key.
    pub value: Option<f64>,
    /// Standard error; `null` when the value was held.
    pub se: Option<f64>,
}

impl Measured {
    pub(super) fn is_unknown(&self) -> bool {
        *self == Measured::default()
    }
}
