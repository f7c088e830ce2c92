//! What the instrument is told and what is true.
//!
//! Given the stated values of a plan and their standard uncertainties; draws the true ones, or takes the stated
//! ones for true. Tyres and positions are not drawn: their values are what a rehearsal wants to find again.

use super::chance::{Purpose, normal, stream};
use crate::plan::{InstrumentErrors, Plan, density_kg_m3};
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
    /// Relative change of Crr per °C on the loop, where the plan states one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_coefficient_per_c: Option<f64>,
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
        air_density_kg_m3: density_kg_m3(temperature_c, pressure_hpa, humidity_pct),
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
        // Drawn last, so that plans without it keep their draws.
        temperature_coefficient_per_c: plan
            .circuit
            .temperature_coefficient_per_c
            .map(|k| k + error(u.temperature_coefficient_per_c.unwrap_or(0.0))),
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

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(errors: &str) -> Plan {
        let text = format!(
            "order = [\"a\", \"a\"]\nspeeds_km_h = [30.0]\nrider_and_bike.mass_kg = 80.0\nloop.length_m = 900.0\n\
             noise.instrument_errors = \"{errors}\"\n[[setup]]\nid = \"a\"\ncda_m2 = 0.3\ncrr = 0.004\n"
        );
        Plan::from_toml(&text, "plan.toml").unwrap()
    }

    /// Mean and standard deviation.
    fn spread(values: &[f64]) -> [f64; 2] {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let variance = values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / values.len() as f64;
        [mean, variance.sqrt()]
    }

    #[test]
    fn over_many_days_the_instruments_err_by_their_standard_uncertainties() {
        // 4000 draws: a mean is known to 1.6 % of the standard deviation, that to 1.1 %; four times this is allowed.
        let plan = plan("drawn");
        let days: Vec<Instruments> = (0..4000).map(|seed| draw(&plan, seed)).collect();
        let check = |value: &dyn Fn(&Instruments) -> f64, stated: f64, sd: f64| {
            let [mean, found] = spread(&days.iter().map(value).collect::<Vec<_>>());
            assert!((mean - stated).abs() < 0.064 * sd, "{mean} for {stated}");
            assert!((found / sd - 1.0).abs() < 0.045, "{found} for {sd}");
        };
        check(&|i| i.power_scale, 1.0, 0.02);
        check(&|i| i.speed_scale, 1.0, 0.003);
        check(&|i| i.temperature_c, 18.0, 0.5);
        check(&|i| i.pressure_hpa, 1000.0, 1.0);
        check(&|i| i.rider_and_bike.drivetrain_efficiency, 0.976, 0.005);
        check(&|i| i.rider_and_bike.wheel_inertia_kg_m2, 0.14, 0.02);
        let errors: Vec<f64> =
            (0..2000).flat_map(|seed| weigh(&plan, seed).into_iter().map(|w| w.stated_kg - w.true_kg)).collect();
        let [mean, sd] = spread(&errors);
        assert!(mean.abs() < 0.0064 && (sd / 0.1 - 1.0).abs() < 0.045, "{mean} {sd}");
    }

    #[test]
    fn without_errors_what_is_stated_is_true() {
        let plan = plan("none");
        let i = draw(&plan, 3);
        assert_eq!([i.power_scale, i.speed_scale, i.temperature_c, i.pressure_hpa], [1.0, 1.0, 18.0, 1000.0]);
        assert_eq!(i.rider_and_bike, plan.rider_and_bike);
        assert_eq!(i.rollers, plan.rollers);
        assert!(weigh(&plan, 3).iter().all(|w| w.stated_kg == 80.0 && w.true_kg == 80.0));
    }
}
