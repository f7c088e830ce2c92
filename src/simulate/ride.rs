//! One ride round a loop or track: rider, gusts, mishaps and a junction put into the equation of motion.
//!
//! Given ground, machine, air and what is planned for each lap; gives the true [`Trace`] and when the gate was passed. It
//! records nothing: that is for the sensors.

use super::chance::Wander;
use super::junction::Junction;
use super::motion::{Drive, Machine, STEP_S, State, Surroundings};
use super::rider::{Feel, Rider};
use super::trace::Trace;
use super::wind_field::WindField;
use crate::plan::{Course, LapAim, Mishap, MishapKind, Noise};
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
    pub(super) wind_field: &'a WindField,
    /// Drag in slow laps over that in the others, less 1.
    pub(super) slow_lap_cda_excess: f64,
    pub(super) noise: &'a Noise,
    /// What is held in each lap, repeated over the laps.
    pub(super) aims: &'a [LapAim],
    pub(super) laps: usize,
    pub(super) mishaps: Vec<Mishap>,
    pub(super) junction: Junction,
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
    /// When braking began at the junction.
    pub(super) stopped_s: Vec<f64>,
    /// Mean wind in the open over the ride, gusts included.
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
    let fastest = task.aims.iter().map(|a| a.speed_m_s).fold(START_M_S, f64::max);
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
    let mut junction = task.junction.clone();
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
        let open_east = task.wind.east_m_s + task.wind.east_m_s2 * time_s;
        let open_north = task.wind.north_m_s + task.wind.north_m_s2 * time_s;
        let (gust_east_m_s, gust_north_m_s) = (gust_east.advance(gusts), gust_north.advance(gusts));
        let [east, north] = task.wind_field.at(state.chainage_m, open_east, open_north);
        let air = Surroundings {
            density_kg_m3: task.density_kg_m3,
            gravity_m_s2: task.gravity_m_s2,
            wind_east_m_s: east + gust_east_m_s,
            wind_north_m_s: north + gust_north_m_s,
        };
        (east_sum, north_sum) = (east_sum + (open_east + gust_east_m_s), north_sum + (open_north + gust_north_m_s));
        let planned = planned(task.aims, state.chainage_m / length_m);
        let trouble = match mishap_at(&task.mishaps, time_s) {
            None if junction.stops(time_s, state.chainage_m, state.speed_m_s, BRAKING_M_S2) => Some(Trouble::Stop),
            other => other,
        };
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
                Drive { power_w: rider.push_w(&planned, state.speed_m_s, gradient), brake_n: 0.0 }
            }
        };
        if halted {
            state.speed_m_s = 0.0;
        } else {
            let excess = if planned.is_slow { task.slow_lap_cda_excess } else { 0.0 };
            let machine = Machine {
                crr: task.machine.crr + task.crr_growth_per_s * time_s,
                cda_m2: task.machine.cda_m2 * (1.0 + excess),
                ..task.machine
            };
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
    Ride {
        trace,
        gate_passes_s,
        stopped_s: junction.stopped_s,
        wind_east_m_s: east_sum / steps,
        wind_north_m_s: north_sum / steps,
    }
    .checked()
}

impl Ride {
    fn checked(self) -> Result<Ride, String> {
        let finite = self.trace.speed_m_s.last().is_some_and(|v| v.is_finite());
        if finite { Ok(self) } else { Err("the motion did not stay finite; check the planned values".into()) }
    }
}

/// What is planned for the lap at a number of laps ridden.
fn planned(aims: &[LapAim], laps: f64) -> LapAim {
    let lap = laps.floor().max(0.0) as usize;
    let nothing = LapAim { speed_m_s: START_M_S, power_w: None, is_slow: false };
    aims.get(lap % aims.len().max(1)).copied().unwrap_or(nothing)
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
    use crate::plan::{LoopShape, PlannedDay, PlannedLoop};
    use crate::session::BearingFriction;
    use crate::simulate::chance::{Purpose, stream};

    fn leg_speeds(wind_m_s: f64, power_w: Option<f64>) -> [f64; 2] {
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
                yaw_coefficient: 0.0,
            },
            crr_growth_per_s: 0.0,
            density_kg_m3: 1.2,
            gravity_m_s2: 9.80665,
            // The home leg goes east, so this is a head wind there.
            wind: MeanWind { east_m_s: -wind_m_s, ..MeanWind::default() },
            noise: &noise,
            wind_field: &WindField::of(&PlannedDay::default(), 1800.0),
            slow_lap_cda_excess: 0.0,
            aims: &[LapAim { speed_m_s: 9.0, power_w, is_slow: false }],
            laps: 2,
            mishaps: Vec::new(),
            junction: Junction::default(),
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
        let [out, back] = leg_speeds(0.0, None);
        assert!((out - 9.0).abs() < 0.05 && (back - 9.0).abs() < 0.05, "{out} {back}");
        let [into, with] = leg_speeds(2.5, None);
        // Held speed would show no difference, held power 3.05 m/s: (3.92 N + 0.18 (v ± 2.5)²) v = 166.5 W at 7.54 and
        // 10.59 m/s, by hand.
        assert!(with - into > 0.5 && with - into < 2.5, "{into} {with}");
    }

    #[test]
    fn a_rider_who_holds_power_lets_the_wind_have_its_way() {
        // The speeds that 166.5 W hold against and with 2.5 m/s, from the same equation as above; a leg of 770 m is
        // enough to come within some 2 % of them.
        let [into, with] = leg_speeds(2.5, Some(166.5));
        assert!((into - 7.54).abs() < 0.2 && (with - 10.59).abs() < 0.25, "{into} {with}");
    }
}
