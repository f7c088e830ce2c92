//! A run of the day ridden, on the loop or on rollers, before anything is recorded.
//!
//! Given the day, a run and its set-up; gives the trace with the passes of the gate.

use super::Day;
use super::of_run::RunCrr;
use crate::error::Error;
use crate::plan::{Course, Mishap, PlannedSetup};
use crate::quantity::m_s_from_km_h;
use crate::simulate::chance::{Purpose, stream};
use crate::simulate::drums::{self, DrumTask};
use crate::simulate::junction::Junction;
use crate::simulate::motion::Machine;
use crate::simulate::ride::{self, MeanWind, Task};
use crate::simulate::trace::Trace;

/// A run as it was ridden, before anything is recorded.
#[derive(Default)]
pub(super) struct Ridden {
    pub(super) trace: Trace,
    pub(super) gate_passes_s: Vec<f64>,
    pub(super) stopped_s: Vec<f64>,
    pub(super) wind_east_m_s: f64,
    pub(super) wind_north_m_s: f64,
}

impl Day<'_> {
    fn machine(&self, run: usize, crr: f64, cda_m2: f64) -> Machine {
        let r = &self.instruments.rider_and_bike;
        Machine {
            mass_kg: self.weighings[run].true_kg,
            wheel_mass_kg: r.wheel_inertia_kg_m2 / r.wheel_radius_m.powi(2),
            centre_of_mass_height_m: r.centre_of_mass_height_m,
            efficiency: r.drivetrain_efficiency,
            bearing: r.bearing_friction,
            crr,
            cda_m2,
            yaw_coefficient: self.plan.day.yaw_coefficient,
        }
    }

    fn room_above_air_c(&self) -> f64 {
        let of_room = self.plan.rollers.air.and_then(|air| air.temperature_c);
        of_room.map_or(0.0, |t| t - self.plan.air.temperature_c)
    }

    pub(super) fn on_rollers(&self, run: usize, setup: &PlannedSetup) -> Ridden {
        let first = self.plan.speeds_km_h.first().copied();
        let speed_km_h = self.plan.rollers_speed_km_h.or(first).unwrap_or(30.0);
        let of_setup = setup.crr_rollers.unwrap_or(setup.crr);
        let crr = self.crr(run, setup).map_or(of_setup, |c| c.at_start);
        let task = DrumTask {
            machine: self.machine(run, crr, setup.cda_m2),
            rollers: &self.instruments.rollers,
            noise: &self.plan.noise,
            gravity_m_s2: self.gravity_m_s2,
            wheel_radius_m: self.instruments.rider_and_bike.wheel_radius_m,
            // A room of its own is read with the same thermometer.
            temperature_c: self.instruments.temperature_c + self.room_above_air_c(),
            speed_m_s: m_s_from_km_h(speed_km_h),
            duration_s: self.plan.run_duration_s,
        };
        Ridden { trace: drums::ride(&task, stream(self.seed, run, Purpose::Rider)), ..Ridden::default() }
    }

    pub(super) fn on_the_loop(
        &self,
        run: usize,
        setup: &PlannedSetup,
        course: &Course,
        mishaps: Vec<Mishap>,
    ) -> Result<Ridden, Error> {
        let aims = self.plan.lap_aims();
        let standing_s: f64 = mishaps.iter().map(|m| m.duration_s).sum();
        let crr =
            self.crr(run, setup).unwrap_or(RunCrr { of_setup: setup.crr, at_start: setup.crr, growth_per_s: 0.0 });
        let task = Task {
            course,
            machine: self.machine(run, crr.at_start, self.changes(run).cda * setup.cda_m2),
            crr_growth_per_s: crr.growth_per_s,
            density_kg_m3: self.instruments.air_density_kg_m3,
            gravity_m_s2: self.gravity_m_s2,
            wind: self.wind(run),
            wind_field: &self.wind_field,
            slow_lap_cda_excess: self.plan.day.slow_lap_cda_excess,
            noise: &self.plan.noise,
            aims: &aims,
            laps: self.plan.laps_per_run,
            mishaps,
            junction: Junction::of(
                &self.plan.day,
                self.plan.laps_per_run,
                course.length_m,
                &mut stream(self.seed, run, Purpose::Junction),
            ),
            limit_s: 1.5 * self.plan.nominal_duration_s(run) + 1.5 * standing_s + 120.0,
        };
        let mut gusts = stream(self.seed, run, Purpose::Gusts);
        let ridden = ride::ride(&task, &mut gusts, stream(self.seed, run, Purpose::Rider))
            .map_err(|reason| Error::NotRidden { run: run + 1, reason })?;
        Ok(Ridden {
            trace: ridden.trace,
            gate_passes_s: ridden.gate_passes_s,
            stopped_s: ridden.stopped_s,
            wind_east_m_s: ridden.wind_east_m_s,
            wind_north_m_s: ridden.wind_north_m_s,
        })
    }

    /// The mean wind at the start of a run; the day's drift changes its speed, not its direction.
    fn wind(&self, run: usize) -> MeanWind {
        let w = &self.plan.wind;
        let per_second = self.plan.noise.wind_drift_m_s_per_h / 3600.0;
        let since_s = (self.starts_s[run] - self.starts_s[0]) as f64;
        let speed = w.speed_m_s + per_second * since_s;
        // Where it comes from is opposite to where it goes.
        let (east, north) = (-w.from_deg.to_radians().sin(), -w.from_deg.to_radians().cos());
        MeanWind {
            east_m_s: speed * east,
            north_m_s: speed * north,
            east_m_s2: per_second * east,
            north_m_s2: per_second * north,
        }
    }
}
