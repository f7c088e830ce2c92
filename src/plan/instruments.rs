//! What the measuring chain is told and what is true.
//!
//! Given the stated values of a plan and their standard uncertainties; draws the true ones, or takes the stated
//! ones for true. Tyres and positions are not drawn: their values are what a rehearsal wants to find again.

use super::atmosphere;
use super::chance::{Purpose, normal, stream};
use super::noise::InstrumentErrors;
use super::plan_file::Plan;
use crate::session::{BearingFriction, RiderAndBike, Rollers};
use serde::{Deserialize, Serialize};

/// True values behind the stated ones, the same for all runs of a day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Instruments {
    /// Recorded over true power.
    pub power_scale: f64,
    /// Recorded over true speed.
    pub speed_scale: f64,
    pub temperature_c: f64,
    pub pressure_hpa: f64,
    pub humidity_pct: f64,
    pub air_density_kg_m3: f64,
    /// Stated over true wind speed; only used where the session gives the wind.
    pub wind_scale: f64,
    /// Mass apart, which differs from run to run.
    pub rider_and_bike: RiderAndBike,
    pub rollers: Rollers,
}

/// Draws the errors of the day.
pub(super) fn draw(plan: &Plan, seed: u64) -> Instruments {
    let u = &plan.uncertainty;
    let mut random = stream(seed, 0, Purpose::Instruments);
    let share = match plan.noise.instrument_errors {
        InstrumentErrors::Drawn => 1.0,
        InstrumentErrors::None => 0.0,
    };
    let mut error = |sd: f64| share * sd * normal(&mut random);
    let stated = &plan.rider_and_bike;
    let temperature_c = plan.air.temperature_c + error(u.temperature_c);
    let pressure_hpa = plan.air.pressure_hpa + error(u.pressure_hpa);
    let humidity_pct = (plan.air.humidity_pct + error(u.humidity_pct)).clamp(0.0, 100.0);
    let bearing = (1.0 + error(u.bearing_fraction)).max(0.0);
    Instruments {
        power_scale: plan.noise.power_scale * (1.0 + error(u.power_fraction)).max(0.1),
        speed_scale: plan.noise.speed_scale * (1.0 + error(u.speed_fraction)).max(0.1),
        temperature_c,
        pressure_hpa,
        humidity_pct,
        air_density_kg_m3: atmosphere::density_kg_m3(temperature_c, pressure_hpa, humidity_pct),
        wind_scale: (1.0 + error(u.wind_fraction)).max(0.0),
        rider_and_bike: RiderAndBike {
            mass_kg: stated.mass_kg,
            wheel_inertia_kg_m2: (stated.wheel_inertia_kg_m2 + error(u.wheel_inertia_kg_m2)).max(0.0),
            wheel_radius_m: stated.wheel_radius_m,
            centre_of_mass_height_m: (stated.centre_of_mass_height_m + error(u.centre_of_mass_height_m)).max(0.1),
            drivetrain_efficiency: (stated.drivetrain_efficiency + error(u.drivetrain_efficiency)).clamp(0.5, 1.0),
            bearing_friction: BearingFriction {
                constant_n: stated.bearing_friction.constant_n * bearing,
                linear_n_s_per_m: stated.bearing_friction.linear_n_s_per_m * bearing,
            },
        },
        rollers: Rollers {
            drum_diameter_m: (plan.rollers.drum_diameter_m + error(u.drum_diameter_m)).max(0.01),
            drum_spacing_m: (plan.rollers.drum_spacing_m + error(u.drum_spacing_m)).max(0.0),
            rear_weight_fraction: (plan.rollers.rear_weight_fraction + error(u.rear_weight_fraction)).clamp(0.05, 1.0),
            no_load_power_w_at_40_km_h: plan
                .rollers
                .no_load_power_w_at_40_km_h
                .map(|w| w * (1.0 + error(u.no_load_fraction)).max(0.0)),
            ..plan.rollers.clone()
        },
    }
}

/// Mass of one run: what the bicycle and rider weigh, and what the scale showed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Weighing {
    pub(super) true_kg: f64,
    pub(super) stated_kg: f64,
}

/// True masses from the plan, weighings with their uncertainty, both to 10 g as a scale shows them.
pub(super) fn weigh(plan: &Plan, seed: u64) -> Vec<Weighing> {
    let mut random = stream(seed, 0, Purpose::Masses);
    let error_kg = match plan.noise.instrument_errors {
        InstrumentErrors::Drawn => plan.uncertainty.mass_kg,
        InstrumentErrors::None => 0.0,
    };
    let round = |kg: f64| (kg * 100.0).round() / 100.0;
    (0..plan.order.len())
        .map(|run| {
            let (scatter, error) = (normal(&mut random), normal(&mut random));
            let scattered = plan.rider_and_bike.mass_kg + plan.noise.mass_scatter_kg * scatter;
            let true_kg = plan.run_mass_kg.get(run).copied().unwrap_or_else(|| round(scattered));
            Weighing { true_kg, stated_kg: round(true_kg + error_kg * error) }
        })
        .collect()
}
