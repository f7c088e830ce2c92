//! What the rider holds in each lap: a planned speed, or a planned power and the speed that it gives.
//!
//! Given a plan; gives speeds and powers lap by lap. Speeds that come of powers are those on the level in still air. It
//! knows no wind, no slope and no scatter.

use super::atmosphere::density_kg_m3;
use super::plan_file::Plan;
use crate::constant::STANDARD_GRAVITY_M_S2;
use crate::quantity::{km_h_from_m_s, m_s_from_km_h};
use crate::session::Venue;

/// Speeds that no rider leaves, between which the one that a power holds is looked for, m/s.
const SPEEDS_M_S: [f64; 2] = [0.1, 60.0];
/// What braking to a halt and getting up to speed again cost beside the wait, s (common practice, no source).
const STOP_AND_START_S: f64 = 20.0;

/// Resistance on the level in still air: a + b v + c v², N.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LevelResistance {
    pub(crate) rolling_n: f64,
    pub(crate) per_speed_n_s_m: f64,
    pub(crate) per_square_n_s2_m2: f64,
    pub(crate) efficiency: f64,
}

impl LevelResistance {
    /// Power at the pedals that holds a speed.
    pub(crate) fn power_w(&self, speed_m_s: f64) -> f64 {
        let v = speed_m_s;
        (self.rolling_n + self.per_speed_n_s_m * v + self.per_square_n_s2_m2 * v * v) * v / self.efficiency
    }

    /// Speed that a power holds, by halving; power grows with speed throughout.
    pub(crate) fn speed_m_s(&self, power_w: f64) -> f64 {
        let [mut slow, mut fast] = SPEEDS_M_S;
        for _ in 0..60 {
            let middle = 0.5 * (slow + fast);
            if self.power_w(middle) < power_w {
                slow = middle;
            } else {
                fast = middle;
            }
        }
        0.5 * (slow + fast)
    }
}

/// What the rider holds in one lap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LapAim {
    pub(crate) speed_m_s: f64,
    /// Held instead of the speed, once that has been reached.
    pub(crate) power_w: Option<f64>,
    /// The lap belongs to the slower half of the planned speeds.
    pub(crate) is_slow: bool,
}

impl Plan {
    /// Planned speed of each lap, repeated over the laps: as stated, or to a tenth what the planned powers hold on the level in
    /// still air with the baseline.
    pub fn lap_speeds_km_h(&self) -> Vec<f64> {
        if self.powers_w.is_empty() {
            return self.speeds_km_h.clone();
        }
        let baseline = self.baseline.as_deref().and_then(|id| self.setups.iter().find(|s| s.id == id));
        let Some(setup) = baseline.or(self.setups.first()) else { return Vec::new() };
        let rider = &self.rider_and_bike;
        let air = density_kg_m3(self.air.temperature_c, self.air.pressure_hpa, self.air.humidity_pct);
        let level = LevelResistance {
            rolling_n: setup.crr * rider.mass_kg * STANDARD_GRAVITY_M_S2 + rider.bearing_friction.constant_n,
            per_speed_n_s_m: rider.bearing_friction.linear_n_s_per_m,
            per_square_n_s2_m2: 0.5 * air * setup.cda_m2,
            efficiency: rider.drivetrain_efficiency,
        };
        self.powers_w.iter().map(|&w| (10.0 * km_h_from_m_s(level.speed_m_s(w))).round() / 10.0).collect()
    }

    /// Planned speeds from the slowest, each once.
    pub fn distinct_speeds_km_h(&self) -> Vec<f64> {
        let mut speeds = self.lap_speeds_km_h();
        speeds.sort_by(f64::total_cmp);
        speeds.dedup();
        speeds
    }

    /// How long a run should take: the run-up, the laps at their planned speeds and the waits at a junction, or the stated
    /// time on rollers.
    pub fn nominal_duration_s(&self, run: usize) -> f64 {
        if self.venue_of(run) == Venue::Rollers {
            return self.run_duration_s;
        }
        let length_m = self.circuit.length_m.unwrap_or(0.0);
        let speeds = self.lap_speeds_km_h();
        let laps = speeds.iter().cycle().take(self.laps_per_run);
        let riding_s = 60.0 + laps.map(|&v| length_m / m_s_from_km_h(v)).sum::<f64>();
        match self.day.junction_at {
            Some(_) => {
                riding_s
                    + self.laps_per_run as f64 * self.day.junction_stops * (self.day.junction_wait_s + STOP_AND_START_S)
            }
            None => riding_s,
        }
    }

    /// What is held in each lap, repeated over the laps.
    pub(crate) fn lap_aims(&self) -> Vec<LapAim> {
        let speeds = self.distinct_speeds_km_h();
        let middle = 0.5 * (speeds.first().unwrap_or(&0.0) + speeds.last().unwrap_or(&0.0));
        let aim = |(i, km_h): (usize, f64)| LapAim {
            speed_m_s: m_s_from_km_h(km_h),
            power_w: self.powers_w.get(i).copied(),
            is_slow: km_h < middle,
        };
        self.lap_speeds_km_h().into_iter().enumerate().map(aim).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_planned_power_gives_the_speed_that_it_holds_on_the_level() {
        // By hand at ρ 1.2, CdA 0.3, Crr 0.005, 80 kg, no bearings, η 1 and 10 m/s: (3.92266 + 18) N · 10 m/s = 219.2 W.
        let level =
            LevelResistance { rolling_n: 3.92266, per_speed_n_s_m: 0.0, per_square_n_s2_m2: 0.18, efficiency: 1.0 };
        assert!((level.speed_m_s(219.2266) - 10.0).abs() < 1e-9);
        let text = "order = [\"a\"]\npowers_w = [150.0, 300.0]\nrider_and_bike.mass_kg = 80.0\nloop.length_m = 900.0\n\
                    [[setup]]\nid = \"a\"\ncda_m2 = 0.3\ncrr = 0.005\n";
        let plan = Plan::from_toml(text, "plan.toml").unwrap();
        let aims = plan.lap_aims();
        assert_eq!(
            aims.iter().map(|a| (a.power_w, a.is_slow)).collect::<Vec<_>>(),
            [(Some(150.0), true), (Some(300.0), false)]
        );
        // Twice the power is a little less than 2^(1/3) times the speed, because rolling takes its share.
        let ratio = aims[1].speed_m_s / aims[0].speed_m_s;
        assert!((1.26..1.36).contains(&ratio), "{ratio}");
    }
}
