//! Two sets of parameters on the same road at the same pace.
//!
//! Given both; gives each one's journey and the differences. It attaches no uncertainty: that is the business of a
//! contrast between measured set-ups.

use super::distance::{Journey, over_distance};
use super::power::{Conditions, Parameters};
use super::speed::Pace;
use crate::error::Error;
use serde::{Deserialize, Serialize};

/// Two journeys and second minus first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    pub first: Journey,
    pub second: Journey,
    /// Zero when both are paced by the same power.
    pub power_difference_w: f64,
    /// Zero when both are paced by the same speed.
    pub time_difference_s: f64,
    pub energy_difference_j: f64,
}

/// Compares two sets of parameters over a distance.
///
/// Errors: those of [`over_distance`].
///
/// ```
/// use loopwright::demand::{Conditions, Pace, Parameters, compare};
/// let (slow, fast) = (Parameters::new(0.26, 0.0045, 85.0), Parameters::new(0.26, 0.0035, 85.0));
/// let both = compare(&slow, &fast, &Conditions::calm(1.2), Pace::PowerW(250.0), 40_000.0).unwrap();
/// assert!(both.time_difference_s < 0.0 && both.power_difference_w.abs() < 1e-6);
/// ```
pub fn compare(
    first: &Parameters,
    second: &Parameters,
    conditions: &Conditions,
    pace: Pace,
    distance_m: f64,
) -> Result<Comparison, Error> {
    let first = over_distance(first, conditions, pace, distance_m)?;
    let second = over_distance(second, conditions, pace, distance_m)?;
    Ok(Comparison {
        first,
        second,
        power_difference_w: second.demand.total_w - first.demand.total_w,
        time_difference_s: second.time_s - first.time_s,
        energy_difference_j: second.energy_j - first.energy_j,
    })
}
