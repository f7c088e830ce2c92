//! Whether the cut leaves laps to solve, in each run and in all, told before any account is made of them.
//!
//! Given rides and laps with their reasons; gives nothing or the error that says what became of every lap or which runs
//! cannot be used. It marks no lap.

use super::ridden_session::RiddenSession;
use crate::circuit::{Lap, LapCut};
use crate::error::{Error, UnusableRun};
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::{LapSource, Run, Session, Venue};
use std::collections::BTreeMap;

/// Fewest laps that close a loop against each other.
const NEEDED: usize = 2;
/// Mean power over whole laps that nobody rides a closed loop with, W: tyres and air of the smallest rider take twice this at
/// 18 km/h.
const NO_POWER_W: f64 = 10.0;

/// Errors: [`Error::NoChannel`] of the first run, or of those runs where others have what they need.
pub(super) fn need_channels(inputs: &RiddenSession, rides: &[Ride]) -> Result<(), Error> {
    let files = inputs.recordings.iter().map(|r| r.provenance.file.as_str());
    part(files.zip(rides).map(|(file, ride)| missing_channel(file, ride)).collect())
}

/// Errors: that of the first run without laps, or of those runs where others have some.
pub(super) fn need_passes(refused: &[Option<Error>]) -> Result<(), Error> {
    part(refused.to_vec())
}

/// Errors: [`Error::NoLaps`] when a run on a road stands still, [`Error::TooFewLaps`] with the reasons of the laps that cannot be
/// used, and [`Error::RunsUnusable`] where other runs can be solved.
pub(super) fn check(session: &Session, rides: &[Ride], cut: &LapCut, findings: &[Finding]) -> Result<(), Error> {
    let all = day(cut);
    let of_run = |k: usize| -> Option<Error> {
        let (run, laps) = (&session.runs[k], &cut.runs[k]);
        stands(session, run, k, findings).or_else(|| no_power(run, &rides[k], laps)).or_else(|| {
            laps.iter().all(|l| !usable(l)).then(|| Error::NoLaps {
                file: run.file.clone(),
                reason: without_laps(laps, cut.length_m),
                next: "ride whole laps of one loop past one point without stops and pauses, all runs alike",
            })
        })
    };
    let refused: Vec<Option<Error>> = (0..session.runs.len()).map(of_run).collect();
    let standing = refused.iter().flatten().find(|e| matches!(e, Error::NoLaps { reason, .. } if reason == STANDING));
    if refused.iter().all(Option::is_some) {
        // What every run lacks is told of the day.
        return match (standing, all) {
            (Some(e), _) => Err(unusable(&refused, e.clone())),
            (None, Err(e)) => Err(unusable(&refused, e)),
            (None, Ok(())) => part(refused),
        };
    }
    part(refused).and(all)
}

/// The runs that are refused, if any.
fn part(refused: Vec<Option<Error>>) -> Result<(), Error> {
    match refused.iter().flatten().next().cloned() {
        Some(first) => Err(unusable(&refused, first)),
        None => Ok(()),
    }
}

/// Runs that are refused, and what stops the day where nothing else can be solved.
pub(super) fn unusable(refused: &[Option<Error>], cause: Error) -> Error {
    let runs = refused.iter().enumerate();
    let runs = runs.filter_map(|(run, e)| Some(UnusableRun { run, reason: e.as_ref()?.to_string() })).collect();
    Error::RunsUnusable { runs, cause: Box::new(cause) }
}

fn missing_channel(file: &str, ride: &Ride) -> Option<Error> {
    let has = |column: &[f64]| column.iter().any(|x| x.is_finite());
    let missing = |channel, next| Some(Error::NoChannel { file: file.to_string(), channel, records: ride.len(), next });
    if !has(&ride.power_w) {
        return missing("power", "pair the power meter, or give its file as second_file");
    }
    if !has(&ride.speed_m_s) {
        return missing("speed or distance", "pair a wheel sensor, or give its file as second_file");
    }
    None
}

const STANDING: &str = "positions stand still while the wheel turns";

/// A roofed track has no positions worth the name, and who asks for the lap marks knows of the laps.
fn stands(session: &Session, run: &Run, k: usize, findings: &[Finding]) -> Option<Error> {
    let still = findings.iter().any(|f| f.what == What::NotMoving && f.run == Some(k));
    (still && session.venue_of(run) == Venue::Road && run.laps == LapSource::Auto).then(|| Error::NoLaps {
        file: run.file.clone(),
        reason: STANDING.into(),
        next: "for rollers say on = \"rollers\" in the run or --kind rollers; if the receiver failed on a road, \
               say laps = \"device\" to cut at the lap marks",
    })
}

fn no_power(run: &Run, ride: &Ride, laps: &[Lap]) -> Option<Error> {
    let (mut work_j, mut time_s) = (0.0, 0.0);
    for lap in laps.iter().filter(|l| usable(l)) {
        work_j += ride.work_j.at(lap.end_s) - ride.work_j.at(lap.start_s);
        time_s += lap.duration_s();
    }
    let mean_w = work_j / time_s;
    (mean_w < NO_POWER_W).then(|| Error::Inconsistent {
        file: run.file.clone(),
        line: None,
        message: format!(
            "mean power over its laps is {mean_w:.0} W, and nobody rides a closed loop with less than {NO_POWER_W} W; the meter was \
             not connected or not turned: ride it again, or give the file that holds its power as second_file"
        ),
    })
}

fn usable(lap: &Lap) -> bool {
    lap.reason.is_none() && !lap.edge_s.is_empty()
}

/// What became of the laps of a run that has none to use.
fn without_laps(laps: &[Lap], length_m: f64) -> String {
    if laps.is_empty() {
        return "it has none".into();
    }
    let mut by_wheel: Vec<f64> = laps.iter().map(|l| l.distance_m).collect();
    by_wheel.sort_by(f64::total_cmp);
    let middle_m = by_wheel[by_wheel.len() / 2];
    format!("left out: {}; a lap is {middle_m:.0} m by its wheel, {length_m:.0} m in all runs", listed(laps.iter()))
}

fn listed<'l>(laps: impl Iterator<Item = &'l Lap>) -> String {
    let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
    for reason in laps.filter_map(|l| l.reason) {
        *reasons.entry(reason.to_string()).or_default() += 1;
    }
    let reasons: Vec<String> = reasons.iter().map(|(reason, count)| format!("{count} × {reason}")).collect();
    reasons.join(", ")
}

/// Whether all runs together leave enough.
fn day(cut: &LapCut) -> Result<(), Error> {
    let laps = || cut.runs.iter().flatten();
    let count = laps().filter(|l| usable(l)).count();
    if count >= NEEDED {
        return Ok(());
    }
    let left_out = listed(laps());
    // A lap whose steps cannot be found, as over a gap, cannot be kept either.
    let can_keep = laps().any(|l| l.reason.is_some() && !l.edge_s.is_empty());
    let next = if left_out.is_empty() {
        "ride more whole laps past one point".to_string()
    } else {
        let keep = if can_keep { ", or overrule with keep" } else { "" };
        format!("left out: {left_out}; ride laps without stops and pauses{keep}")
    };
    Err(Error::TooFewLaps { laps: count, runs: cut.runs.len(), needed: NEEDED, next })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Recording;
    use crate::sample::{Reason, align};

    fn session(more: &str) -> Session {
        let text = format!(
            "[rider_and_bike]\nmass_kg = 85.0\n[loop]\nlength_m = 250.0\n[[setup]]\nid = \"a\"\n[[run]]\nfile = \"a.fit\"\nsetup = \"a\"\n{more}"
        );
        Session::from_toml(&text, "session.toml").expect("a sound session")
    }

    fn cut(reasons: &[Option<Reason>]) -> LapCut {
        let edges = |reason: &Option<Reason>| if reason.is_none() { vec![0.0, 1.0] } else { Vec::new() };
        let laps = reasons.iter().map(|r| Lap { edge_s: edges(r), reason: *r, ..Lap::default() }).collect();
        LapCut { runs: vec![laps], ..LapCut::default() }
    }

    fn check(session: &Session, cut: &LapCut, findings: &[Finding]) -> Result<(), Error> {
        let ride = align(&Recording::of_speeds(vec![0.0, 1.0, 2.0], vec![10.0; 3])).0;
        super::check(session, &vec![ride; session.runs.len()], cut, findings)
    }

    #[test]
    fn laps_that_never_reach_the_account_still_say_why() {
        let cut = cut(&[Some(Reason::Gap), Some(Reason::Gap), None]);
        let refused = check(&session(""), &cut, &[]).expect_err("one lap closes nothing").to_string();
        assert!(refused.contains("1 usable lap over 1 run"), "{refused}");
        assert!(refused.contains("2 × gap in the record"), "{refused}");
    }

    #[test]
    fn a_road_ridden_on_the_spot_is_refused_unless_the_lap_marks_are_asked_for() {
        let (cut, standing) = (cut(&[None, None]), [Finding::of_run(0, What::NotMoving)]);
        let refused = check(&session(""), &cut, &standing).expect_err("nobody rides a road on the spot").to_string();
        assert!(refused.contains("a.fit") && refused.contains("stand still"), "{refused}");
        assert!(check(&session("laps = \"device\"\n"), &cut, &standing).is_ok());
        assert!(check(&session("on = \"track\"\n"), &cut, &standing).is_ok());
        assert!(check(&session(""), &cut, &[]).is_ok());
    }
}
