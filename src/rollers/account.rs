//! The energy account of a ride on rollers: what went in, what went where, and the Crr that balances it.
//!
//! Given a recording; gives one [`Step`] for each pair of records, and sums of them. Given sums and [`DrumInputs`]; gives
//! Crr. Sums hold only what was recorded, so the same window can be balanced again with any input altered.
//!
//! ```text
//! Crr_drum = [ η ΣPΔt − ∫P_drum dt − ∫(b₀ + b₁v) v dt − ½ (I/r²) Δv² ] / ( ΣN ∫v dt )
//! ```

use super::drum;
use crate::constant::STANDARD_GRAVITY_M_S2;
use crate::error::Error;
use crate::model::kinetic::rotating_mass_kg;
use crate::quantity::m_s_from_km_h;
use crate::record::Recording;
use crate::session::{RiderAndBike, Rollers};

/// Records further apart than this do not make a step: power in between is unknown, s.
const LONGEST_STEP_S: f64 = 10.0;

/// What was recorded over a stretch of time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct WindowSums {
    pub duration_s: f64,
    /// ΣPΔt at the place where power is measured, J.
    pub energy_j: f64,
    /// ∫v dt, m.
    pub distance_m: f64,
    /// ∫v² dt, m²/s.
    pub speed_squared_m2_s: f64,
    /// ½ (v_end² − v_start²), m²/s².
    pub half_speed_square_m2_s2: f64,
}

impl WindowSums {
    pub fn add(&mut self, other: &WindowSums) {
        self.duration_s += other.duration_s;
        self.energy_j += other.energy_j;
        self.distance_m += other.distance_m;
        self.speed_squared_m2_s += other.speed_squared_m2_s;
        self.half_speed_square_m2_s2 += other.half_speed_square_m2_s2;
    }
}

/// The time between two records.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// From the first record of the recording, s.
    pub from_s: f64,
    pub to_s: f64,
    pub from_m_s: f64,
    pub to_m_s: f64,
    /// Index of the record at its end.
    pub record: usize,
    pub sums: WindowSums,
}

/// One step for each pair of neighbouring records that both have a speed and whose second has a power.
///
/// A power record is the mean since the record before it. Speed is taken as linear in between, which is exact for the
/// sums when the wheel turns evenly.
///
/// Errors: [`Error::NoChannel`] when there is no power or neither speed nor distance.
pub fn steps(recording: &Recording) -> Result<Vec<Step>, Error> {
    let file = || recording.provenance.file.clone();
    let records = recording.len();
    if !Recording::has(&recording.power_w) {
        let next = "rollers need measured power";
        return Err(Error::NoChannel { file: file(), channel: "power", records, next });
    }
    if !Recording::has(&recording.speed_m_s) {
        let next = "rollers need the speed of a wheel sensor";
        return Err(Error::NoChannel { file: file(), channel: "speed", records, next });
    }
    let start_s = recording.time_s.first().copied().unwrap_or(0.0);
    let rows = recording.time_s.iter().zip(&recording.speed_m_s).zip(&recording.power_w).enumerate();
    let mut steps = Vec::new();
    let mut before: Option<(f64, f64)> = None;
    for (record, ((&time_s, &speed), &power)) in rows {
        if let Some((then_s, speed_then)) = before {
            let dt = time_s - then_s;
            if dt > 0.0 && dt <= LONGEST_STEP_S && (speed + speed_then + power).is_finite() {
                steps.push(Step {
                    from_s: then_s - start_s,
                    to_s: time_s - start_s,
                    from_m_s: speed_then,
                    to_m_s: speed,
                    record,
                    sums: WindowSums {
                        duration_s: dt,
                        energy_j: power * dt,
                        distance_m: 0.5 * (speed + speed_then) * dt,
                        speed_squared_m2_s: (speed * speed + speed * speed_then + speed_then * speed_then) * dt / 3.0,
                        half_speed_square_m2_s2: 0.5 * (speed * speed - speed_then * speed_then),
                    },
                });
            }
        }
        before = Some((time_s, speed));
    }
    Ok(steps)
}

/// Everything besides the recording that Crr depends on.
#[derive(Debug, Clone, PartialEq)]
pub struct DrumInputs {
    pub rider: RiderAndBike,
    pub rollers: Rollers,
    /// Of the air at the tyres; without it Crr is not brought to the reference temperature.
    pub temperature_c: Option<f64>,
    /// True power over recorded power.
    pub power_scale: f64,
    /// True speed over recorded speed.
    pub speed_scale: f64,
    /// True conversion from drum to flat over the one that is used.
    pub conversion_scale: f64,
    /// Mass that would have the energy of the turning drums at the speed of their surface; unknown, so 0, kg.
    pub drum_rotating_mass_kg: f64,
}

impl DrumInputs {
    pub fn new(rider: &RiderAndBike, rollers: &Rollers, temperature_c: Option<f64>) -> Self {
        DrumInputs {
            rider: rider.clone(),
            rollers: rollers.clone(),
            temperature_c,
            power_scale: 1.0,
            speed_scale: 1.0,
            conversion_scale: 1.0,
            drum_rotating_mass_kg: 0.0,
        }
    }

    /// ΣN, N: the sum of all loads on turning tyres. Rollers have no position, so gravity is the standard one.
    ///
    /// Errors: those of [`drum::load_sum_ratio`].
    pub fn load_sum_n(&self) -> Result<f64, Error> {
        let ratio = drum::load_sum_ratio(&self.rollers, self.rider.wheel_radius_m)?;
        Ok(self.rider.mass_kg * STANDARD_GRAVITY_M_S2 * ratio)
    }

    /// Crr on the flat at the reference temperature over Crr on the drums as ridden.
    pub fn flat_over_drum(&self) -> f64 {
        let r = &self.rollers;
        let curvature = drum::flat_over_drum(0.5 * r.drum_diameter_m, self.rider.wheel_radius_m);
        let temperature = self.temperature_c.map_or(1.0, |t| {
            drum::at_reference_temperature(r.temperature_coefficient_per_c, t, r.reference_temperature_c)
        });
        curvature * temperature * self.conversion_scale
    }

    /// Energy that went into the tyres, J: what came in less drums, bearings and the gain in motion.
    ///
    /// The drums' drag is a constant torque, so its power grows with speed. A front wheel that no belt turns takes its
    /// half of the bearing drag and of the wheels' inertia out of the account.
    pub fn tyre_energy_j(&self, sums: &WindowSums) -> f64 {
        let turning = if self.rollers.front_driven { 1.0 } else { 0.5 };
        let scale = self.speed_scale;
        let distance_m = scale * sums.distance_m;
        let input = self.rider.drivetrain_efficiency * self.power_scale * sums.energy_j;
        let drag_n = self.rollers.no_load_power_w_at_40_km_h.unwrap_or(0.0) / m_s_from_km_h(40.0);
        let bearing = self.rider.bearing_friction;
        let bearing_j =
            bearing.constant_n * distance_m + bearing.linear_n_s_per_m * scale * scale * sums.speed_squared_m2_s;
        let wheels_kg = rotating_mass_kg(self.rider.wheel_inertia_kg_m2, self.rider.wheel_radius_m);
        let moving_kg = turning * wheels_kg + self.drum_rotating_mass_kg;
        input - drag_n * distance_m - turning * bearing_j - moving_kg * scale * scale * sums.half_speed_square_m2_s2
    }

    /// Crr on the drums over a window: Σ energy / (ΣN Σ distance), not a mean of ratios.
    ///
    /// Errors: those of [`DrumInputs::load_sum_n`].
    pub fn crr_drum(&self, sums: &WindowSums) -> Result<f64, Error> {
        Ok(self.tyre_energy_j(sums) / (self.load_sum_n()? * self.speed_scale * sums.distance_m))
    }

    /// Crr on the flat at the reference temperature over a window.
    ///
    /// Errors: those of [`DrumInputs::load_sum_n`].
    pub fn crr_flat(&self, sums: &WindowSums) -> Result<f64, Error> {
        Ok(self.crr_drum(sums)? * self.flat_over_drum())
    }
}

#[cfg(test)]
#[path = "account_tests.rs"]
mod tests;
