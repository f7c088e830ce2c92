//! Range checks on what makes a day other than ideal: `[noise]`, `[day]` and mishaps.
//!
//! Given a plan and where its text stands; says by line, key, value and limit what is wrong. It knows no course.

use super::noise::{MishapKind, Noise};
use super::plan_file::Plan;
use super::planned_day::PlannedDay;
use crate::error::Error;
use crate::session::Venue;
use crate::session::check::{Checker, limit};

/// Longest run, s.
pub(super) const LONGEST_RUN_S: f64 = 4.0 * 3600.0;
/// Least length of a sheltered part, as a share of the lap.
const SHORTEST_PART: f64 = 0.02;

/// Checks the three tables.
pub(super) fn check(plan: &Plan, at: &Checker) -> Result<(), Error> {
    noise(&plan.noise, at)?;
    day(plan, at)?;
    mishaps(plan, at)
}

fn day(plan: &Plan, at: &Checker) -> Result<(), Error> {
    let d: &PlannedDay = &plan.day;
    let fraction = "a fraction: 1 % is 0.01";
    for (key, value, range) in [
        ("shelter_least", d.shelter_least, limit(0.0, 1.0, "least share of the wind; 0.4 among trees, 1 in the open")),
        ("wind_turns_deg", d.wind_turns_deg, limit(0.0, 90.0, "turn of the wind to each side in degrees")),
        (
            "yaw_coefficient",
            d.yaw_coefficient,
            limit(-1.0, 6.0, "k of CdA (1 + k sin²ψ); published curves have 0 to 2.6"),
        ),
        ("cda_run_to_run", d.cda_run_to_run, limit(0.0, 0.2, fraction)),
        ("crr_run_to_run", d.crr_run_to_run, limit(0.0, 0.2, fraction)),
        ("slow_lap_cda_excess", d.slow_lap_cda_excess, limit(-0.2, 0.2, fraction)),
        ("junction_stops", d.junction_stops, limit(0.0, 1.0, "share of the laps with a stop; 1 is every lap")),
        ("junction_wait_s", d.junction_wait_s, limit(1.0, 300.0, "in s")),
    ] {
        at.within(&["day", key], value, &range)?;
    }
    let share = limit(0.0, 1.0, "a share of the lap: halfway round is 0.5");
    at.within_if(&["day", "junction_at"], d.junction_at, &share)?;
    if let Some([begin, end]) = d.sheltered_part {
        at.within(&["day", "sheltered_part"], begin, &share)?;
        at.within(&["day", "sheltered_part"], end, &share)?;
        if end - begin < SHORTEST_PART {
            let message = format!(
                "sheltered_part = [{begin}, {end}] must end at least {SHORTEST_PART} of a lap after its begin; turn the loop's \
                 gate if the part lies across it"
            );
            return Err(at.inconsistent(&["day", "sheltered_part"], message));
        }
        if d.shelter_least == 1.0 {
            let message =
                "a sheltered_part is stated but shelter_least is 1, which shelters nothing; lower it".to_string();
            return Err(at.inconsistent(&["day", "sheltered_part"], message));
        }
    }
    if d.slow_lap_cda_excess != 0.0 && plan.distinct_speeds_km_h().len() < 2 {
        let message = "slow_lap_cda_excess needs laps at two planned speeds; give them or remove it".to_string();
        return Err(at.inconsistent(&["day", "slow_lap_cda_excess"], message));
    }
    Ok(())
}

fn noise(n: &Noise, at: &Checker) -> Result<(), Error> {
    let fraction = "a fraction: 4 % is 0.04";
    for (key, value, range) in [
        ("power_cv", n.power_cv, limit(0.0, 0.5, fraction)),
        ("power_scale", n.power_scale, limit(0.5, 2.0, "recorded over true power; 1 is without error")),
        ("power_lag_s", n.power_lag_s, limit(0.0, 3.0, "in s")),
        ("gust_sd_m_s", n.gust_sd_m_s, limit(0.0, 3.0, "standard deviation of one component in m/s")),
        ("gust_time_s", n.gust_time_s, limit(0.1, 300.0, "correlation time in s")),
        ("wind_drift_m_s_per_h", n.wind_drift_m_s_per_h, limit(-5.0, 5.0, "growth of the wind in m/s in an hour")),
        (
            "crr_drift_per_h",
            n.crr_drift_per_h,
            limit(-0.002, 0.002, "growth of Crr in an hour; −0.0002 is 5 % of a tyre's"),
        ),
        (
            "wheel_circumference_m",
            n.wheel_circumference_m,
            limit(1.0, 2.5, "rolled-out circumference in m; 2.105 is usual"),
        ),
        ("speed_scale", n.speed_scale, limit(0.5, 2.0, "recorded over true speed; 1 is without error")),
        ("position_sd_m", n.position_sd_m, limit(0.0, 30.0, "in m")),
        ("position_time_s", n.position_time_s, limit(1.0, 3600.0, "in s")),
        ("position_white_m", n.position_white_m, limit(0.0, 10.0, "in m")),
        ("altitude_sd_m", n.altitude_sd_m, limit(0.0, 20.0, "in m")),
        ("lap_mark_sd_s", n.lap_mark_sd_s, limit(0.0, 1.0, "in s")),
        ("rider_cv", n.rider_cv, limit(0.0, 0.5, fraction)),
        ("rider_time_s", n.rider_time_s, limit(0.1, 300.0, "correlation time in s")),
        ("pace_cv", n.pace_cv, limit(0.0, 0.1, fraction)),
        ("mass_scatter_kg", n.mass_scatter_kg, limit(0.0, 5.0, "in kg")),
        ("warm_up_excess", n.warm_up_excess, limit(0.0, 2.0, "a fraction: a quarter more is 0.25")),
        ("warm_up_time_s", n.warm_up_time_s, limit(1.0, 7200.0, "in s")),
        ("drum_mass_kg", n.drum_mass_kg, limit(0.1, 200.0, "turning drums as a mass at their rim in kg")),
    ] {
        at.within(&["noise", key], value, &range)?;
    }
    at.within_if(&["noise", "speed_lag_s"], n.speed_lag_s, &limit(0.0, 3.0, "in s"))
}

fn mishaps(plan: &Plan, at: &Checker) -> Result<(), Error> {
    for (i, mishap) in plan.mishaps.iter().enumerate() {
        let n = i.to_string();
        let runs = limit(1.0, plan.order.len() as f64, "runs count from 1, as ridden");
        at.within(&["mishap", &n, "run"], mishap.run as f64, &runs)?;
        at.within(&["mishap", &n, "at_s"], mishap.at_s, &limit(0.0, LONGEST_RUN_S, "in s from the start of the run"))?;
        at.within(&["mishap", &n, "duration_s"], mishap.duration_s, &limit(0.5, 600.0, "in s"))?;
        let rolling = plan.venue_of(mishap.run.saturating_sub(1)) == Venue::Rollers;
        if rolling && mishap.kind != MishapKind::PowerLost {
            let message = format!("run {} is on rollers, where only power can be lost", mishap.run);
            return Err(at.inconsistent(&["mishap", &n, "kind"], message));
        }
    }
    Ok(())
}
