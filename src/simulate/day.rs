//! A planned day, ridden: every run simulated and recorded, with the truth beside it.
//!
//! Given a plan and a seed; gives the rides, the session that belongs to them and what was true. The same plan and
//! seed give the same bytes. It reads no clock, writes no file and solves nothing.

mod of_run;
mod riding;

use super::instruments::{self, Instruments, Weighing};
use super::sensor::{Recorded, Scene, SimulatedRide, record};
use super::survey::survey;
use super::truth::{RunTruth, SetupTruth, Truth};
use super::wind_field::WindField;
use crate::constant::{STANDARD_GRAVITY_M_S2, normal_gravity_m_s2};
use crate::error::Error;
use crate::plan::{Course, Plan, session_of};
use crate::session::{Session, Venue};
use rayon::prelude::*;

/// Places round the lap at which the truth says what share of the wind reaches the rider.
const SHELTER_PLACES: usize = 36;
/// A day that was simulated.
#[derive(Debug, Clone, PartialEq)]
pub struct Rehearsal {
    /// What the tester would write down.
    pub session: Session,
    /// One a run, in the order of riding.
    pub rides: Vec<SimulatedRide>,
    pub truth: Truth,
    /// The text of the survey, where one was planned.
    pub survey: Option<String>,
}

/// Rides the plan once.
///
/// The plan is checked first. Errors: those of [`Plan::check`], and [`Error::NotRidden`] when the planned speeds
/// cannot be held.
///
/// ```
/// use loopwright::plan::Plan;
/// use loopwright::simulate::simulate;
/// let plan = Plan::from_toml(
///     r#"
///     order = ["a"]
///     laps_per_run = 2
///     speeds_km_h = [29.0, 41.0]
///     rider_and_bike.mass_kg = 85.0
///     loop.length_m = 900.0
///     [[setup]]
///     id = "a"
///     cda_m2 = 0.30
///     crr = 0.0045
///     "#,
///     "PLAN.toml",
/// )?;
/// let day = simulate(&plan, 1)?;
/// assert_eq!(day.truth.runs[0].gate_passes_s.len(), 3);
/// # Ok::<(), loopwright::error::Error>(())
/// ```
pub fn simulate(plan: &Plan, seed: u64) -> Result<Rehearsal, Error> {
    plan.check()?;
    let on_a_loop = (0..plan.order.len()).any(|run| plan.venue_of(run) != Venue::Rollers);
    let course = match on_a_loop {
        true => Some(Course::of(&plan.circuit).map_err(inconsistent)?),
        false => None,
    };
    let day = Day {
        plan,
        seed,
        gravity_m_s2: gravity_m_s2(plan, course.as_ref()),
        course,
        wind_field: WindField::of(&plan.day, plan.circuit.length_m.unwrap_or(1.0)),
        instruments: instruments::draw(plan, seed),
        weighings: instruments::weigh(plan, seed),
        starts_s: starts_s(plan)?,
    };
    let runs: Vec<Run> = (0..plan.order.len()).into_par_iter().map(|run| day.run(run)).collect::<Result<_, _>>()?;
    let stated_kg: Vec<f64> = day.weighings.iter().map(|w| w.stated_kg).collect();
    let setups = plan.setups.iter().map(|s| SetupTruth {
        id: s.id.clone(),
        cda_m2: s.cda_m2,
        crr: s.crr,
        crr_rollers: s.crr_rollers,
    });
    let (rides, truths) = runs.into_iter().map(|r| (r.ride, r.truth)).unzip();
    Ok(Rehearsal {
        session: session_of(plan, &stated_kg, day.instruments.wind_scale),
        rides,
        survey: day.course.as_ref().zip(plan.circuit.survey_sd_m).map(|(course, sd_m)| survey(course, sd_m, seed)),
        truth: Truth {
            title: plan.title.clone(),
            seed,
            gravity_m_s2: day.gravity_m_s2,
            loop_length_m: plan.circuit.length_m.filter(|_| on_a_loop),
            yaw_coefficient: Some(plan.day.yaw_coefficient).filter(|k| *k != 0.0),
            wind_share: if on_a_loop { day.wind_field.table(SHELTER_PLACES) } else { Vec::new() },
            gate: day.course.as_ref().filter(|_| plan.circuit.has_positions()).map(|c| c.origin),
            instruments: day.instruments,
            setups: setups.collect(),
            runs: truths,
        },
    })
}

fn inconsistent(message: String) -> Error {
    Error::Inconsistent { file: "plan".into(), line: None, message }
}

/// Normal gravity at the place where positions tell it, else the standard one.
fn gravity_m_s2(plan: &Plan, course: Option<&Course>) -> f64 {
    match course {
        Some(c) if plan.circuit.has_positions() => normal_gravity_m_s2(c.origin.lat_deg, c.altitude_m),
        _ => STANDARD_GRAVITY_M_S2,
    }
}

/// Unix time at which each run starts, on whole minutes.
fn starts_s(plan: &Plan) -> Result<Vec<i64>, Error> {
    let first: jiff::Timestamp =
        plan.start.parse().map_err(|e| inconsistent(format!("start = \"{}\" is not a time: {e}", plan.start)))?;
    let mut starts = Vec::with_capacity(plan.order.len());
    let mut offset_s = 0.0;
    for run in 0..plan.order.len() {
        starts.push(first.as_second() + (offset_s / 60.0_f64).ceil() as i64 * 60);
        offset_s += plan.nominal_duration_s(run) + plan.pause_between_runs_s;
    }
    Ok(starts)
}

struct Day<'a> {
    plan: &'a Plan,
    seed: u64,
    course: Option<Course>,
    gravity_m_s2: f64,
    wind_field: WindField,
    instruments: Instruments,
    weighings: Vec<Weighing>,
    starts_s: Vec<i64>,
}

struct Run {
    ride: SimulatedRide,
    truth: RunTruth,
}

impl Day<'_> {
    fn run(&self, run: usize) -> Result<Run, Error> {
        let plan = self.plan;
        let Some(setup) = plan.setup_of(run) else {
            return Err(inconsistent(format!("run {} names a set-up that is not there", run + 1)));
        };
        let mishaps: Vec<_> = plan.mishaps.iter().filter(|m| m.run == run + 1).copied().collect();
        let ridden = match (plan.venue_of(run), &self.course) {
            (Venue::Rollers, _) => self.on_rollers(run, setup),
            (_, Some(course)) => self.on_the_loop(run, setup, course, mishaps.clone())?,
            (_, None) => return Err(inconsistent(format!("run {} has no loop to be ridden on", run + 1))),
        };
        let positions = plan.venue_of(run) != Venue::Rollers && plan.circuit.has_positions();
        let scene = Scene {
            trace: &ridden.trace,
            course: self.course.as_ref().filter(|_| positions),
            marks_s: if positions { &[] } else { &ridden.gate_passes_s },
            noise: &plan.noise,
            instruments: &self.instruments,
            mishaps: &mishaps,
        };
        let file = format!("run-{}.fit", run + 1);
        let Recorded { ride, speed_behind_power_s } = record(&scene, file, self.starts_s[run], self.seed, run);
        // Finer than any sensor tells; the first record is stamped one second after the start.
        let rounded = |x: f64| (x * 1000.0).round() / 1000.0;
        let truth = RunTruth {
            file: ride.file.clone(),
            setup: setup.id.clone(),
            mass_kg: self.weighings[run].true_kg,
            crr: self.crr(run, setup).filter(|c| c.moves()).map(|c| c.at(0.5 * plan.nominal_duration_s(run))),
            cda_m2: Some(self.changes(run).cda * setup.cda_m2).filter(|c| *c != setup.cda_m2),
            speed_behind_power_s: rounded(speed_behind_power_s),
            wind_east_m_s: rounded(ridden.wind_east_m_s),
            wind_north_m_s: rounded(ridden.wind_north_m_s),
            gate_passes_s: ridden.gate_passes_s.iter().map(|t| rounded(t - 1.0)).collect(),
            spoiled_s: mishaps.iter().map(|m| m.at_s).chain(ridden.stopped_s).map(|t| rounded(t - 1.0)).collect(),
        };
        Ok(Run { ride, truth })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = r#"
order = ["a", "b", "a"]
laps_per_run = 2
speeds_km_h = [36.0]
rider_and_bike.mass_kg = 80.0
loop.length_m = 900.0
wind = { speed_m_s = 2.0, from_deg = 270.0 }
noise = { gust_sd_m_s = 0.0, wind_drift_m_s_per_h = 1.2 }
[[setup]]
id = "a"
cda_m2 = 0.3
crr = 0.004
[[setup]]
id = "b"
cda_m2 = 0.3
crr = 0.004
"#;

    #[test]
    fn a_wind_from_the_west_blows_east_and_grows_through_the_day() {
        let plan = Plan::from_toml(PLAN, "plan.toml").unwrap();
        let day = simulate(&plan, 1).unwrap();
        for (ride, truth) in day.rides.iter().zip(&day.truth.runs) {
            let middle_s = 0.5 * ride.readings.len() as f64 + (ride.start_s - day.rides[0].start_s) as f64;
            let expected = 2.0 + 1.2 * middle_s / 3600.0;
            assert!((truth.wind_east_m_s - expected).abs() < 2e-3, "{} for {expected}", truth.wind_east_m_s);
            assert!(truth.wind_north_m_s.abs() < 1e-9);
        }
    }

    #[test]
    fn runs_start_on_the_minute_one_after_the_other_on_the_planned_day() {
        let plan = Plan::from_toml(PLAN, "plan.toml").unwrap();
        let day = simulate(&plan, 1).unwrap();
        // 2031-05-03T09:00:00Z is 1 935 565 200 in Unix time (any calendar).
        assert_eq!(day.rides[0].start_s, 1_935_565_200);
        for pair in day.rides.windows(2) {
            let end_s = pair[0].start_s + pair[0].readings.len() as i64;
            let pause_s = pair[1].start_s - end_s;
            assert!((600..1200).contains(&pause_s), "{pause_s}");
            assert_eq!(pair[1].start_s % 60, 0);
        }
    }
}
