//! A session file proposed from the rides themselves, with blanks for what no ride can know.
//!
//! Given the recordings of a folder and, if told, what differs between the set-ups; gives the commented text of a session:
//! runs in the order of riding, kind of loop, gate and length, the laps that were found, set-ups read from file names. Masses
//! and what cannot be read are left to fill in, and a session with blanks is refused with the line of each. It reads and
//! writes no file.

mod differs;
mod head;
mod names;
mod run_block;
mod speeds;

pub use differs::Differs;

use super::inspection::{Inspection, inspect};
use crate::record::Recording;
use crate::sample::{Ride, align};
use names::SetupGuess;

/// Shortest and longest lap that may be one of a track, m (common practice, no source).
const TRACK_M: [f64; 2] = [150.0, 600.0];
/// Two files are of one ride when they share at least this part of the shorter.
const SAME_RIDE: f64 = 0.8;

/// What was found in the folder beside rides.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Beside {
    /// A weather log.
    pub weather: Option<String>,
    /// A levelled profile.
    pub survey: Option<String>,
    /// Files that are no rides, with the reason.
    pub passed_over: Vec<PassedOver>,
}

/// A file that is not used.
#[derive(Debug, Clone, PartialEq)]
pub struct PassedOver {
    pub file: String,
    pub reason: String,
}

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

/// Kind of venue that a ride looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Looks {
    Road,
    Track,
    Rollers,
}

/// One proposed run.
struct Proposed {
    held: Inspection,
    ride: Ride,
    looks: Looks,
    /// Another device on the same ride.
    second: Option<String>,
    /// A run that was ridden at the same time and has power too.
    beside: Option<String>,
    temperature_c: Option<f64>,
    elevation_m: Option<f64>,
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

impl Proposed {
    fn of(recording: &Recording) -> Proposed {
        let held = inspect(recording, None);
        let ride = align(recording).0;
        let on_the_move = held.moves == Some(true);
        let marked = held.laps.device_lap_length_m;
        let looks = match (on_the_move, marked) {
            (true, _) => Looks::Road,
            (false, Some(length)) if (TRACK_M[0]..=TRACK_M[1]).contains(&length) => Looks::Track,
            (false, Some(_)) => Looks::Road,
            (false, None) => Looks::Rollers,
        };
        let temperature_c = mean(&recording.temperature_c);
        Proposed { held, looks, second: None, beside: None, temperature_c, elevation_m: mean(&ride.altitude_m), ride }
    }
}

fn mean(column: &[f64]) -> Option<f64> {
    let known: Vec<f64> = column.iter().copied().filter(|t| t.is_finite()).collect();
    (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
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

/// The venue of the loop: that of most runs that are not on rollers, as only a loop has keys of its own.
fn venue(runs: &[Proposed]) -> Looks {
    let count = |looks| runs.iter().filter(|r| r.looks == looks).count();
    match (count(Looks::Road), count(Looks::Track)) {
        (0, 0) => Looks::Rollers,
        (road, track) if track > road => Looks::Track,
        _ => Looks::Road,
    }
}

impl Looks {
    fn word(self) -> &'static str {
        match self {
            Looks::Road => "road",
            Looks::Track => "track",
            Looks::Rollers => "rollers",
        }
    }
}

/// A line with its comment at one column, as far as it fits.
fn commented(key: &str, comment: &str) -> String {
    format!("{key:<29} # {comment}\n")
}

/// A TOML string.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_string()).to_string()
}

/// Text for a comment: names come from files and must not end it.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_with_quotes_and_line_ends_stay_within_their_string_and_comment() {
        let text = format!("a = {}\n# {}\n", quoted("x\"\ny"), one_line("p\nq"));
        let table: toml::Table = toml::from_str(&text).unwrap();
        assert_eq!(table["a"].as_str(), Some("x\"\ny"));
        assert_eq!(table.len(), 1);
    }
}
