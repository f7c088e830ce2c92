//! One ride round a loop or track: rider, gusts and mishaps put into the equation of motion.
//!
//! Given ground, machine, air and the planned speeds; gives the true [`Trace`] and when the gate was passed. It
//! records nothing: that is for the sensors.

use super::chance::Wander;
use super::course::Course;
use super::motion::{Drive, Machine, STEP_S, State, Surroundings};
use super::noise::{Mishap, MishapKind, Noise};
use super::rider::{Feel, Rider};
use super::trace::Trace;
use rand_xoshiro::Xoshiro256PlusPlus;

/// Speed at which a ride begins, m/s.
const START_M_S: f64 = 5.0;
/// Riding on after the last pass of the gate, s.
const OVERRUN_S: f64 = 8.0;
/// Slowing down by the brakes, m/s² (common practice for calm braking, no source).
const BRAKING_M_S2: f64 = 1.2;
/// A braking that is not a stop leaves this speed, m/s.
const BRAKED_M_S: f64 = 3.0;

/// Everything that decides a ride but chance.
pub(super) struct Task<'a> {
    pub(super) course: &'a Course,
    /// With the Crr of the start of the ride.
    pub(super) machine: Machine,
    pub(super) crr_growth_per_s: f64,
    pub(super) density_kg_m3: f64,
    pub(super) gravity_m_s2: f64,
    pub(super) wind: MeanWind,
    pub(super) noise: &'a Noise,
    /// Planned speed of each lap, repeated over the laps.
    pub(super) speeds_m_s: &'a [f64],
    pub(super) laps: usize,
    pub(super) mishaps: Vec<Mishap>,
    /// A ride that takes longer has failed, s.
    pub(super) limit_s: f64,
}

/// Mean wind at the start of a ride and its growth, as the vector the air moves along.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct MeanWind {
    pub(super) east_m_s: f64,
    pub(super) north_m_s: f64,
    pub(super) east_m_s2: f64,
    pub(super) north_m_s2: f64,
}

/// A ride as it was.
pub(super) struct Ride {
    pub(super) trace: Trace,
    /// From the start of the ride; one more than there are laps.
    pub(super) gate_passes_s: Vec<f64>,
    /// Mean wind over the ride, gusts included.
    pub(super) wind_east_m_s: f64,
    pub(super) wind_north_m_s: f64,
}

/// Length ridden before the first pass of the gate.
fn run_up_m(length_m: f64) -> f64 {
    (0.25 * length_m).clamp(60.0, 150.0)
}

/// Rides all laps, or says in which lap the rider was when time ran out.
pub(super) fn ride(task: &Task, gusts: &mut Xoshiro256PlusPlus, rider: Xoshiro256PlusPlus) -> Result<Ride, String> {
    let length_m = task.course.length_m;
    let fastest = task.speeds_m_s.iter().copied().fold(START_M_S, f64::max);
    let feel = Feel::on_the_road(&task.machine, task.density_kg_m3, task.gravity_m_s2);
    let mut rider = Rider::new(feel, START_M_S, fastest, task.noise, rider);
    let gust = |random: &mut _| Wander::new(task.noise.gust_sd_m_s, task.noise.gust_time_s, STEP_S, random);
    let (mut gust_east, mut gust_north) = (gust(gusts), gust(gusts));
    let mut state = State { chainage_m: -run_up_m(length_m), speed_m_s: START_M_S };
    let mut trace = Trace { step_s: STEP_S, ..Trace::default() };
    let (mut work_j, mut east_sum, mut north_sum) = (0.0, 0.0, 0.0);
    let end_m = task.laps as f64 * length_m;
    let mut end_step = None;
    let mut halted = false;
    trace.push(state.chainage_m, state.speed_m_s, work_j);
    for step in 0.. {
        let time_s = step as f64 * STEP_S;
        if end_step.is_none() && state.chainage_m >= end_m {
            end_step = Some(step + (OVERRUN_S / STEP_S) as usize);
        }
        if end_step.is_some_and(|end| step >= end) {
            break;
        }
        if time_s > task.limit_s {
            let lap = (state.chainage_m / length_m).floor().max(0.0) as usize + 1;
            return Err(format!(
                "lap {lap} of {} is not finished after {:.0} s; the rider cannot hold the planned speeds against this wind, slope or resistance",
                task.laps, task.limit_s
            ));
        }
        let air = Surroundings {
            density_kg_m3: task.density_kg_m3,
            gravity_m_s2: task.gravity_m_s2,
            wind_east_m_s: task.wind.east_m_s + task.wind.east_m_s2 * time_s + gust_east.advance(gusts),
            wind_north_m_s: task.wind.north_m_s + task.wind.north_m_s2 * time_s + gust_north.advance(gusts),
        };
        (east_sum, north_sum) = (east_sum + air.wind_east_m_s, north_sum + air.wind_north_m_s);
        let trouble = mishap_at(&task.mishaps, time_s);
        let drive = match trouble {
            Some(Trouble::Stop) if halted || state.speed_m_s < 0.2 => {
                halted = true;
                Drive::default()
            }
            Some(Trouble::Stop) => Drive { power_w: 0.0, brake_n: BRAKING_M_S2 * feel.inertia_kg },
            Some(Trouble::Brake) if state.speed_m_s > BRAKED_M_S => {
                Drive { power_w: 0.0, brake_n: BRAKING_M_S2 * feel.inertia_kg }
            }
            _ => {
                halted = false;
                let gradient = task.course.at(state.chainage_m).gradient;
                let planned = planned_m_s(task.speeds_m_s, state.chainage_m / length_m);
                Drive { power_w: rider.push_w(planned, state.speed_m_s, gradient), brake_n: 0.0 }
            }
        };
        if halted {
            state.speed_m_s = 0.0;
        } else {
            let machine = Machine { crr: task.machine.crr + task.crr_growth_per_s * time_s, ..task.machine };
            state = machine.step(state, drive, STEP_S, task.course, &air);
        }
        if drive.power_w == 0.0 && trouble.is_some() {
            rider.rest(state.speed_m_s);
        }
        work_j += drive.power_w * STEP_S;
        trace.push(state.chainage_m, state.speed_m_s, work_j);
    }
    let mut gate_passes_s = trace.passes(0.0, length_m);
    gate_passes_s.truncate(task.laps + 1);
    let steps = (trace.chainage_m.len() - 1) as f64;
    Ride { trace, gate_passes_s, wind_east_m_s: east_sum / steps, wind_north_m_s: north_sum / steps }.checked()
}

impl Ride {
    fn checked(self) -> Result<Ride, String> {
        let finite = self.trace.speed_m_s.last().is_some_and(|v| v.is_finite());
        if finite { Ok(self) } else { Err("the motion did not stay finite; check the planned values".into()) }
    }
}

/// The speed planned for the lap at a number of laps ridden.
fn planned_m_s(speeds_m_s: &[f64], laps: f64) -> f64 {
    let lap = laps.floor().max(0.0) as usize;
    speeds_m_s.get(lap % speeds_m_s.len().max(1)).copied().unwrap_or(START_M_S)
}

enum Trouble {
    Stop,
    Brake,
}

fn mishap_at(mishaps: &[Mishap], time_s: f64) -> Option<Trouble> {
    let now = mishaps.iter().filter(|m| time_s >= m.at_s && time_s < m.at_s + m.duration_s);
    now.filter_map(|m| match m.kind {
        MishapKind::Stop => Some(Trouble::Stop),
        MishapKind::Braking => Some(Trouble::Brake),
        MishapKind::PowerLost => None,
    })
    .next()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::chance::{Purpose, stream};
    use crate::plan::plan_file::{LoopShape, PlannedLoop};
    use crate::session::BearingFriction;

    fn leg_speeds(wind_m_s: f64) -> [f64; 2] {
        let plan = PlannedLoop {
            shape: LoopShape::OutAndBack,
            length_m: Some(1800.0),
            elevation_amplitude_m: Some(0.0),
            ..PlannedLoop::default()
        };
        let course = Course::of(&plan).unwrap();
        let noise = Noise { gust_sd_m_s: 0.0, rider_cv: 0.0, pace_cv: 0.0, ..Noise::default() };
        let task = Task {
            course: &course,
            machine: Machine {
                mass_kg: 85.0,
                wheel_mass_kg: 1.25,
                centre_of_mass_height_m: 1.05,
                efficiency: 0.976,
                bearing: BearingFriction::default(),
                crr: 0.0045,
                cda_m2: 0.3,
            },
            crr_growth_per_s: 0.0,
            density_kg_m3: 1.2,
            gravity_m_s2: 9.80665,
            // The home leg goes east, so this is a head wind there.
            wind: MeanWind { east_m_s: -wind_m_s, ..MeanWind::default() },
            noise: &noise,
            speeds_m_s: &[9.0],
            laps: 2,
            mishaps: Vec::new(),
            limit_s: 3600.0,
        };
        let ride = ride(&task, &mut stream(1, 0, Purpose::Gusts), stream(1, 0, Purpose::Rider)).unwrap();
        let second_lap = ride.gate_passes_s[1];
        // 350 m past the gate the rider is on the home leg, 800 m later on the other one.
        let at = |chainage: f64| {
            let i = ride.trace.chainage_m.partition_point(|&s| s < 1800.0 + chainage);
            assert!(i as f64 * STEP_S > second_lap);
            ride.trace.speed_m_s[i]
        };
        [at(350.0), at(1150.0)]
    }

    #[test]
    fn a_head_wind_slows_the_rider_who_then_works_harder_only_in_part() {
        let [out, back] = leg_speeds(0.0);
        assert!((out - 9.0).abs() < 0.05 && (back - 9.0).abs() < 0.05, "{out} {back}");
        let [into, with] = leg_speeds(2.5);
        // Held speed would show no difference, held power 3.05 m/s: (3.92 N + 0.18 (v ± 2.5)²) v = 166.5 W at 7.54 and
        // 10.59 m/s, by hand.
        assert!(with - into > 0.5 && with - into < 2.5, "{into} {with}");
    }
}
