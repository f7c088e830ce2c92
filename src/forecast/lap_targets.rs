//! What each planned speed asks of the rider.
//!
//! Given a plan; gives the mean power on the level in still air at each speed, or the speed that each planned power gives. Wind, slope and bends come on top.

use crate::demand::{Conditions, Parameters, demand_at_speed};
use crate::plan::{Plan, density_kg_m3};
use crate::quantity::m_s_from_km_h;
use serde::Serialize;

/// A planned speed and its power.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LapTarget {
    pub speed_km_h: f64,
    pub power_w: f64,
}

/// Powers of the planned speeds, slowest first, for the baseline set-up.
pub fn lap_targets(plan: &Plan) -> Vec<LapTarget> {
    let baseline = plan.baseline.as_deref().and_then(|id| plan.setups.iter().find(|s| s.id == id));
    let Some(setup) = baseline.or(plan.setups.first()) else { return Vec::new() };
    let air = density_kg_m3(plan.air.temperature_c, plan.air.pressure_hpa, plan.air.humidity_pct);
    let mut rider = Parameters::new(setup.cda_m2, setup.crr, plan.rider_and_bike.mass_kg);
    rider.drivetrain_efficiency = plan.rider_and_bike.drivetrain_efficiency;
    rider.bearing_friction = plan.rider_and_bike.bearing_friction;
    if !plan.powers_w.is_empty() {
        let laps = plan.powers_w.iter().zip(plan.lap_speeds_km_h());
        let mut targets: Vec<LapTarget> =
            laps.map(|(&power_w, speed_km_h)| LapTarget { speed_km_h, power_w }).collect();
        targets.sort_by(|a, b| a.power_w.total_cmp(&b.power_w));
        targets.dedup();
        return targets;
    }
    let speeds = plan.distinct_speeds_km_h();
    let power = |v: f64| demand_at_speed(&rider, &Conditions::calm(air), m_s_from_km_h(v)).total_w;
    speeds.into_iter().map(|speed_km_h| LapTarget { speed_km_h, power_w: power(speed_km_h) }).collect()
}
