//! A session file proposed from the rides themselves, with blanks for what no ride can know.
//!
//! Given the recordings of a folder; gives the commented text of a session: runs in the order of riding, kind of loop, gate
//! and length, the laps that were found. Masses and set-up names are left to fill in, and a session with blanks is refused
//! with the line of each. It reads and writes no file.

use super::inspection::{Inspection, inspect};
use crate::circuit::{RunToCut, cut};
use crate::quantity::km_h_from_m_s;
use crate::record::Recording;
use crate::sample::{Ride, align};
use crate::session::{Circuit, LapSource, Position};
use crate::solve::speed_class::{Origin, classify};

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
    temperature_c: Option<f64>,
}

/// The text of a session for some rides; `rides` may come in any order.
pub fn scaffold(title: &str, rides: &[Recording], beside: &Beside) -> String {
    let mut runs: Vec<Proposed> = Vec::new();
    let mut ordered: Vec<&Recording> = rides.iter().collect();
    ordered.sort_by(|a, b| {
        let start = |r: &Recording| r.time_s.first().copied().unwrap_or(0.0);
        start(a).total_cmp(&start(b)).then_with(|| a.provenance.file.cmp(&b.provenance.file))
    });
    for recording in ordered {
        let proposed = Proposed::of(recording);
        match runs.iter_mut().find(|r| r.second.is_none() && together(&r.ride, &proposed.ride) >= SAME_RIDE) {
            // The one with power leads; the other only lends what is missing.
            Some(first) if !has(&first.ride.power_w) && has(&proposed.ride.power_w) => {
                let lender = first.held.file.clone();
                *first = Proposed { second: Some(lender), ..proposed };
            }
            Some(first) => first.second = Some(proposed.held.file.clone()),
            None => runs.push(proposed),
        }
    }
    let mut out = String::new();
    head(&mut out, title, &runs, beside);
    for (k, run) in runs.iter().enumerate() {
        describe(&mut out, k, run, venue(&runs));
    }
    for file in &beside.passed_over {
        out.push_str(&format!("\n# Not used: {}: {}", one_line(&file.file), one_line(&file.reason)));
    }
    if !beside.passed_over.is_empty() {
        out.push('\n');
    }
    out
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
        let known: Vec<f64> = recording.temperature_c.iter().copied().filter(|t| t.is_finite()).collect();
        let temperature_c = (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64);
        Proposed { held, ride, looks, second: None, temperature_c }
    }
}

fn has(column: &[f64]) -> bool {
    column.iter().any(|x| x.is_finite())
}

/// Share of the shorter ride that lies within the other.
fn together(a: &Ride, b: &Ride) -> f64 {
    let from = a.start_unix_s.max(b.start_unix_s);
    let to = (a.start_unix_s + a.duration_s()).min(b.start_unix_s + b.duration_s());
    let shorter = a.duration_s().min(b.duration_s());
    if shorter > 0.0 { (to - from) / shorter } else { 0.0 }
}

/// The venue of most runs.
fn venue(runs: &[Proposed]) -> Looks {
    let count = |looks| runs.iter().filter(|r| r.looks == looks).count();
    [Looks::Road, Looks::Track, Looks::Rollers].into_iter().rev().max_by_key(|l| count(*l)).unwrap_or(Looks::Road)
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

/// What all rides of the loop together show.
struct Found {
    gate: Option<Position>,
    length_m: f64,
}

fn found(runs: &[Proposed]) -> Option<Found> {
    let on_road: Vec<&Proposed> = runs.iter().filter(|r| r.looks == Looks::Road).collect();
    let to_cut: Vec<RunToCut> =
        on_road.iter().map(|r| RunToCut { file: &r.held.file, ride: &r.ride, source: LapSource::Auto }).collect();
    if to_cut.is_empty() {
        return None;
    }
    let cut = cut(&to_cut, &Circuit::default()).ok()?;
    Some(Found { gate: cut.gate, length_m: cut.length_m })
}

fn head(out: &mut String, title: &str, runs: &[Proposed], beside: &Beside) {
    let kind = venue(runs);
    let mut line = |text: &str| {
        out.push_str(text);
        out.push('\n');
    };
    line("# Proposed from the rides in this folder. Fill in what is marked FILL IN, check the rest, then solve it.");
    line("# A session with blanks is refused, and the message names the line.");
    line("");
    line(&format!("title = {}", quoted(title)));
    line("# baseline = \"...\"            # the set-up that the others are compared with; the first when left out");
    line("");
    line("[rider_and_bike]");
    line("mass_kg = 0.0                 # FILL IN: rider, bicycle, kit and bottles together, as weighed");
    line("# drivetrain_efficiency = 1.0 # for a power meter in the hub; 0.976 for crank or pedals when left out");
    line("");
    line("[loop]");
    line(&format!("kind = \"{}\"", kind.word()));
    match (kind, found(runs)) {
        (Looks::Road, Some(found)) => {
            if let Some(g) = found.gate {
                line(&format!("# The lap was cut where riding is steady; {:.0} m long.", found.length_m));
                line(&format!("gate = {{ lat_deg = {:.6}, lon_deg = {:.6} }}", g.lat_deg, g.lon_deg));
            } else {
                line(&format!("# Laps by marks or distance, {:.0} m long.", found.length_m));
            }
        }
        (Looks::Road, None) => {
            line("# No place is passed twice in one direction in all of the rides; see «loopwright inspect».");
            line("# length_m = 1250.0           # FILL IN where neither positions nor lap marks show the laps");
        }
        (Looks::Track, _) => {
            let lengths: Vec<f64> = runs.iter().filter_map(|r| r.held.laps.device_lap_length_m).collect();
            let mean = lengths.iter().sum::<f64>() / lengths.len().max(1) as f64;
            line(&format!("length_m = {mean:.1}              # FILL IN: the surveyed length; the wheel says this"));
            line("# bend_radius_m = 22.0        # FILL IN: without it the lean in the bends is left out");
            line("# transition_m = 12.0");
        }
        (Looks::Rollers, _) => {}
    }
    if let Some(survey) = &beside.survey {
        line(&format!("survey = {}", quoted(survey)));
    }
    line("");
    line("[air]");
    if let Some(log) = &beside.weather {
        line(&format!("log = {}", quoted(log)));
    }
    let known: Vec<f64> = runs.iter().filter_map(|r| r.temperature_c).collect();
    let device = known.iter().sum::<f64>() / known.len() as f64;
    line(&match device.is_finite() && beside.weather.is_none() {
        true => format!(
            "# temperature_c = {device:.1}        # mean of the device, which reads high in the sun; better from the shade"
        ),
        false => "# temperature_c = 18.0        # in the shade".to_string(),
    });
    line("# pressure_hpa = 1000.0       # station pressure, not reduced to sea level");
    line("# humidity_pct = 60.0");
    line("");
    line("[solve]");
    line("# What does not change from set-up to set-up is held common; this is what makes a tyre test sharp.");
    line("# cda = \"common\"              # only the tyres change");
    line("# crr = \"common\"              # only the position changes");
    if kind == Looks::Rollers || runs.iter().any(|r| r.looks == Looks::Rollers) {
        line("");
        line("[rollers]");
        line("# drum_diameter_m = 0.11      # FILL IN");
        line("# drum_spacing_m = 0.27       # between the axles of the drums under the rear wheel");
        line("# no_load_power_w_at_40_km_h = 5.0");
    }
    line("");
    line("# One block for each set-up that was ridden.");
    line("[[setup]]");
    line("id = \"\"                       # FILL IN: a short name, such as \"old\"");
    line("label = \"\"                    # in full, such as \"25 mm, inner tube, 6.2 bar\"");
}

fn describe(out: &mut String, k: usize, run: &Proposed, kind: Looks) {
    let held = &run.held;
    let mut line = |text: String| {
        out.push_str(&text);
        out.push('\n');
    };
    line(String::new());
    let started = held.started.as_deref().unwrap_or("clock not set");
    let laps = &held.laps;
    let what = match (run.looks, laps.count) {
        (Looks::Rollers, _) => "no lap is to be seen: on rollers?".to_string(),
        (_, 0) => format!("no lap found ({})", laps.refusal.as_deref().unwrap_or("see inspect")),
        (_, n) => format!("{} of {n} laps usable", laps.usable),
    };
    line(format!("# Run {}: {}, {:.0} min, {}", k + 1, one_line(started), held.duration_s / 60.0, one_line(&what)));
    for (lap, reason) in laps.laps.iter().filter_map(|l| Some((l.lap, l.reason.as_deref()?))) {
        line(format!("#   lap {lap} is left out by itself: {}", one_line(reason)));
    }
    line("[[run]]".into());
    line(format!("file = {}", quoted(&held.file)));
    if let Some(second) = &run.second {
        line(format!("second_file = {}      # ridden at the same time, with another device", quoted(second)));
    }
    line("setup = \"\"                    # FILL IN: the id of its set-up".into());
    line("# mass_kg = 86.0              # when it was weighed again".into());
    line("# tyre_pressure_kpa = { front = 620, rear = 640 }".into());
    if run.looks != kind {
        line(format!("on = \"{}\"", run.looks.word()));
    }
    let usable: Vec<f64> = laps.laps.iter().filter(|l| l.reason.is_none()).filter_map(|l| l.mean_speed_m_s).collect();
    if let Some(cycle) = two_speeds(&usable) {
        let shown: Vec<String> = cycle.iter().map(|v| format!("{:.1}", km_h_from_m_s(*v))).collect();
        line(format!("# planned_speed_km_h = [{}]   # as ridden; state what was planned", shown.join(", ")));
    }
}

/// The two speeds of laps ridden in turn, first lap first; `None` when they were not.
fn two_speeds(speeds: &[f64]) -> Option<[f64; 2]> {
    if speeds.len() < 4 {
        return None;
    }
    let classes = classify(speeds, &vec![None; speeds.len()]);
    let in_turn = classes.of_lap.windows(2).all(|w| w[0] != w[1]);
    if classes.origin != Origin::Found || classes.count != 2 || !in_turn {
        return None;
    }
    let mean = |from: usize| {
        let every: Vec<f64> = speeds.iter().copied().skip(from).step_by(2).collect();
        every.iter().sum::<f64>() / every.len() as f64
    };
    Some([mean(0), mean(1)])
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

    #[test]
    fn laps_in_turn_give_their_two_speeds_and_others_none() {
        let [slow, fast] = two_speeds(&[8.0, 11.0, 8.2, 11.2, 8.1, 11.1]).unwrap();
        assert!((slow - 8.1).abs() < 1e-12 && (fast - 11.1).abs() < 1e-12);
        assert_eq!(two_speeds(&[8.0, 8.1, 8.2, 11.0, 11.1, 11.2]), None);
        assert_eq!(two_speeds(&[9.0, 9.1, 9.0, 9.1, 9.05]), None);
    }
}
