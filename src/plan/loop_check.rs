//! Whether the loop of a plan can be ridden: its place, its shape, bends and climbs at the planned speeds.
//!
//! Given a plan and its text; gives the first thing that is wrong, with its line.

use super::course::Course;
use super::plan_file::Plan;
use super::planned_loop::PlannedLoop;
use crate::constant::STANDARD_GRAVITY_M_S2;
use crate::error::Error;
use crate::quantity::m_s_from_km_h;
use crate::session::Venue;
use crate::session::check::{Checker, limit};

/// Pull in a bend, in units of gravity, above which tyres slide or nobody rides without braking (common practice,
/// no source): on the flat, and on a banked track.
const PULL_ON_ROAD: f64 = 0.7;
const PULL_ON_TRACK: f64 = 2.0;
/// Steepest road on which laps at planned speeds make sense.
const STEEPEST: f64 = 0.08;

pub(super) fn circuit(plan: &Plan, at: &Checker) -> Result<(), Error> {
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
        let over_reference = c.crr_over_reference(c.temperature_coefficient_per_c.unwrap_or(0.0), read_c);
        let hint = "Crr at this temperature over Crr at the reference; a linear rule makes no sense beyond";
        at.within(&["run_tyre_temperature_c"], over_reference, &limit(0.5, 2.0, hint))?;
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
    if plan.runs_on(Venue::Rollers) == plan.order.len() {
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
    let fastest = plan.distinct_speeds_km_h().last().copied().unwrap_or(0.0);
    let pull = m_s_from_km_h(fastest).powi(2) * course.tightest_1_m() / STANDARD_GRAVITY_M_S2;
    let most = if c.kind == Venue::Track { PULL_ON_TRACK } else { PULL_ON_ROAD };
    if pull > most {
        let message = format!(
            "at {fastest} km/h the tightest bend, {:.0} m, pulls with {pull:.2} g, more than the {most} g that can be ridden without braking; choose a larger bend_radius_m or lower speeds",
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
