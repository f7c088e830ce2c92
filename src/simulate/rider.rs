//! The rider: how hard the pedals are pushed from step to step.
//!
//! Given the speed or power planned for the lap, the speed ridden and the slope; gives power at the pedals. A rider who aims
//! at a speed holds power more steadily than speed, so that a gust or a rise slows the bicycle, as on the road; one who
//! aims at a power gets up to speed and then lets speed be what it will. The rider knows the usual resistance but feels
//! neither wind nor sensors.

use super::chance::Wander;
use super::motion::{Machine, STEP_S};
use crate::plan::{LapAim, LevelResistance, Noise};
use rand_xoshiro::Xoshiro256PlusPlus;

/// Growth and fall of the speed aimed at, m/s² (common practice, no source, like everything below).
const QUICKER_M_S2: f64 = 0.25;
const SLOWER_M_S2: f64 = 0.18;
/// Time in which the rider would make good a difference in speed, s.
const PATIENCE_S: f64 = 9.0;
/// Share of the power a slope asks for that is given at once.
const SLOPE_SHARE: f64 = 0.5;
/// Time in which the legs follow the will, s.
const LEGS_S: f64 = 0.7;
/// Correlation time of the wandering of pace, s.
const PACE_TIME_S: f64 = 40.0;
/// Force at the tyre that limits power at walking pace, N.
const GRIP_N: f64 = 220.0;

/// Resistance as the rider has learnt it, in still air.
#[derive(Debug, Clone, Copy)]
pub(super) struct Feel {
    pub(super) level: LevelResistance,
    /// Mass that has to be brought to speed.
    pub(super) inertia_kg: f64,
    pub(super) weight_n: f64,
}

impl Feel {
    pub(super) fn on_the_road(machine: &Machine, density_kg_m3: f64, gravity_m_s2: f64) -> Feel {
        let weight_n = machine.mass_kg * gravity_m_s2;
        Feel {
            level: LevelResistance {
                rolling_n: machine.crr * weight_n + machine.bearing.constant_n,
                per_speed_n_s_m: machine.bearing.linear_n_s_per_m,
                per_square_n_s2_m2: 0.5 * density_kg_m3 * machine.cda_m2,
                efficiency: machine.efficiency,
            },
            inertia_kg: machine.mass_kg + machine.wheel_mass_kg,
            weight_n,
        }
    }

    /// Power at the pedals that holds a speed on the level.
    pub(super) fn steady_w(&self, speed_m_s: f64) -> f64 {
        self.level.power_w(speed_m_s)
    }
}

pub(super) struct Rider {
    feel: Feel,
    ceiling_w: f64,
    aim_m_s: f64,
    /// Has not come up to the planned speed since the start or the last halt.
    is_getting_up: bool,
    power_w: f64,
    pace: Wander,
    effort: Wander,
    random: Xoshiro256PlusPlus,
}

impl Rider {
    /// A rider who rolls at `start_m_s` and will be asked for no more than `fastest_m_s`.
    pub(super) fn new(
        feel: Feel,
        start_m_s: f64,
        fastest_m_s: f64,
        noise: &Noise,
        mut random: Xoshiro256PlusPlus,
    ) -> Rider {
        Rider {
            feel,
            ceiling_w: 1.3 * feel.steady_w(fastest_m_s) + 60.0,
            aim_m_s: start_m_s,
            is_getting_up: true,
            power_w: feel.steady_w(start_m_s),
            pace: Wander::new(noise.pace_cv, PACE_TIME_S, STEP_S, &mut random),
            effort: Wander::new(noise.rider_cv, noise.rider_time_s, STEP_S, &mut random),
            random,
        }
    }

    /// Power for the next step.
    pub(super) fn push_w(&mut self, planned: &LapAim, speed_m_s: f64, gradient: f64) -> f64 {
        let change = (planned.speed_m_s - self.aim_m_s).clamp(-SLOWER_M_S2 * STEP_S, QUICKER_M_S2 * STEP_S);
        self.aim_m_s += change;
        self.is_getting_up &= self.aim_m_s < planned.speed_m_s;
        let pace = 1.0 + self.pace.advance(&mut self.random);
        let aim = self.aim_m_s * pace;
        let effort = 1.0 + self.effort.advance(&mut self.random);
        let inertia = self.feel.inertia_kg * speed_m_s * (change / STEP_S + (aim - speed_m_s) / PATIENCE_S);
        let slope = SLOPE_SHARE * self.feel.weight_n * gradient * speed_m_s;
        let ceiling = self.ceiling_w.min(GRIP_N * (speed_m_s + 0.5));
        let by_speed = (self.feel.steady_w(aim) + (inertia + slope) / self.feel.level.efficiency).clamp(0.0, ceiling);
        let will = match planned.power_w {
            // The wandering is that of a speed, so that riders of both kinds are as uneven.
            Some(held_w) if !self.is_getting_up => {
                let uneven = self.feel.steady_w(planned.speed_m_s * pace) / self.feel.steady_w(planned.speed_m_s);
                (held_w * uneven).clamp(0.0, ceiling)
            }
            _ => by_speed,
        };
        self.power_w += (will * effort.max(0.0) - self.power_w) * STEP_S / LEGS_S;
        self.power_w.max(0.0)
    }

    /// The rider stops pedalling, as when braking; the aim starts again from the speed at hand.
    pub(super) fn rest(&mut self, speed_m_s: f64) {
        self.power_w = 0.0;
        self.aim_m_s = speed_m_s;
        self.is_getting_up = true;
    }
}
