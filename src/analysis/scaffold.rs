//! A session file proposed from the rides themselves, with blanks for what no ride can know.
//!
//! Given the recordings of a folder and, if told, what differs between the set-ups; gives the commented text of a session:
//! runs in the order of riding, kind of loop, gate and length, the laps that were found, set-ups read from file names. Masses
//! and what cannot be read are left to fill in, and a session with blanks is refused with the line of each. It reads and
//! writes no file.

mod differs;
mod head;
mod names;
mod proposed;
mod run_block;
mod speeds;
mod wording;

pub use differs::Differs;
pub use proposed::{Beside, PassedOver};

use crate::record::Recording;
use names::SetupGuess;
use proposed::Proposed;
use wording::one_line;

/// Two files are of one ride when they share at least this part of the shorter.
const SAME_RIDE: f64 = 0.8;

/// A proposed session.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    pub text: String,
    /// Rides that are the same as another, with the reason.
    pub passed_over: Vec<PassedOver>,
    /// Ids of the set-ups that file names show; empty when they show none.
    pub setups: Vec<String>,
    pub runs: usize,
}

/// The session for some rides; `rides` may come in any order.
pub fn scaffold(title: &str, rides: &[Recording], beside: &Beside, differs: Option<Differs>) -> Proposal {
    let mut runs: Vec<Proposed> = Vec::new();
    let mut passed_over: Vec<PassedOver> = Vec::new();
    let mut ordered: Vec<&Recording> = rides.iter().collect();
    ordered.sort_by(|a, b| {
        let start = |r: &Recording| r.time_s.first().copied().unwrap_or(0.0);
        start(a).total_cmp(&start(b)).then_with(|| a.provenance.file.cmp(&b.provenance.file))
    });
    for recording in ordered {
        let proposed = Proposed::of(recording);
        match runs.iter().find(|r| r.held.sha256 == proposed.held.sha256) {
            Some(first) => passed_over.push(PassedOver {
                file: proposed.held.file.clone(),
                reason: format!("the same file as {}, byte for byte", first.held.file),
            }),
            None => propose(&mut runs, proposed),
        }
    }
    let files: Vec<&str> = runs.iter().map(|r| r.held.file.as_str()).collect();
    let guess = SetupGuess::from_names(&files);
    let mut text = String::new();
    head::write(&mut text, title, &runs, beside, differs, &guess);
    for (k, planned) in speeds::planned_km_h(&runs).iter().enumerate() {
        run_block::write(&mut text, k, &runs, &guess, planned.as_deref());
    }
    let unused: Vec<&PassedOver> = beside.passed_over.iter().chain(&passed_over).collect();
    for file in &unused {
        text.push_str(&format!("\n# Not used: {}: {}", one_line(&file.file), one_line(&file.reason)));
    }
    if !unused.is_empty() {
        text.push('\n');
    }
    Proposal { text, passed_over, setups: guess.ids(), runs: runs.len() }
}

/// The id of the set-up that the name of each file shows, such as "a" for a-1.fit; `None` where names show none.
pub fn setups_from_names(files: &[&str]) -> Option<Vec<String>> {
    let guess = SetupGuess::from_names(files);
    (0..files.len()).map(|k| guess.of(k).map(String::from)).collect()
}

/// Adds a ride as a run, or joins it to a run of the same time where it only lends what that lacks. Two files with power are two
/// runs: joined, one bicycle would be solved with the power of another.
fn propose(runs: &mut Vec<Proposed>, mut new: Proposed) {
    let at_once = |r: &&mut Proposed| r.second.is_none() && together(r, &new) >= SAME_RIDE;
    let Some(first) = runs.iter_mut().find(at_once) else {
        runs.push(new);
        return;
    };
    match (has(&first.ride.power_w), has(&new.ride.power_w)) {
        (true, true) => {
            new.beside = Some(first.held.file.clone());
            runs.push(new);
        }
        // The one with power leads; the other only lends what is missing.
        (false, true) => {
            let lender = first.held.file.clone();
            *first = Proposed { second: Some(lender), ..new };
        }
        _ => first.second = Some(new.held.file.clone()),
    }
}

fn has(column: &[f64]) -> bool {
    column.iter().any(|x| x.is_finite())
}

/// Share of the shorter ride that lies within the other; clocks that were not set say nothing.
fn together(a: &Proposed, b: &Proposed) -> f64 {
    if a.held.started.is_none() || b.held.started.is_none() {
        return 0.0;
    }
    let (a, b) = (&a.ride, &b.ride);
    let from = a.start_unix_s.max(b.start_unix_s);
    let to = (a.start_unix_s + a.duration_s()).min(b.start_unix_s + b.duration_s());
    let shorter = a.duration_s().min(b.duration_s());
    if shorter > 0.0 { (to - from) / shorter } else { 0.0 }
}
