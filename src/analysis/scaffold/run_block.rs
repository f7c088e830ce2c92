//! One `[[run]]`: what its file shows, and blanks for what it cannot.
//!
//! Given proposed runs; writes the block of one of them. It judges no lap itself.

use super::names::SetupGuess;
use super::proposed::{Looks, Proposed, venue};
use super::wording::{commented, one_line};
use crate::printable::quoted;

/// What a file says of itself that the tester should read here.
const TOLD_HERE: [&str; 6] =
    ["ridden-indoors", "virtual-ride", "motor", "power-drop-outs", "power-unreliable", "not-cycling"];

pub(super) fn write(out: &mut String, k: usize, runs: &[Proposed], guess: &SetupGuess, planned_km_h: Option<&[f64]>) {
    let (run, kind) = (&runs[k], venue(runs));
    let held = &run.held;
    let started = held.started.as_deref().unwrap_or("clock not set");
    let laps = &held.laps;
    let what = match (run.looks, laps.count) {
        (Looks::Rollers, _) => "no lap is to be seen: on rollers?".to_string(),
        (_, 0) => format!("no lap found ({})", laps.refusal.as_deref().unwrap_or("see inspect")),
        (_, n) => format!("{} of {n} laps usable", laps.usable),
    };
    out.push_str(&format!(
        "\n# Run {}: {}, {:.0} min, {}\n",
        k + 1,
        one_line(started),
        held.duration_s / 60.0,
        one_line(&what)
    ));
    for (lap, reason) in laps.laps.iter().filter_map(|l| Some((l.lap, l.reason.as_deref()?))) {
        out.push_str(&format!("#   lap {lap} is left out by itself: {}\n", one_line(reason)));
    }
    for said in held.findings.iter().filter(|f| TOLD_HERE.contains(&f.code)) {
        out.push_str(&format!("#   {}\n", one_line(&said.message)));
    }
    if let Some(other) = &run.beside {
        out.push_str(&format!(
            "#   ridden at the same time as {}, and both have power: two bicycles are two runs. If it is one bicycle with two\n\
             #   meters keep the one you trust as file and take the other out.\n",
            one_line(other)
        ));
    }
    out.push_str(&format!("[[run]]\nfile = {}\n", quoted(&held.file)));
    if let Some(second) = &run.second {
        out.push_str(&commented(
            &format!("second_file = {}", quoted(second)),
            "ridden at the same time, with another device",
        ));
    }
    match guess.of(k) {
        Some(id) => out.push_str(&commented(&format!("setup = {}", quoted(id)), "from the name of the file: check it")),
        None => out.push_str(&commented("setup = \"\"", "FILL IN: the id of its set-up")),
    }
    if run.looks != kind {
        out.push_str(&format!("on = \"{}\"\n", run.looks.word()));
    }
    if let Some(cycle) = planned_km_h {
        let shown: Vec<String> = cycle.iter().map(|v| format!("{v:.1}")).collect();
        out.push_str(&commented(
            &format!("planned_speed_km_h = [{}]", shown.join(", ")),
            "as ridden, lap by lap; state what was planned",
        ));
    }
    out.push_str(&commented("# mass_kg = 86.0", "when it was weighed again"));
    out.push_str(&commented(
        "# tyre_pressure_kpa = { front = 620, rear = 640 }",
        "6.2 and 6.4 bar, or 90 and 93 psi, on the run sheet",
    ));
}
