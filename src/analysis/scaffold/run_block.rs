//! One `[[run]]`: what its file shows, and blanks for what it cannot.
//!
//! Given proposed runs; writes the block of one of them. It judges no lap itself.

use super::names::SetupGuess;
use super::{Looks, Proposed, commented, one_line, quoted, venue};
use crate::quantity::km_h_from_m_s;
use crate::solve::speed_class::{Origin, classify};

/// Longest cycle of planned speeds that is looked for, laps.
const LONGEST_CYCLE: usize = 6;
/// What a file says of itself that the tester should read here.
const TOLD_HERE: [&str; 5] = ["ridden-indoors", "virtual-ride", "motor", "power-drop-outs", "not-cycling"];

pub(super) fn write(out: &mut String, k: usize, runs: &[Proposed], guess: &SetupGuess) {
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
    if let Some(cycle) = planned_speeds(run) {
        let shown: Vec<String> = cycle.iter().map(|v| format!("{:.1}", km_h_from_m_s(*v))).collect();
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

/// Speeds that repeat over the laps in clearly separate classes, first lap first; `None` where they do not.
fn planned_speeds(run: &Proposed) -> Option<Vec<f64>> {
    let usable = run.held.laps.laps.iter().filter(|l| l.reason.is_none());
    let laps: Vec<(usize, f64)> = usable.filter_map(|l| Some((l.lap - 1, l.mean_speed_m_s?))).collect();
    cycle(&laps)
}

/// The shortest cycle of classes that all laps, given by their place from 0, keep to.
fn cycle(laps: &[(usize, f64)]) -> Option<Vec<f64>> {
    let speeds: Vec<f64> = laps.iter().map(|l| l.1).collect();
    if laps.len() < 4 {
        return None;
    }
    let classes = classify(&speeds, &vec![None; speeds.len()]);
    if classes.origin != Origin::Found || classes.count < 2 {
        return None;
    }
    let mean = |class: usize| {
        let of: Vec<f64> = speeds.iter().zip(&classes.of_lap).filter(|(_, c)| **c == class).map(|(v, _)| *v).collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    for length in 2..=LONGEST_CYCLE.min(laps.len() / 2) {
        let mut at: Vec<Option<usize>> = vec![None; length];
        let kept = laps
            .iter()
            .zip(&classes.of_lap)
            .all(|((place, _), class)| *at[place % length].get_or_insert(*class) == *class);
        if let (true, Some(cycle)) = (kept, at.into_iter().collect::<Option<Vec<usize>>>()) {
            return Some(cycle.into_iter().map(mean).collect());
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(speeds: &[f64]) -> Option<Vec<f64>> {
        let laps: Vec<(usize, f64)> = speeds.iter().copied().enumerate().collect();
        cycle(&laps).map(|c| c.iter().map(|v| (v * 100.0).round() / 100.0).collect())
    }

    #[test]
    fn laps_in_turn_give_their_speeds_and_others_none() {
        assert_eq!(shown(&[8.0, 11.0, 8.2, 11.2, 8.1, 11.1]), Some(vec![8.1, 11.1]));
        assert_eq!(shown(&[8.0, 8.1, 11.0, 11.1, 8.05, 8.0, 11.1, 11.0]), Some(vec![8.04, 8.04, 11.05, 11.05]));
        assert_eq!(shown(&[8.0, 9.5, 11.0, 8.1, 9.6, 11.1]), Some(vec![8.05, 9.55, 11.05]));
        assert_eq!(shown(&[8.0, 8.1, 8.2, 11.0, 11.1, 11.2]), None);
        assert_eq!(shown(&[9.0, 9.1, 9.0, 9.1, 9.05]), None);
    }

    #[test]
    fn a_lap_that_is_left_out_keeps_its_place_in_the_cycle() {
        // Lap 3, a slow one, is missing.
        let laps = [(0, 8.0), (1, 11.0), (3, 11.1), (4, 8.1), (5, 11.05), (6, 8.05), (7, 11.0)];
        let speeds = cycle(&laps).expect("a cycle");
        assert!(speeds[0] < 8.2 && speeds[1] > 10.9 && speeds.len() == 2);
    }
}
