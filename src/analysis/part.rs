//! Some runs of a session as a session of their own, and the way back to the numbers of the whole.
//!
//! Given all inputs and which runs are wanted; gives the part, and turns its numbers of runs and set-ups into those of the
//! session. It solves nothing.

use super::ridden_session::RiddenSession;
use super::venue_outcome::VenueOutcome;
use crate::error::{Error, UnusableRun};
use crate::evidence::Evidence;
use crate::sample::Ride;
use crate::session::Venue;

/// Some of the runs with the set-ups they need, and where both stand in the session.
pub struct Part {
    pub inputs: RiddenSession,
    pub rides: Vec<Ride>,
    pub runs: Vec<usize>,
    pub setups: Vec<usize>,
}

impl Part {
    /// The runs of some venues; what was said of the kind of the loop goes for all of them.
    pub fn of_venues(inputs: &RiddenSession, rides: &[Ride], wanted: &dyn Fn(Venue) -> bool) -> Part {
        let session = &inputs.session;
        let mut part = Part::of(inputs, rides, &|k| wanted(session.venue_of(&session.runs[k])));
        if let Some(first) = part.runs.first() {
            part.inputs.session.circuit.kind = session.venue_of(&session.runs[*first]);
        }
        part
    }

    pub fn of(inputs: &RiddenSession, rides: &[Ride], wanted: &dyn Fn(usize) -> bool) -> Part {
        let session = &inputs.session;
        let runs: Vec<usize> = (0..session.runs.len()).filter(|k| wanted(*k)).collect();
        let ridden = |s: &usize| runs.iter().any(|k| session.setup_of(&session.runs[*k]) == *s);
        let setups: Vec<usize> = (0..session.setups.len()).filter(ridden).collect();
        let mut own = session.clone();
        own.runs = runs.iter().map(|k| session.runs[*k].clone()).collect();
        own.setups = setups.iter().map(|s| session.setups[*s].clone()).collect();
        own.baseline = Some(session.setups[session.baseline()].id.clone());
        Part {
            inputs: RiddenSession {
                session: own,
                recordings: runs.iter().map(|k| inputs.recordings[*k].clone()).collect(),
                weather: inputs.weather.clone(),
                survey: inputs.survey.clone(),
            },
            rides: runs.iter().map(|k| rides[*k].clone()).collect(),
            runs,
            setups,
        }
    }

    /// The same for runs that cannot be used.
    pub fn renumbered(&self, error: Error) -> Error {
        match error {
            Error::RunsUnusable { runs, cause } => {
                let runs = runs.into_iter().map(|u| UnusableRun { run: self.runs[u.run], ..u }).collect();
                Error::RunsUnusable { runs, cause }
            }
            other => other,
        }
    }

    /// Numbers of the part turned into those of the session.
    pub fn renumber(&self, outcome: &mut VenueOutcome) {
        for finding in &mut outcome.findings {
            finding.run = finding.run.map(|k| self.runs[k]);
        }
        for without in outcome.solution.leave_one_out.iter_mut().flat_map(|one| [&mut one.lap, &mut one.run]).flatten()
        {
            without.run = self.runs[without.run - 1] + 1;
        }
        let Evidence { runs, regions, warm_ups, model_residual, .. } = &mut outcome.evidence;
        for left in model_residual.iter_mut().flat_map(|m| &mut m.runs) {
            left.of = self.runs[left.of];
        }
        runs.iter_mut().for_each(|r| r.setup = self.setups[r.setup]);
        regions.iter_mut().for_each(|r| r.setup = self.setups[r.setup]);
        for warm_up in warm_ups {
            warm_up.run = self.runs[warm_up.run];
            warm_up.setup = self.setups[warm_up.setup];
        }
    }
}
