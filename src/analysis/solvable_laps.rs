//! Whether the cut leaves laps to solve at all, told before any account is made of them.
//!
//! Given laps with their reasons; gives nothing or the error that says what became of every lap. It marks no lap.

use crate::circuit::LapCut;
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::session::{LapSource, Session, Venue};
use std::collections::BTreeMap;

/// Fewest laps that close a loop against each other.
const NEEDED: usize = 2;

/// Errors: [`Error::NoLaps`] when a run on a road stands still, [`Error::TooFewLaps`] with the reasons of the laps that
/// cannot be used.
pub(super) fn check(session: &Session, cut: &LapCut, findings: &[Finding]) -> Result<(), Error> {
    for finding in findings.iter().filter(|f| f.what == What::NotMoving) {
        // A roofed track has no positions worth the name, and who asks for the lap marks knows of the laps.
        if let Some(run) = finding.run.and_then(|r| session.runs.get(r))
            && session.venue_of(run) == Venue::Road
            && run.laps == LapSource::Auto
        {
            return Err(Error::NoLaps {
                file: run.file.clone(),
                reason: "positions stand still while the wheel turns".into(),
                next: "for rollers say on = \"rollers\" in the run or --kind rollers; if the receiver failed on a road, \
                       say laps = \"device\" to cut at the lap marks",
            });
        }
    }
    let usable = cut.runs.iter().flatten().filter(|l| l.reason.is_none() && !l.edge_s.is_empty()).count();
    if usable >= NEEDED {
        return Ok(());
    }
    let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
    for reason in cut.runs.iter().flatten().filter_map(|l| l.reason) {
        *reasons.entry(reason.to_string()).or_default() += 1;
    }
    let left_out: Vec<String> = reasons.iter().map(|(reason, count)| format!("{count} × {reason}")).collect();
    let next = if left_out.is_empty() {
        "ride more whole laps past one point".to_string()
    } else {
        format!("left out: {}; ride laps without stops and pauses, or overrule with keep", left_out.join(", "))
    };
    Err(Error::TooFewLaps { laps: usable, runs: cut.runs.len(), needed: NEEDED, next })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::Lap;
    use crate::sample::Reason;

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

    #[test]
    fn laps_that_never_reach_the_account_still_say_why() {
        let cut = cut(&[Some(Reason::Gap), Some(Reason::Gap), None]);
        let refused = check(&session(""), &cut, &[]).expect_err("one lap closes nothing").to_string();
        assert!(refused.contains("1 usable lap(s) over 1 run(s)"), "{refused}");
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
