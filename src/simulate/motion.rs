//! The equation of motion of a simulated ride, integrated in steps of ten milliseconds.
//!
//! Given rider, air and ground and the power at the pedals; gives chainage and speed. It works on the energy of
//! the motion, never on records, and shares no formula, step or rounding with the solver.

use super::lean::Lean;
use crate::plan::{Course, Spot};
use crate::session::BearingFriction;

/// Step of integration, s.
pub(super) const STEP_S: f64 = 0.01;

/// Rider and bicycle with the values that are true in the simulation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Machine {
    pub(super) mass_kg: f64,
    /// I/r² of both wheels.
    pub(super) wheel_mass_kg: f64,
    pub(super) centre_of_mass_height_m: f64,
    pub(super) efficiency: f64,
    pub(super) bearing: BearingFriction,
    pub(super) crr: f64,
    /// With the wind from ahead.
    pub(super) cda_m2: f64,
    /// k of CdA (1 + k sin²ψ), the CdA that multiplies w·w∥.
    pub(super) yaw_coefficient: f64,
}

/// What surrounds the rider at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Surroundings {
    pub(super) density_kg_m3: f64,
    pub(super) gravity_m_s2: f64,
    /// Where the air moves to.
    pub(super) wind_east_m_s: f64,
    pub(super) wind_north_m_s: f64,
}

/// What acts during a step beside the resistances.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Drive {
    pub(super) power_w: f64,
    pub(super) brake_n: f64,
}

/// Where the rider is and how fast the wheel turns.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct State {
    pub(super) chainage_m: f64,
    pub(super) speed_m_s: f64,
}

/// Force along travel on unit drag area: ½ρ w w∥ (1 + k w⊥²/w²), with its sign when the air comes from behind.
pub(super) fn drag_per_area_n_m2(mass_speed_m_s: f64, spot: &Spot, air: &Surroundings, yaw_coefficient: f64) -> f64 {
    let along = mass_speed_m_s - (air.wind_east_m_s * spot.heading_east + air.wind_north_m_s * spot.heading_north);
    let across = air.wind_north_m_s * spot.heading_east - air.wind_east_m_s * spot.heading_north;
    let square = along * along + across * across;
    let yaw =
        if yaw_coefficient == 0.0 || square == 0.0 { 1.0 } else { 1.0 + yaw_coefficient * across * across / square };
    0.5 * air.density_kg_m3 * square.sqrt() * along * yaw
}

impl Machine {
    fn lean(&self, speed_m_s: f64, spot: &Spot, air: &Surroundings) -> Lean {
        Lean::of(speed_m_s, spot.curvature_1_m, self.centre_of_mass_height_m, air.gravity_m_s2)
    }

    /// ½ m u² + ½ (I/r²) v² + m g (z + h (cos φ − 1)).
    fn energy_at_j(&self, speed_m_s: f64, spot: &Spot, air: &Surroundings) -> f64 {
        let height_j = self.mass_kg * air.gravity_m_s2 * spot.elevation_m;
        height_j + self.motion_j(speed_m_s, &self.lean(speed_m_s, spot, air), air)
    }

    fn motion_j(&self, speed_m_s: f64, lean: &Lean, air: &Surroundings) -> f64 {
        let drop_m = self.centre_of_mass_height_m * (1.0 - lean.cosine);
        0.5 * self.mass_kg * lean.mass_speed_m_s.powi(2) + 0.5 * self.wheel_mass_kg * speed_m_s * speed_m_s
            - self.mass_kg * air.gravity_m_s2 * drop_m
    }

    /// Wheel speed at which the motion holds the energy that is left above the height of the road.
    fn speed_m_s(&self, energy_j: f64, spot: &Spot, guess_m_s: f64, air: &Surroundings) -> f64 {
        let motion_j = energy_j - self.mass_kg * air.gravity_m_s2 * spot.elevation_m;
        if motion_j <= 0.0 {
            return 0.0;
        }
        let on_the_straight = (2.0 * motion_j / (self.mass_kg + self.wheel_mass_kg)).sqrt();
        if spot.curvature_1_m == 0.0 {
            return on_the_straight;
        }
        let mut speed = if guess_m_s > 0.0 { guess_m_s } else { on_the_straight };
        for _ in 0..20 {
            let lean = self.lean(speed, spot, air);
            let slope = self.mass_kg * lean.mass_speed_m_s * lean.mass_speed_slope + self.wheel_mass_kg * speed
                - self.mass_kg * air.gravity_m_s2 * self.centre_of_mass_height_m * lean.sine * lean.angle_slope_s_m;
            let change = (self.motion_j(speed, &lean, air) - motion_j) / slope;
            // Halving keeps the speed positive where Newton's step would pass zero.
            speed = if change < speed { speed - change } else { 0.5 * speed };
            if change.abs() <= 1e-7 * speed {
                break;
            }
        }
        speed
    }

    /// Power lost to rolling, air, bearings and brakes.
    pub(super) fn loss_w(&self, speed_m_s: f64, spot: &Spot, air: &Surroundings, brake_n: f64) -> f64 {
        let lean = self.lean(speed_m_s, spot, air);
        let rolling_n = self.crr * self.mass_kg * air.gravity_m_s2 * lean.load();
        let bearing_n = self.bearing.constant_n + self.bearing.linear_n_s_per_m * speed_m_s;
        let drag_n = self.cda_m2 * drag_per_area_n_m2(lean.mass_speed_m_s, spot, air, self.yaw_coefficient);
        (rolling_n + bearing_n + brake_n) * speed_m_s + drag_n * lean.mass_speed_m_s
    }

    /// One step of the classical fourth-order Runge–Kutta method in chainage and energy, drive held.
    ///
    /// dE/dt = ηP − losses, ds/dt = v(E, s): the energy of the motion, with lean and height in it, is itself the
    /// variable, so nothing is lost to rounding where curvature or gradient changes.
    pub(super) fn step(&self, state: State, drive: Drive, step_s: f64, course: &Course, air: &Surroundings) -> State {
        let start = course.at(state.chainage_m);
        let start_j = self.energy_at_j(state.speed_m_s, &start, air);
        let rate = |spot: &Spot, speed_m_s: f64| Rate {
            speed_m_s,
            energy_w: self.efficiency * drive.power_w - self.loss_w(speed_m_s, spot, air, drive.brake_n),
        };
        let go = |r: &Rate, h: f64| {
            let spot = course.at(state.chainage_m + h * r.speed_m_s);
            rate(&spot, self.speed_m_s(start_j + h * r.energy_w, &spot, r.speed_m_s, air))
        };
        let k1 = rate(&start, state.speed_m_s);
        let k2 = go(&k1, 0.5 * step_s);
        let k3 = go(&k2, 0.5 * step_s);
        let k4 = go(&k3, step_s);
        let sum = |f: fn(&Rate) -> f64| step_s / 6.0 * (f(&k1) + 2.0 * f(&k2) + 2.0 * f(&k3) + f(&k4));
        let chainage_m = state.chainage_m + sum(|r| r.speed_m_s);
        let energy_j = start_j + sum(|r| r.energy_w);
        State { chainage_m, speed_m_s: self.speed_m_s(energy_j, &course.at(chainage_m), k4.speed_m_s, air) }
    }
}

struct Rate {
    speed_m_s: f64,
    energy_w: f64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::PlannedLoop;
    use crate::session::Venue;

    const STILL: Surroundings =
        Surroundings { density_kg_m3: 1.2, gravity_m_s2: 9.80665, wind_east_m_s: 0.0, wind_north_m_s: 0.0 };
    const NO_BEARING: BearingFriction = BearingFriction { constant_n: 0.0, linear_n_s_per_m: 0.0 };

    fn machine() -> Machine {
        Machine {
            mass_kg: 85.0,
            wheel_mass_kg: 0.0,
            centre_of_mass_height_m: 1.05,
            efficiency: 0.976,
            bearing: NO_BEARING,
            crr: 0.004,
            cda_m2: 0.32,
            yaw_coefficient: 0.0,
        }
    }

    #[test]
    fn a_coast_down_takes_the_time_and_the_way_of_the_closed_form() {
        // m dv/dt = −(a + b v²): t = m/√(ab) [atan(v₁√(b/a)) − atan(v₂√(b/a))],
        // s = m/2b ln[(a + b v₁²)/(a + b v₂²)], written out here in plain arithmetic.
        let (a, b): (f64, f64) = (0.004 * 85.0 * 9.80665, 0.5 * 1.2 * 0.32);
        let angle = |v: f64| (v * (b / a).sqrt()).atan();
        let time_s = 85.0 / (a * b).sqrt() * (angle(12.0) - angle(8.0));
        let way_m = 85.0 / (2.0 * b) * ((a + b * 144.0) / (a + b * 64.0)).ln();
        assert!((time_s - 15.509372).abs() < 1e-6 && (way_m - 151.565167).abs() < 1e-6);

        let road = Course::level_road(1000.0);
        let (m, mut state, mut t) = (machine(), State { chainage_m: 0.0, speed_m_s: 12.0 }, 0.0);
        while t + STEP_S < time_s {
            state = m.step(state, Drive::default(), STEP_S, &road, &STILL);
            t += STEP_S;
        }
        state = m.step(state, Drive::default(), time_s - t, &road, &STILL);
        assert!((state.speed_m_s - 8.0).abs() < 1e-9, "speed {}", state.speed_m_s);
        assert!((state.chainage_m - way_m).abs() < 1e-6, "way {}", state.chainage_m);
    }

    #[test]
    fn rolling_freely_into_a_bend_the_wheel_gains_what_the_mass_drops() {
        // u'² = v² + 2 g h (1 − cos θ): straight speed, then wheel speed in the bend, R 22 m, h 1 m, iterated in
        // another language at g 9.80665.
        let m = Machine { centre_of_mass_height_m: 1.0, ..machine() };
        for (straight, wheel) in [(10.0, 10.3001), (12.0, 12.4734), (15.0, 15.7466)] {
            let spot = Spot { curvature_1_m: 1.0 / 22.0, ..Spot::default() };
            let found = m.speed_m_s(0.5 * m.mass_kg * straight * straight, &spot, straight, &STILL);
            assert!((found - wheel).abs() < 1e-4, "{found}");
        }
    }

    /// Work of drive and losses by Simpson's rule over pairs of steps, against the change of energy. The formulas
    /// are written out again, so that neither the lean nor the table of the course vouches for itself.
    fn energy_gap(plan: &PlannedLoop, wind_east_m_s: f64) -> f64 {
        let course = Course::of(plan).unwrap();
        let air = Surroundings { wind_east_m_s, ..STILL };
        let m = Machine { wheel_mass_kg: 1.25, bearing: BearingFriction::default(), ..machine() };
        let steps = 8000;
        let mut states = vec![State { chainage_m: -30.0, speed_m_s: 9.0 }];
        let power = 320.0;
        for i in 0..steps {
            states.push(m.step(states[i], Drive { power_w: power, brake_n: 0.0 }, STEP_S, &course, &air));
        }
        let angle = |v: f64, curvature: f64| {
            let mut u = v;
            let mut phi = 0.0_f64;
            for _ in 0..200 {
                phi = (u * v * curvature / 9.80665).atan();
                u = v * (1.0 - curvature * 1.05 * phi.sin());
            }
            (phi, u)
        };
        let net_w = |s: &State| {
            let spot = course.at(s.chainage_m);
            let (phi, u) = angle(s.speed_m_s, spot.curvature_1_m);
            let along = u - wind_east_m_s * spot.heading_east;
            let across = wind_east_m_s * spot.heading_north;
            let a = u * s.speed_m_s * spot.curvature_1_m;
            let _ = phi;
            0.976 * power
                - 0.004 * 85.0 * (9.80665_f64.powi(2) + a * a).sqrt() * s.speed_m_s
                - 0.5 * 1.2 * 0.32 * (along * along + across * across).sqrt() * along * u
                - (0.091 + 0.0087 * s.speed_m_s) * s.speed_m_s
        };
        let energy = |s: &State| {
            let spot = course.at(s.chainage_m);
            let (phi, u) = angle(s.speed_m_s, spot.curvature_1_m);
            0.5 * 85.0 * u * u
                + 0.5 * 1.25 * s.speed_m_s.powi(2)
                + 85.0 * 9.80665 * (spot.elevation_m + 1.05 * (phi.cos() - 1.0))
        };
        let work: f64 = (0..steps / 2)
            .map(|i| {
                STEP_S / 3.0 * (net_w(&states[2 * i]) + 4.0 * net_w(&states[2 * i + 1]) + net_w(&states[2 * i + 2]))
            })
            .sum();
        let turned_over = 0.976 * power * STEP_S * steps as f64;
        (energy(&states[steps]) - energy(&states[0]) - work).abs() / turned_over
    }

    #[test]
    fn energy_closes_to_a_millionth_on_a_leaning_track() {
        let track = PlannedLoop {
            kind: Venue::Track,
            length_m: Some(250.0),
            bend_radius_m: Some(22.0),
            transition_m: Some(12.0),
            ..PlannedLoop::default()
        };
        let gap = energy_gap(&track, 0.0);
        assert!(gap < 1e-6, "{gap:e}");
    }

    #[test]
    fn energy_closes_to_a_millionth_on_a_hilly_windy_loop() {
        let road = PlannedLoop { length_m: Some(900.0), elevation_amplitude_m: Some(6.0), ..PlannedLoop::default() };
        let gap = energy_gap(&road, 3.0);
        assert!(gap < 1e-6, "{gap:e}");
    }

    #[test]
    fn drag_at_a_yaw_is_that_of_the_stated_convention() {
        // By hand: 8 m/s along, 6 m/s across, w 10 m/s, sin²ψ 0.36; ½·1.2·10·8·(1 + 1.5·0.36) = 48 N/m² · 1.54 = 73.92.
        let air = Surroundings { wind_north_m_s: 6.0, ..STILL };
        let spot = Spot { heading_east: 1.0, ..Spot::default() };
        assert!((drag_per_area_n_m2(8.0, &spot, &air, 1.5) - 73.92).abs() < 1e-9);
        assert!((drag_per_area_n_m2(-8.0, &spot, &air, 1.5) + 73.92).abs() < 1e-9);
    }

    #[test]
    fn the_mean_drag_round_a_circle_in_wind_is_that_of_the_elliptic_integral() {
        // Mean of |w| w∥ / v² over all headings at a wind of 0.1, 0.2, 0.3 and 0.5 of the speed, by quadrature
        // in another language; 1 + ¾ε² for small ε.
        for (share, expected) in [(0.1, 1.007495), (0.2, 1.029925), (0.3, 1.067117), (0.5, 1.184505)] {
            let air = Surroundings { wind_east_m_s: share * 10.0, ..STILL };
            let mean = (0..720)
                .map(|i| f64::from(i).to_radians() / 2.0)
                .map(|h| {
                    drag_per_area_n_m2(
                        10.0,
                        &Spot { heading_east: h.cos(), heading_north: h.sin(), ..Spot::default() },
                        &air,
                        0.0,
                    )
                })
                .sum::<f64>()
                / 720.0;
            assert!((mean / (0.5 * 1.2 * 100.0) - expected).abs() < 1e-6, "{mean}");
        }
    }
}
