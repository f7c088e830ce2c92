//! Whether set-ups and runs can be meant: names that are there, files and laps named once, factors that fit the runs.
//!
//! Given a session and its text; gives the first thing that is wrong, with its line.

use super::factors::Levels;
use super::ranges::{BEARINGS, RUN, TYRE, TYRES};
use super::rule::{Checker, limit};
use super::{Run, Session, Venue};
use crate::error::Error;
use crate::quantity::kpa_in_one;

/// Most runs of a session: a season of tests, twice the largest day that is planned.
pub const MOST_RUNS: usize = 200;

/// Most set-ups of a session: every pair of them is compared.
pub const MOST_SETUPS: usize = 50;

/// Longest reason of a lap, characters.
pub const LONGEST_REASON: usize = 200;

/// Softer than this no tyre of road, gravel or mountain is swept, while 65 psi typed as kPa lies below it (common practice, no
/// source).
const SWEPT_FROM_KPA: f64 = 130.0;

pub(super) fn setups_and_runs(session: &Session, at: &Checker) -> Result<(), Error> {
    // Before anything that compares each with each.
    for (what, key, count, limit) in
        [("runs", "run", session.runs.len(), MOST_RUNS), ("set-ups", "setup", session.setups.len(), MOST_SETUPS)]
    {
        if count > limit {
            let message =
                format!("{count} {what}, more than the limit of {limit}; part the day into sessions and pool them");
            return Err(at.inconsistent(&[key, &limit.to_string()], message));
        }
    }
    if session.setups.is_empty() {
        return Err(at.inconsistent(&[], "there is no [[setup]]; name at least one with an id".into()));
    }
    if session.runs.is_empty() {
        return Err(at.inconsistent(&[], "there is no [[run]]; name at least one ride file and its setup".into()));
    }
    let ids = || session.setups.iter().map(|s| s.id.as_str()).collect::<Vec<_>>().join(", ");
    // A slip in a run's set-up also leaves one without runs; the slip is what to tell of.
    for (i, run) in session.runs.iter().enumerate() {
        if !session.setups.iter().any(|s| s.id == run.setup) {
            return Err(at.inconsistent(
                &["run", &i.to_string(), "setup"],
                format!(
                    "run {} ({}) names set-up «{}», which is not there; there are: {}",
                    i + 1,
                    run.file,
                    run.setup,
                    ids()
                ),
            ));
        }
    }
    for (i, setup) in session.setups.iter().enumerate() {
        let n = i.to_string();
        if setup.id.is_empty() {
            return Err(at.inconsistent(&["setup", &n], "a set-up needs a non-empty id".into()));
        }
        if session.setups[..i].iter().any(|s| s.id == setup.id) {
            return Err(at.inconsistent(
                &["setup", &n, "id"],
                format!("set-up «{}» is there twice; give each its own id", setup.id),
            ));
        }
        if !session.runs.iter().any(|r| r.setup == setup.id) {
            return Err(at.inconsistent(
                &["setup", &n, "id"],
                format!("set-up «{}» has no run; add a [[run]] with setup = \"{}\" or remove it", setup.id, setup.id),
            ));
        }
    }
    factors(session, at)?;
    if let Some(b) = &session.baseline
        && !session.setups.iter().any(|s| &s.id == b)
    {
        return Err(at.inconsistent(&["baseline"], format!("baseline «{b}» is not a set-up; there are: {}", ids())));
    }
    for (i, run) in session.runs.iter().enumerate() {
        let n = i.to_string();
        let key = |k| ["run", n.as_str(), k];
        if session.runs[..i].iter().any(|r| r.file == run.file && r.laps == run.laps) {
            return Err(at.inconsistent(
                &key("file"),
                format!("{} is there as a run twice; laps would be counted double", run.file),
            ));
        }
        at.all(&["run", &n], run, RUN)?;
        if let Some(bearings) = &run.bearing_friction {
            at.all(&["run", &n, "bearing_friction"], bearings, BEARINGS)?;
        }
        if let Some(tyres) = &run.tyre_pressure_kpa {
            at.all(&["run", &n, "tyre_pressure_kpa"], tyres, TYRES)?;
        }
        lap_reasons(run, &n, at)?;
        window(session, run, &key("window_s"), at)?;
    }
    one_loop(session, at)
}

/// A reason belongs to a lap that was chosen, and fits into a table.
fn lap_reasons(run: &Run, n: &str, at: &Checker) -> Result<(), Error> {
    for (lap, reason) in &run.lap_reasons {
        let key = ["run", n, "lap_reasons", lap];
        let chosen = lap.parse().is_ok_and(|l: usize| run.leave_out.contains(&l) || run.keep.contains(&l));
        if !chosen {
            let message = format!(
                "lap_reasons names lap {lap}, which is neither in leave_out nor in keep; put its number into one of them"
            );
            return Err(at.inconsistent(&key, message));
        }
        let length = reason.chars().count();
        if length > LONGEST_REASON || reason.chars().any(char::is_control) {
            let message = format!(
                "the reason of lap {lap} has {length} characters, at most {LONGEST_REASON} on one line are shown; shorten it"
            );
            return Err(at.inconsistent(&key, message));
        }
    }
    Ok(())
}

/// Factors by themselves, and pressures against their range and what the runs state.
fn factors(session: &Session, at: &Checker) -> Result<(), Error> {
    if let Err(wrong) = session.stated_factors() {
        let n = wrong.setup.to_string();
        let mut path = vec!["setup", n.as_str(), "factors"];
        path.extend(wrong.key.as_deref());
        return Err(at.inconsistent(&path, wrong.message));
    }
    let Some(all) = session.factors() else { return Ok(()) };
    for factor in &all.list {
        let Levels::Quantities { unit, of_setup } = &factor.levels else { continue };
        let Some(kpa) = kpa_in_one(unit.key).filter(|_| factor.key.contains("press")) else { continue };
        for (s, level) in of_setup.iter().enumerate() {
            let n = s.to_string();
            let path = ["setup", n.as_str(), "factors", factor.key.as_str()];
            let hint = "tyre pressure: 1 bar is 100 kPa, 1 psi is 6.9 kPa; call the factor inflation_kpa for a fat tyre that is softer";
            let range = limit(SWEPT_FROM_KPA / kpa, TYRE.high / kpa, hint);
            at.within(&path, *level, &range)?;
            let runs = session.runs.iter().enumerate().filter(|(_, run)| run.setup == session.setups[s].id);
            for (i, p) in runs.filter_map(|(i, run)| run.tyre_pressure_kpa.map(|p| (i, p))) {
                let stated = level * kpa;
                if stated < 0.9 * p.front.min(p.rear) || stated > 1.1 * p.front.max(p.rear) {
                    return Err(at.inconsistent(
                        &path,
                        format!(
                            "set-up «{}» has {} = {level}, but run {} of it states tyre_pressure_kpa = {{ front = {}, rear = {} }}; \
                             one of them is a slip, so correct it",
                            session.setups[s].id,
                            factor.key,
                            i + 1,
                            p.front,
                            p.rear
                        ),
                    ));
                }
            }
        }
    }
    Ok(())
}

/// A stated window is for rollers and runs forward.
fn window(session: &Session, run: &Run, key: &[&str], at: &Checker) -> Result<(), Error> {
    let Some([from_s, to_s]) = run.window_s else { return Ok(()) };
    if session.venue_of(run) != Venue::Rollers {
        let message = "window_s is for runs on rollers; say on = \"rollers\", or use leave_out for laps".into();
        return Err(at.inconsistent(key, message));
    }
    if from_s >= to_s {
        return Err(at.inconsistent(key, format!("window_s = [{from_s}, {to_s}] ends before it begins")));
    }
    Ok(())
}

/// The session has one [loop], so that its runs are on one kind of it beside rollers.
fn one_loop(session: &Session, at: &Checker) -> Result<(), Error> {
    let mut loops = session.runs.iter().enumerate().filter(|(_, run)| session.venue_of(run) != Venue::Rollers);
    let Some((_, first)) = loops.next() else { return Ok(()) };
    let kind = session.venue_of(first);
    if let Some((i, _)) = loops.find(|(_, run)| session.venue_of(run) != kind) {
        let message = "road and track in one session: it has one [loop]. Write a session for each and pool them".into();
        return Err(at.inconsistent(&["run", &i.to_string(), "on"], message));
    }
    if kind == Venue::Track && session.circuit.length_m.is_none() {
        return Err(at.inconsistent(&["loop"], "a run on a track needs length_m under [loop]".into()));
    }
    Ok(())
}
