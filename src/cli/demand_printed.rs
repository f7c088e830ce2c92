//! What `loopwright demand` prints as JSON.

use loopwright::demand::{Conditions, Demand, Journey, Pace, Parameters};
use loopwright::outlook::AtPace;
use loopwright::report::demand::PaceShown;
use serde::Serialize;

/// What is printed as JSON. `against` and `difference` are `null` without a second set, a journey without a distance.
#[derive(Serialize)]
pub(super) struct Printed {
    pub schema: u32,
    pub loopwright: &'static str,
    pub parameters: Parameters,
    pub against: Option<Parameters>,
    pub conditions: Conditions,
    pub distance_m: Option<f64>,
    pub paces: Vec<PrintedPace>,
}

#[derive(Serialize)]
pub(super) struct PrintedPace {
    pub pace: Pace,
    pub demand: Demand,
    pub journey: Option<Journey>,
    pub against: Option<PrintedRide>,
    pub difference: Option<Difference>,
}

#[derive(Serialize)]
pub(super) struct PrintedRide {
    pub demand: Demand,
    pub journey: Option<Journey>,
}

/// Second set minus first.
#[derive(Serialize)]
pub(super) struct Difference {
    pub power_w: f64,
    pub speed_m_s: f64,
    pub time_s: Option<f64>,
    pub energy_j: Option<f64>,
}

/// What is printed as JSON of a result.
#[derive(Serialize)]
pub(super) struct PrintedOutlook {
    pub schema: u32,
    pub loopwright: &'static str,
    pub confidence: f64,
    pub baseline: String,
    pub conditions: Conditions,
    pub distance_m: Option<f64>,
    pub paces: Vec<PrintedPaceOutlook>,
}

#[derive(Serialize)]
pub(super) struct PrintedPaceOutlook {
    pub pace: Pace,
    pub setups: Vec<AtPace>,
}

pub(super) fn printed(shown: &PaceShown) -> PrintedPace {
    let difference = |of: fn(&Journey) -> f64| Some(of(&shown.against?.journey?) - of(&shown.first.journey?));
    PrintedPace {
        pace: shown.pace,
        demand: shown.first.demand,
        journey: shown.first.journey,
        against: shown.against.map(|a| PrintedRide { demand: a.demand, journey: a.journey }),
        difference: shown.against.map(|a| Difference {
            power_w: a.demand.total_w - shown.first.demand.total_w,
            speed_m_s: a.demand.speed_m_s - shown.first.demand.speed_m_s,
            time_s: difference(|j| j.time_s),
            energy_j: difference(|j| j.energy_j),
        }),
    }
}
