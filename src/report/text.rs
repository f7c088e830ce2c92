//! The summary on the terminal: verdict, set-ups, differences, runs, findings, in this order.
//!
//! Given the solution and a width; gives plain text that fits it, without colour. It prints nothing itself.

use super::laps_left_out;
use super::number::{Shown, UNKNOWN, fixed, measured, p_value, percent, shown, significant};
use super::table::{Grid, paragraph};
use super::units::Units;
use super::verdict::{self, name_of, reference_speed, setup_name};
use crate::solution::{Estimate, RunResult, Solution};

/// No narrower than this, whatever the terminal says.
pub(super) const LEAST_WIDTH: usize = 40;
/// Longer lines are hard to read.
pub(super) const MOST_WIDTH: usize = 100;

/// See the module.
pub fn summary(solution: &Solution, width: usize, units: Units) -> String {
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let mut text = String::new();
    if !solution.title.trim().is_empty() {
        text.push_str(&paragraph(&solution.title, width, ""));
        text.push('\n');
    }
    text.push_str(&paragraph(&verdict::sentence(solution, units), width, ""));
    let share = percent(solution.confidence);
    let (setups, differences, runs) = (set_ups(solution, units), differences(solution, units), runs(solution, units));
    section(&mut text, width, &format!("Set-ups, ± at {share}"), &setups.text(width));
    section(&mut text, width, &format!("Differences, ± at {share}"), &differences.text(width));
    if !differences.rows.is_empty() {
        let words = "p is adjusted for the number of comparisons (Holm); 'would find' is the smallest difference such a \
                     test finds with 80 % power.";
        text.push_str(&paragraph(words, width, ""));
    }
    section(&mut text, width, "Runs", &runs.text(width));
    let laps = laps_left_out::sentence(solution);
    if !laps.is_empty() {
        text.push_str(&paragraph(&laps, width, ""));
    }
    section(&mut text, width, "Findings", &findings(solution, width));
    without_controls(&text)
}

/// Names and reasons come from files: nothing of theirs may steer the terminal.
pub(super) fn without_controls(text: &str) -> String {
    text.chars().filter(|c| *c == '\n' || !c.is_control()).collect()
}

pub(super) fn section(text: &mut String, width: usize, heading: &str, body: &str) {
    if !body.is_empty() {
        text.push_str(&format!("\n{}{}\n", paragraph(heading, width, ""), body.trim_end()));
    }
}

/// Value and half-width, with the parts of the half-width under it.
fn cell(shown: &Shown) -> String {
    let mut lines = vec![shown.whole()];
    if !shown.scatter.is_empty() && !shown.instrument.is_empty() {
        lines.push(format!("scatter {}", shown.scatter));
        lines.push(format!("instrument {}", shown.instrument));
    }
    lines.join("\n")
}

fn set_ups(solution: &Solution, units: Units) -> Grid {
    let power = format!("W at {}", reference_speed(solution, units));
    let mut grid = Grid::new(&["Set-up", "Crr", "CdA, m²", &power, "Resistance, N", "Laps"]);
    for setup in &solution.setups {
        let name = setup_name(setup);
        let name = if solution.setups.len() > 1 && setup.id == solution.baseline {
            format!("{name} (baseline)")
        } else {
            name
        };
        // The resistance is only of interest when its parts are not known.
        let drag = setup.drag_at_mean_speed_n.filter(|_| !solution.separable);
        grid.rows.push(vec![
            name,
            cell(&shown(&setup.crr)),
            cell(&shown(&setup.cda_m2)),
            cell(&shown(&setup.power_w)),
            drag.map_or(UNKNOWN.into(), |drag| cell(&shown(&drag))),
            setup.laps_used.to_string(),
        ]);
    }
    if solution.runs.iter().all(|run| run.laps.is_empty()) {
        grid.rows.iter_mut().for_each(|row| row[5] = UNKNOWN.into());
    }
    grid.without_empty(UNKNOWN)
}

fn differences(solution: &Solution, _units: Units) -> Grid {
    let mut grid = Grid::new(&["Set-up", "W", "Crr", "CdA, m²", "p", "Would\nfind, W", "Verdict"]);
    let signed = |estimate: &Estimate| {
        let shown = shown(estimate);
        let sign = if estimate.value.is_some_and(|v| v > 0.0) { "+" } else { "" };
        let half = if shown.half.is_empty() { String::new() } else { format!("\n{}", shown.half) };
        if shown.known { format!("{sign}{}{half}", shown.value) } else { UNKNOWN.into() }
    };
    for contrast in &solution.contrasts {
        grid.rows.push(vec![
            name_of(solution, &contrast.setup),
            signed(&contrast.power_w),
            signed(&contrast.crr),
            signed(&contrast.cda_m2),
            p_value(contrast.p_holm),
            contrast.detectable_power_w.map_or(UNKNOWN.into(), |w| significant(w, 2)),
            contrast.verdict.clone(),
        ]);
    }
    grid.without_empty(UNKNOWN)
}

fn wind(run: &RunResult) -> String {
    match (run.wind.speed_m_s.filter(|v| v.is_finite()), run.wind.from_deg.filter(|v| v.is_finite())) {
        (Some(speed), Some(from)) => format!("{} from {}°", fixed(Some(speed), 1), fixed(Some(from), 0)),
        (Some(speed), None) => fixed(Some(speed), 1),
        _ => UNKNOWN.into(),
    }
}

fn runs(solution: &Solution, units: Units) -> Grid {
    let mut grid = Grid::new(&["Run", "Set-up", "Laps", "Lag ± se, s", "Wind, m/s", "kg/m³", "Mass"]);
    for (index, run) in solution.runs.iter().enumerate() {
        let laps = if run.laps.is_empty() {
            UNKNOWN.into()
        } else {
            format!("{}/{}", laps_left_out::used(run), run.laps.len())
        };
        grid.rows.push(vec![
            format!("{} {}", index + 1, run.file),
            run.setup.clone(),
            laps,
            measured(&run.lag_s),
            wind(run),
            fixed(run.air_density_kg_m3, 3),
            units.mass(run.mass_kg),
        ]);
    }
    grid.without_empty(UNKNOWN)
}

fn findings(solution: &Solution, width: usize) -> String {
    let mut text = String::new();
    for finding in &solution.findings {
        let place = finding.run.map(|run| format!("run {run}: ")).unwrap_or_default();
        let body = paragraph(&format!("{place}{} [{}]", finding.message, finding.code), width, "  ");
        text.push_str(&body.replacen("  ", "- ", 1));
    }
    text
}
