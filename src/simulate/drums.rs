//! One ride on rollers: rolling on drums, no air and no slope.
//!
//! Given the rollers and the machine with their true values; gives the true [`Trace`]. It fits nothing and
//! records nothing.

use super::motion::{Machine, STEP_S};
use super::rider::{Feel, Rider};
use super::trace::Trace;
use crate::plan::{LapAim, LevelResistance, Noise};
use crate::session::Rollers;
use rand_xoshiro::Xoshiro256PlusPlus;

/// Speed at which the no-load power of drums is stated, m/s.
const NO_LOAD_SPEED_M_S: f64 = 40.0 / 3.6;
/// Speed at which a ride begins, m/s.
const START_M_S: f64 = 2.0;

/// Everything that decides a ride on rollers but chance.
pub(super) struct DrumTask<'a> {
    pub(super) machine: Machine,
    pub(super) rollers: &'a Rollers,
    pub(super) noise: &'a Noise,
    pub(super) gravity_m_s2: f64,
    pub(super) wheel_radius_m: f64,
    pub(super) temperature_c: f64,
    pub(super) speed_m_s: f64,
    pub(super) duration_s: f64,
}

/// Forces on a wheel that rolls on drums.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DrumForces {
    /// Sum of the loads on turning drums, N.
    pub(super) load_n: f64,
    /// Crr on the drum over Crr on the flat.
    pub(super) curvature_factor: f64,
    /// Crr at this temperature over Crr at the reference temperature.
    pub(super) temperature_factor: f64,
}

impl DrumTask<'_> {
    /// The rear wheel sits in the valley of two drums with half-angle α, sin α = (spacing/2)/(R_wheel + R_drum); its
    /// loads add to W/cos α. The front wheel stands on one drum, which turns only when a belt drives it. On a drum
    /// Crr grows by √(1 + r/R) (Clark; the flat limit of the conversion in ISO 18164).
    pub(super) fn forces(&self) -> DrumForces {
        let drum_m = 0.5 * self.rollers.drum_diameter_m;
        let sine = (0.5 * self.rollers.drum_spacing_m / (self.wheel_radius_m + drum_m)).clamp(0.0, 0.99);
        let rear = self.rollers.rear_weight_fraction;
        let front = if self.rollers.front_driven { 1.0 - rear } else { 0.0 };
        let degrees = self.temperature_c - self.rollers.reference_temperature_c;
        DrumForces {
            load_n: self.machine.mass_kg * self.gravity_m_s2 * (rear / (1.0 - sine * sine).sqrt() + front),
            curvature_factor: (1.0 + self.wheel_radius_m / drum_m).sqrt(),
            temperature_factor: 1.0 / (1.0 + self.rollers.temperature_coefficient_per_c * degrees),
        }
    }

    fn resistance_n(&self, forces: &DrumForces, warmth: f64, speed_m_s: f64) -> f64 {
        let crr = self.machine.crr * forces.curvature_factor * forces.temperature_factor * warmth;
        let bearing = self.machine.bearing.constant_n + self.machine.bearing.linear_n_s_per_m * speed_m_s;
        let no_load = self.rollers.no_load_power_w_at_40_km_h.unwrap_or(0.0) / NO_LOAD_SPEED_M_S;
        crr * forces.load_n + bearing + no_load
    }

    /// Turning mass seen at the tyre: both wheels, or the rear one alone, and the drums.
    fn inertia_kg(&self) -> f64 {
        let wheels = if self.rollers.front_driven { 1.0 } else { 0.5 };
        wheels * self.machine.wheel_mass_kg + self.noise.drum_mass_kg
    }
}

/// Rides for the stated time: η P = F v + d(½ J v²)/dt, in half steps of the midpoint rule on the energy.
pub(super) fn ride(task: &DrumTask, rider: Xoshiro256PlusPlus) -> Trace {
    let forces = task.forces();
    let inertia_kg = task.inertia_kg();
    let warm = task.resistance_n(&forces, 1.0, task.speed_m_s);
    let feel = Feel {
        level: LevelResistance {
            rolling_n: warm,
            per_speed_n_s_m: 0.0,
            per_square_n_s2_m2: 0.0,
            efficiency: task.machine.efficiency,
        },
        inertia_kg,
        weight_n: 0.0,
    };
    let aim = LapAim { speed_m_s: task.speed_m_s, power_w: None, is_slow: false };
    let mut rider = Rider::new(feel, START_M_S, task.speed_m_s, task.noise, rider);
    let mut trace = Trace { step_s: STEP_S, ..Trace::default() };
    let (mut way_m, mut speed, mut work_j) = (0.0, START_M_S, 0.0);
    trace.push(way_m, speed, work_j);
    for step in 0..(task.duration_s / STEP_S) as usize {
        let time_s = step as f64 * STEP_S;
        let warmth = 1.0 + task.noise.warm_up_excess * (-time_s / task.noise.warm_up_time_s).exp();
        let power = rider.push_w(&aim, speed, 0.0);
        let energy = 0.5 * inertia_kg * speed * speed;
        let gain = |v: f64| task.machine.efficiency * power - task.resistance_n(&forces, warmth, v) * v;
        let at = |energy: f64| (2.0 * energy.max(0.0) / inertia_kg).sqrt();
        let middle = at(energy + 0.5 * STEP_S * gain(speed));
        speed = at(energy + STEP_S * gain(middle));
        way_m += middle * STEP_S;
        work_j += power * STEP_S;
        trace.push(way_m, speed, work_j);
    }
    trace
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::BearingFriction;
    use crate::simulate::chance::{Purpose, stream};

    fn task<'a>(rollers: &'a Rollers, noise: &'a Noise) -> DrumTask<'a> {
        let bearing = BearingFriction { constant_n: 0.0, linear_n_s_per_m: 0.0 };
        DrumTask {
            machine: Machine {
                mass_kg: 84.0,
                wheel_mass_kg: 1.2475,
                centre_of_mass_height_m: 1.05,
                efficiency: 0.976,
                bearing,
                crr: 0.0034,
                cda_m2: 0.3,
                yaw_coefficient: 0.0,
            },
            rollers,
            noise,
            gravity_m_s2: 9.80665,
            wheel_radius_m: 0.335,
            temperature_c: 20.0,
            speed_m_s: 11.0,
            duration_s: 900.0,
        }
    }

    #[test]
    fn twin_drums_carry_more_than_the_weight() {
        // Statics: 1/cos α for wheel 0.335 m, drums of radius 0.0556 m, 0.28 m apart is 1.07117; Clark's factor for
        // r 0.335 on R 0.0556 is 2.6505. Computed in another language.
        let rollers =
            Rollers { drum_diameter_m: 0.1112, drum_spacing_m: 0.28, rear_weight_fraction: 1.0, ..Rollers::default() };
        let noise = Noise::default();
        let forces = task(&rollers, &noise).forces();
        assert!((forces.load_n / (84.0 * 9.80665) - 1.07117).abs() < 1e-5);
        assert!((forces.curvature_factor - 2.6505).abs() < 1e-4);
    }

    #[test]
    fn without_noise_the_work_is_rolling_drums_and_motion() {
        // Energy account of the whole ride by Simpson's rule over the trace, warm-up included; midpoint steps of
        // 10 ms err by (0.01 s / 4 s)² of the acceleration's share.
        let rollers = Rollers { no_load_power_w_at_40_km_h: Some(9.0), ..Rollers::default() };
        let noise = Noise { rider_cv: 0.0, pace_cv: 0.0, ..Noise::default() };
        let t = task(&rollers, &noise);
        let trace = ride(&t, stream(1, 0, Purpose::Rider));
        let forces = t.forces();
        let lost = |i: usize| {
            let warmth = 1.0 + 0.25 * (-(i as f64) * STEP_S / 210.0).exp();
            let rolling = 0.0034 * forces.curvature_factor * warmth * forces.load_n;
            (rolling + 9.0 / (40.0 / 3.6)) * trace.speed_m_s[i]
        };
        let n = trace.speed_m_s.len() - 1;
        let sum: f64 = (0..n / 2).map(|i| STEP_S / 3.0 * (lost(2 * i) + 4.0 * lost(2 * i + 1) + lost(2 * i + 2))).sum();
        let motion = 0.5 * (1.2475 + 2.0) * (trace.speed_m_s[n].powi(2) - trace.speed_m_s[0].powi(2));
        let work = 0.976 * trace.work_j[n];
        assert!(((work - sum - motion) / work).abs() < 1e-5, "{work} {sum} {motion}");
    }
}
