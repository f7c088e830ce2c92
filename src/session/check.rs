//! Whether a session can be meant: every value within its range, and the parts fitting together.
//!
//! Given a session and its text; gives the first thing that is wrong, with its line. Ranges stand in [`super::ranges`].

use super::check_runs::setups_and_runs;
use super::ranges::{AIR, BEARINGS, EXPECTED, GATE, LOOP, REFERENCE, RIDER, ROLLERS, SOLVE, UNCERTAINTY, WIND};
pub(crate) use super::ranges::{MASS, TYRE_TEMPERATURE};
pub(crate) use super::rule::{Checker, limit};
use super::{Air, AirHere, RiderAndBike, Run, Session, Sharing, Uncertainty, Venue, WindMode};
use crate::error::Error;

/// Checks every value of a session against its range, and the parts against each other.
pub(crate) fn check(session: &Session, text: &str, file: &str) -> Result<(), Error> {
    let at = Checker { text, file };
    rider(&session.rider_and_bike, &at)?;
    uncertainty(&session.uncertainty, &at)?;
    circuit(session, &at)?;
    weather(session, &at)?;
    choices(session, &at)?;
    setups_and_runs(session, &at)
}

/// Checks mass and mechanics by themselves.
pub(super) fn rider(r: &RiderAndBike, at: &Checker) -> Result<(), Error> {
    at.all(&["rider_and_bike"], r, RIDER)?;
    at.all(&["rider_and_bike", "bearing_friction"], &r.bearing_friction, BEARINGS)
}

/// Checks standard uncertainties by themselves.
pub(super) fn uncertainty(u: &Uncertainty, at: &Checker) -> Result<(), Error> {
    at.all(&["uncertainty"], u, UNCERTAINTY)
}

fn circuit(session: &Session, at: &Checker) -> Result<(), Error> {
    let c = &session.circuit;
    if let Some(gate) = &c.gate {
        at.all(&["loop", "gate"], gate, GATE)?;
    }
    at.all(&["loop"], c, LOOP)?;
    if c.length_sd_m.is_some() && c.length_m.is_none() {
        let message = "length_sd_m without length_m; state the length it belongs to, or leave it out".to_string();
        return Err(at.inconsistent(&["loop", "length_sd_m"], message));
    }
    form_of_a_track_only(session, at)?;
    if c.kind == Venue::Track {
        let Some(length) = c.length_m else {
            return Err(at.inconsistent(
                &["loop", "kind"],
                "a track needs length_m, the length of one lap along the measuring line".into(),
            ));
        };
        if let Some(radius) = c.bend_radius_m {
            let transition = c.transition_m.unwrap_or(0.0);
            let bends = 2.0 * std::f64::consts::PI * radius + 2.0 * transition;
            if bends >= length {
                return Err(at.inconsistent(&["loop", "bend_radius_m"], format!("two bends of {radius} m radius with transitions of {transition} m take {bends:.1} m, more than the lap of {length} m; check bend_radius_m, transition_m and length_m")));
            }
        }
    }
    at.all(&["rollers"], &session.rollers, ROLLERS)
}

/// What is stated of the bends of a track must not be passed over in silence on a road.
fn form_of_a_track_only(session: &Session, at: &Checker) -> Result<(), Error> {
    let c = &session.circuit;
    if c.level && c.survey.is_some() {
        let message = "level = true says that the profile is known, and survey gives another; keep one of them";
        return Err(at.inconsistent(&["loop", "level"], message.into()));
    }
    if c.level && c.kind != Venue::Track {
        let message = "level = true is for tracks; a road is known by its survey, so give survey, or remove level";
        return Err(at.inconsistent(&["loop", "level"], message.into()));
    }
    let is_track = |run: &Run| session.venue_of(run) == Venue::Track;
    if c.kind == Venue::Track || session.runs.iter().any(is_track) {
        return Ok(());
    }
    let stated = [
        ("bend_radius_m", c.bend_radius_m),
        ("transition_m", c.transition_m),
        ("home_straight_bearing_deg", c.home_straight_bearing_deg),
    ];
    match stated.into_iter().find(|(_, value)| value.is_some()) {
        None => Ok(()),
        Some((key, _)) => Err(at.inconsistent(
            &["loop", key],
            format!(
                "{key} describes a track of two bends and would not be used; say kind = \"track\" with length_m, or remove it (on a \
                 road the bends are those that positions show)"
            ),
        )),
    }
}

/// Checks stated readings of the air by themselves.
pub(super) fn readings(a: &Air, at: &Checker) -> Result<(), Error> {
    at.all(&["air"], a, AIR)?;
    if let Some(h) = a.humidity_pct
        && h > 0.0
        && h <= 1.0
    {
        return Err(at.inconsistent(
            &["air", "humidity_pct"],
            format!("humidity_pct = {h} looks like a fraction; give per cent, such as 60"),
        ));
    }
    Ok(())
}

/// The same ranges for the air of a venue or a run, told where it stands.
fn air_here(here: AirHere, path: &[&str], at: &Checker) -> Result<(), Error> {
    readings(&Air::default().with(here), at).map_err(|error| match error {
        Error::OutOfRange { file, key, value, low, high, hint, .. } => {
            let name = key.rsplit('.').next().unwrap_or_default().to_string();
            let line = at.line(&[path, &["air", &name]].concat());
            let place = path.iter().filter(|p| p.parse::<usize>().is_err()).copied().collect::<Vec<_>>().join(".");
            Error::OutOfRange { file, line, key: format!("{place}.air.{name}"), value, low, high, hint }
        }
        Error::Inconsistent { file, message, .. } => {
            Error::Inconsistent { file, line: at.line(&[path, &["air"]].concat()), message }
        }
        other => other,
    })
}

fn weather(session: &Session, at: &Checker) -> Result<(), Error> {
    let a = &session.air;
    readings(a, at)?;
    air_here(session.rollers.air.unwrap_or_default(), &["rollers"], at)?;
    for (i, run) in session.runs.iter().enumerate() {
        air_here(run.air.unwrap_or_default(), &["run", &i.to_string()], at)?;
    }
    let w = &session.wind;
    at.all(&["wind"], w, WIND)?;
    at.within(
        &["wind", "roughness_length_m"],
        w.roughness_length_m,
        &limit(
            1e-5,
            0.06 * w.mast_height_m.max(1.2),
            "roughness length in m: 0.03 for short grass; the profile is not valid above a twentieth of the height",
        ),
    )?;
    if w.mode == WindMode::Given && a.log.is_none() && (w.speed_m_s.is_none() || w.from_deg.is_none()) {
        return Err(at.inconsistent(
            &["wind", "mode"],
            "wind mode \"given\" needs speed_m_s and from_deg, or a weather log with wind_speed_m_s and wind_from_deg"
                .into(),
        ));
    }
    if w.mode != WindMode::Given && (w.speed_m_s.is_some() || w.from_deg.is_some()) {
        return Err(at.inconsistent(
            &["wind", "speed_m_s"],
            "a wind is stated but mode is not \"given\"; set mode = \"given\" or remove speed_m_s and from_deg".into(),
        ));
    }
    Ok(())
}

fn choices(session: &Session, at: &Checker) -> Result<(), Error> {
    let s = &session.solve;
    at.all(&["expected"], &session.expected, EXPECTED)?;
    at.all(&["solve"], s, SOLVE)?;
    if s.crr_drift && session.runs.iter().all(|run| session.venue_of(run) == Venue::Rollers) {
        let message = "crr_drift is for runs on a loop; on rollers the warm-up is cut off instead. Leave it out".into();
        return Err(at.inconsistent(&["solve", "crr_drift"], message));
    }
    if s.cda == Sharing::Common && s.crr == Sharing::Common && session.setups.len() > 1 {
        let message = "cda and crr are both \"common\", so nothing is left in which set-ups could differ; keep cda = \"common\" where \
                       tyres differ, crr = \"common\" where positions differ";
        return Err(at.inconsistent(&["solve", "crr"], message.into()));
    }
    at.all(&["reference"], &session.reference, REFERENCE)
}
