//! Range and consistency checks on a plan.
//!
//! Given a plan and its text; says where a value is out of range or does not fit. What a plan shares with a session
//! is checked by the session's own rules, so that the two never disagree.

use super::course::Course;
use super::noise::Noise;
use super::plan_file::{Plan, PlannedLoop};
use super::session_file::session_of;
use crate::error::Error;
use crate::model::rolling::TyreTemperature;
use crate::quantity::m_s_from_km_h;
use crate::session::check::{Checker, MASS, TYRE_TEMPERATURE, check as check_session, limit};
use crate::session::{REFERENCE_TEMPERATURE_C, Venue, WindMode};

/// Longest run and longest day, s.
const LONGEST_RUN_S: f64 = 4.0 * 3600.0;
const LONGEST_DAY_S: f64 = 24.0 * 3600.0;
/// Pull in a bend, in units of gravity, above which tyres slide or nobody rides without braking (common practice,
/// no source): on the flat, and on a banked track.
const PULL_ON_ROAD: f64 = 0.7;
const PULL_ON_TRACK: f64 = 2.0;
/// Steepest road on which laps at planned speeds make sense.
const STEEPEST: f64 = 0.08;

/// Checks every value of a plan against its range, and the parts against each other.
pub(super) fn check(plan: &Plan, text: &str, file: &str) -> Result<(), Error> {
    let at = Checker { text, file };
    setups(plan, &at)?;
    riding(plan, &at)?;
    wind(plan, &at)?;
    noise(&plan.noise, &at)?;
    mishaps(plan, &at)?;
    circuit(plan, &at)?;
    let stated_kg = vec![plan.rider_and_bike.mass_kg; plan.order.len()];
    check_session(&session_of(plan, &stated_kg, 1.0), text, file)
}

fn setups(plan: &Plan, at: &Checker) -> Result<(), Error> {
    if plan.setups.is_empty() {
        return Err(at.inconsistent(&[], "there is no [[setup]]; name at least one with id, cda_m2 and crr".into()));
    }
    if plan.order.is_empty() {
        return Err(at.inconsistent(
            &["order"],
            "order is empty; name the set-up of each run, such as [\"a\", \"b\", \"b\", \"a\"]".into(),
        ));
    }
    if plan.order.len() > 100 {
        return Err(at.inconsistent(&["order"], format!("{} runs in a day; 100 is the limit", plan.order.len())));
    }
    let ids = || plan.setups.iter().map(|s| s.id.as_str()).collect::<Vec<_>>().join(", ");
    for (i, id) in plan.order.iter().enumerate() {
        if !plan.setups.iter().any(|s| &s.id == id) {
            let message = format!("run {} is of set-up «{id}», which is not there; there are: {}", i + 1, ids());
            return Err(at.inconsistent(&["order"], message));
        }
    }
    for (i, setup) in plan.setups.iter().enumerate() {
        let n = i.to_string();
        if !plan.order.contains(&setup.id) {
            let message = format!("set-up «{}» is not in order; add a run of it or remove it", setup.id);
            return Err(at.inconsistent(&["setup", &n, "id"], message));
        }
        at.within(&["setup", &n, "cda_m2"], setup.cda_m2, &limit(0.05, 1.5, "in m²; 0.2 to 0.4 is usual"))?;
        let crr = limit(0.0005, 0.05, "a pure number; 0.002 to 0.008 is usual");
        at.within(&["setup", &n, "crr"], setup.crr, &crr)?;
        at.within_if(&["setup", &n, "crr_rollers"], setup.crr_rollers, &crr)?;
    }
    Ok(())
}

fn riding(plan: &Plan, at: &Checker) -> Result<(), Error> {
    at.within(&["laps_per_run"], plan.laps_per_run as f64, &limit(1.0, 500.0, "whole laps in each run"))?;
    if plan.speeds_km_h.is_empty() {
        return Err(at.inconsistent(
            &["speeds_km_h"],
            "speeds_km_h is empty; give two clearly different speeds, such as [29, 41]".into(),
        ));
    }
    for &speed in &plan.speeds_km_h {
        at.within(&["speeds_km_h"], speed, &limit(12.0, 80.0, "in km/h, one for each lap, repeated"))?;
    }
    at.within_if(&["rollers_speed_km_h"], plan.rollers_speed_km_h, &limit(12.0, 80.0, "in km/h"))?;
    at.within(
        &["run_duration_s"],
        plan.run_duration_s,
        &limit(60.0, LONGEST_RUN_S, "length of a run on rollers in s"),
    )?;
    at.within(&["pause_between_runs_s"], plan.pause_between_runs_s, &limit(0.0, 86_400.0, "in s"))?;
    if plan.start.parse::<jiff::Timestamp>().is_err() {
        let message = format!("start = \"{}\" is not a time; write it as 2031-05-03T09:00:00Z", plan.start);
        return Err(at.inconsistent(&["start"], message));
    }
    let of_runs = [
        ("run_mass_kg", plan.run_mass_kg.len()),
        ("run_tyre_temperature_c", plan.run_tyre_temperature_c.len()),
        ("on", plan.on.len()),
    ];
    for (key, count) in of_runs {
        if count != 0 && count != plan.order.len() {
            let message = format!(
                "{key} has {count} entries for {} runs; give one for each run or leave it out",
                plan.order.len()
            );
            return Err(at.inconsistent(&[key], message));
        }
    }
    for &mass in &plan.run_mass_kg {
        at.within(&["run_mass_kg"], mass, &MASS)?;
    }
    for &temperature in &plan.run_tyre_temperature_c {
        at.within(&["run_tyre_temperature_c"], temperature, &TYRE_TEMPERATURE)?;
    }
    if plan.on.iter().any(|&v| v != Venue::Rollers && v != plan.circuit.kind) {
        let message = "a day is ridden on the one loop of [loop], or on rollers; make «on» say so".to_string();
        return Err(at.inconsistent(&["on"], message));
    }
    let mut day_s = 0.0;
    for run in 0..plan.order.len() {
        let run_s = plan.nominal_duration_s(run);
        day_s += run_s;
        if run_s > LONGEST_RUN_S || day_s > LONGEST_DAY_S {
            let message = format!(
                "run {} takes {:.1} h and the day up to it {:.1} h; 4 h a run and 24 h in all are the limit",
                run + 1,
                run_s / 3600.0,
                day_s / 3600.0
            );
            return Err(at.inconsistent(&["laps_per_run"], message));
        }
    }
    Ok(())
}

fn wind(plan: &Plan, at: &Checker) -> Result<(), Error> {
    let w = &plan.wind;
    at.within(&["wind", "speed_m_s"], w.speed_m_s, &limit(0.0, 12.0, "mean wind at rider height in m/s, not km/h"))?;
    at.within(
        &["wind", "from_deg"],
        w.from_deg,
        &limit(0.0, 360.0, "where it blows from, degrees clockwise from north"),
    )?;
    if w.mode == WindMode::None && w.speed_m_s > 0.0 {
        let message =
            "a wind is stated but mode is \"none\"; set mode = \"estimate\" or \"given\", or remove speed_m_s"
                .to_string();
        return Err(at.inconsistent(&["wind", "speed_m_s"], message));
    }
    for (key, value, range) in [
        ("temperature_c", plan.air.temperature_c, limit(-20.0, 50.0, "in °C, not °F or K")),
        ("pressure_hpa", plan.air.pressure_hpa, limit(500.0, 1100.0, "station pressure in hPa")),
        ("humidity_pct", plan.air.humidity_pct, limit(0.0, 100.0, "per cent: 60, not 0.6")),
    ] {
        at.within(&["air", key], value, &range)?;
    }
    let l = &plan.limits;
    at.within_if(&["limits", "slowest_km_h"], l.slowest_km_h, &limit(12.0, 80.0, "in km/h"))?;
    at.within_if(&["limits", "fastest_km_h"], l.fastest_km_h, &limit(12.0, 80.0, "in km/h"))?;
    at.within_if(&["limits", "power_w"], l.power_w, &limit(30.0, 1000.0, "mean power of a lap in W"))?;
    if let (Some(slow), Some(fast)) = (l.slowest_km_h, l.fastest_km_h)
        && slow >= fast
    {
        let message = format!("slowest_km_h = {slow} is not below fastest_km_h = {fast}");
        return Err(at.inconsistent(&["limits", "slowest_km_h"], message));
    }
    let t = &plan.target;
    at.within_if(&["target", "power_w"], t.power_w, &limit(0.01, 100.0, "watts at the reference speed"))?;
    at.within_if(&["target", "crr"], t.crr, &limit(1e-6, 0.01, "a pure number; 0.0003 is three watts or so"))?;
    at.within_if(&["target", "cda_m2"], t.cda_m2, &limit(1e-5, 0.3, "in m²"))
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
        if rolling && mishap.kind != super::noise::MishapKind::PowerLost {
            let message = format!("run {} is on rollers, where only power can be lost", mishap.run);
            return Err(at.inconsistent(&["mishap", &n, "kind"], message));
        }
    }
    Ok(())
}

fn circuit(plan: &Plan, at: &Checker) -> Result<(), Error> {
    let c: &PlannedLoop = &plan.circuit;
    let key = |k| ["loop", k];
    at.within(
        &["loop", "origin", "lat_deg"],
        c.origin.lat_deg,
        &limit(-75.0, 75.0, "latitude in degrees, away from the poles"),
    )?;
    at.within(
        &["loop", "origin", "lon_deg"],
        c.origin.lon_deg,
        &limit(-179.0, 179.0, "longitude in degrees, away from the date line"),
    )?;
    at.within(&key("altitude_m"), c.altitude_m, &limit(-400.0, 5000.0, "in m"))?;
    at.within(&key("aspect"), c.aspect, &limit(0.1, 20.0, "long side over short side"))?;
    for &read_c in &plan.run_tyre_temperature_c {
        let tyres = TyreTemperature {
            coefficient_per_c: c.temperature_coefficient_per_c.unwrap_or(0.0),
            above_reference_c: read_c - c.reference_temperature_c.unwrap_or(REFERENCE_TEMPERATURE_C),
            is_of_air: false,
        };
        let hint = "Crr at this temperature over Crr at the reference; a linear rule makes no sense beyond";
        at.within(&["run_tyre_temperature_c"], tyres.crr_over_reference(), &limit(0.5, 2.0, hint))?;
    }
    at.within_if(&key("elevation_amplitude_m"), c.elevation_amplitude_m, &limit(0.0, 500.0, "in m"))?;
    at.within_if(&key("length_m"), c.length_m, &limit(80.0, 50_000.0, "length of one lap in m, not km"))?;
    at.within_if(
        &key("bend_radius_m"),
        c.bend_radius_m,
        &limit(8.0, 2000.0, "radius of the bends at the measuring line in m"),
    )?;
    at.within_if(&key("transition_m"), c.transition_m, &limit(0.0, 200.0, "length over which the bend tightens in m"))?;
    at.within_if(
        &key("home_straight_bearing_deg"),
        c.home_straight_bearing_deg,
        &limit(0.0, 360.0, "degrees clockwise from north"),
    )?;
    if (0..plan.order.len()).all(|run| plan.venue_of(run) == Venue::Rollers) {
        return Ok(());
    }
    if c.shape_file.is_some() {
        if c.kind == Venue::Track {
            let message = "a track has its own shape; state length_m and bend_radius_m instead of shape_file".into();
            return Err(at.inconsistent(&["loop", "shape_file"], message));
        }
        if c.ridden.is_none() {
            // The file has not been read yet; what hangs on it is checked when it has.
            return Ok(());
        }
    }
    if c.length_m.is_none() {
        return Err(at.inconsistent(&["loop"], "[loop] needs length_m, the length of one lap in m".into()));
    }
    let course = Course::of(c).map_err(|message| at.inconsistent(&["loop", "bend_radius_m"], message))?;
    let fastest = plan.speeds_km_h.iter().copied().fold(0.0, f64::max);
    let pull = m_s_from_km_h(fastest).powi(2) * course.tightest_1_m() / crate::constant::STANDARD_GRAVITY_M_S2;
    let most = if c.kind == Venue::Track { PULL_ON_TRACK } else { PULL_ON_ROAD };
    if pull > most {
        let message = format!(
            "at {fastest} km/h the tightest bend, {:.0} m, pulls with {pull:.2} g, more than the {most} g that can be ridden without braking; choose a larger bend_radius_m or lower speeds_km_h",
            1.0 / course.tightest_1_m()
        );
        return Err(at.inconsistent(&["loop", "bend_radius_m"], message));
    }
    if course.steepest() > STEEPEST {
        let message = format!(
            "the steepest place has {:.1} %, more than the {:.0} % on which laps make a test; lower elevation_amplitude_m",
            100.0 * course.steepest(),
            100.0 * STEEPEST
        );
        return Err(at.inconsistent(&["loop", "elevation_amplitude_m"], message));
    }
    Ok(())
}
