//! Reading a plan file: range and consistency checks on a plan.
//!
//! Given TOML text, or a plan and its text; gives a checked [`Plan`] or says by line, key, value and range what is wrong.
//! What a plan shares with a session is checked by the session's own rules, so that the two never disagree. It opens no
//! file.

use super::day_check;
use super::day_check::LONGEST_RUN_S;
use super::loop_check::circuit;
use super::plan_file::Plan;
use super::ridden_shape::RiddenShape;
use super::session_file::session_of;
use crate::error::Error;
use crate::session::check::{Checker, MASS, TYRE_TEMPERATURE, check as check_session, limit};
use crate::session::{Venue, WindMode, parse_checked};

/// Longest day, s.
const LONGEST_DAY_S: f64 = 24.0 * 3600.0;

impl Plan {
    /// Reads and checks a plan. One that names a `shape_file` is checked again when that has been read
    /// ([`Plan::with_ridden_shape`]).
    ///
    /// `file` is only used in messages. Errors: [`Error::Syntax`], [`Error::OutOfRange`],
    /// [`Error::Inconsistent`].
    pub fn from_toml(text: &str, file: &str) -> Result<Plan, Error> {
        let plan: Plan = parse_checked(text, file)?;
        check(&plan, text, file)?;
        Ok(plan)
    }

    /// Puts in the loop that was read from the plan's `shape_file`, and checks what hangs on it.
    pub fn with_ridden_shape(mut self, ridden: RiddenShape) -> Result<Plan, Error> {
        self.circuit.length_m = self.circuit.length_m.or(Some(ridden.length_m()));
        self.circuit.ridden = Some(ridden);
        self.check()?;
        Ok(self)
    }

    /// Checks a plan that was put together in a program.
    pub fn check(&self) -> Result<(), Error> {
        check(self, "", "plan")
    }
}

/// Checks every value of a plan against its range, and the parts against each other.
fn check(plan: &Plan, text: &str, file: &str) -> Result<(), Error> {
    let at = Checker { text, file };
    setups(plan, &at)?;
    riding(plan, &at)?;
    wind(plan, &at)?;
    day_check::check(plan, &at)?;
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
    aims(plan, at)?;
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

/// Speeds or powers of the laps.
fn aims(plan: &Plan, at: &Checker) -> Result<(), Error> {
    match (plan.speeds_km_h.is_empty(), plan.powers_w.is_empty()) {
        (true, true) => {
            return Err(at.inconsistent(
                &["speeds_km_h"],
                "speeds_km_h is empty; give two clearly different speeds, such as [29, 41], or powers_w where the rider \
                 holds power"
                    .into(),
            ));
        }
        (false, false) => {
            let message = "speeds_km_h and powers_w are both stated; a rider holds one of them: remove the other";
            return Err(at.inconsistent(&["powers_w"], message.into()));
        }
        (true, false) | (false, true) => {}
    }
    for (key, count) in [("speeds_km_h", plan.speeds_km_h.len()), ("powers_w", plan.powers_w.len())] {
        if count > plan.laps_per_run {
            let message = format!(
                "{key} has {count} entries, one a lap, for {} laps in a run; the last ones are never ridden: raise \
                 laps_per_run or remove them",
                plan.laps_per_run
            );
            return Err(at.inconsistent(&[key], message));
        }
    }
    for &speed in &plan.speeds_km_h {
        at.within(&["speeds_km_h"], speed, &limit(12.0, 80.0, "in km/h, one for each lap, repeated"))?;
    }
    for &power in &plan.powers_w {
        at.within(&["powers_w"], power, &limit(30.0, 1000.0, "at the pedals in W, one for each lap, repeated"))?;
    }
    for (power, speed) in plan.powers_w.iter().zip(plan.lap_speeds_km_h()) {
        if !(12.0..=80.0).contains(&speed) {
            let message = format!(
                "{power} W hold {speed} km/h on the level, outside 12 to 80 km/h; change powers_w, or check crr and cda_m2"
            );
            return Err(at.inconsistent(&["powers_w"], message));
        }
    }
    let on_rollers = plan.runs_on(Venue::Rollers) > 0;
    if on_rollers && !plan.powers_w.is_empty() && plan.rollers_speed_km_h.is_none() {
        let message = "the powers of powers_w are those of the loop; state rollers_speed_km_h for the runs on rollers";
        return Err(at.inconsistent(&["powers_w"], message.into()));
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
