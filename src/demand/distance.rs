//! Time and energy over a distance at a steady pace.
//!
//! Given a pace and a length; gives seconds and joules. It leaves out the start: nobody is accelerated.

use super::power::{Conditions, Demand, Parameters};
use super::speed::{Pace, demand_at};
use crate::error::Error;
use serde::{Deserialize, Serialize};

/// A distance ridden at one pace.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Journey {
    pub demand: Demand,
    pub distance_m: f64,
    pub time_s: f64,
    /// Work at the place where power is measured; negative where the rider must brake.
    pub energy_j: f64,
}

/// Time and energy over a distance.
///
/// Errors: those of [`speed_at_power`](super::speed_at_power), a distance that is not above zero, a pace that stands
/// still.
///
/// ```
/// use loopwright::demand::{Conditions, Pace, Parameters, over_distance};
/// let rider = Parameters::new(0.25, 0.004, 85.0);
/// let ride = over_distance(&rider, &Conditions::calm(1.2), Pace::SpeedMS(12.5), 40_000.0).unwrap();
/// assert_eq!(ride.time_s, 3200.0);
/// ```
pub fn over_distance(
    rider: &Parameters,
    conditions: &Conditions,
    pace: Pace,
    distance_m: f64,
) -> Result<Journey, Error> {
    let fail = |message: String| Error::Numerical { stage: "demand", message };
    if !(distance_m.is_finite() && distance_m > 0.0) {
        return Err(fail(format!("distance = {distance_m} m is not a number above zero")));
    }
    let demand = demand_at(rider, conditions, pace)?;
    let time_s = distance_m / demand.speed_m_s;
    if !time_s.is_finite() {
        return Err(fail("the rider stands still and never arrives; raise the speed or the power".into()));
    }
    Ok(Journey { demand, distance_m, time_s, energy_j: demand.total_w * time_s })
}
