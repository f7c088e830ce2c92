//! The summary on the terminal: verdict, set-ups, differences, both venues, runs, findings, in this
//! order.
//!
//! Given the solution and a width; gives plain text that fits it, without colour. It prints nothing itself.

use super::crr_drift;
use super::differences::{self, Naming};
use super::laps_left_out;
use super::number::{Shown, UNKNOWN, fixed, percent, shown, significant};
use super::run_table::{self, Detail};
use super::second_opinion;
use super::table::{Grid, paragraph};
use super::together::{agreement, together};
use super::units::Units;
use super::verdict::{self, reference_speed, setup_name};
use crate::solution::{Estimate, Solution};

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
    let (setups, differences) =
        (set_ups(solution, units), differences::grid(solution, &solution.contrasts, Naming::Setup));
    let on_the_loop = if solution.venues.is_some() { " on the loop" } else { "" };
    section(&mut text, width, &format!("Set-ups{on_the_loop}, ± at {share}"), &setups.text(width));
    section(&mut text, width, &format!("Differences{on_the_loop}, ± at {share}"), &differences.text(width));
    if solution.contrasts.iter().any(|c| c.p_holm.is_some()) {
        let words = "p is adjusted for the number of comparisons (Holm); 'would find' is the smallest difference such a \
                     test finds with 80 % power.";
        text.push_str(&paragraph(words, width, ""));
    }
    text.push_str(&paragraph_if(&second_opinion::sentence(solution), width));
    text.push_str(&paragraph_if(&crr_drift::sentence(solution), width));
    if let Some(both) = together(solution, units) {
        section(&mut text, width, &format!("Loop and rollers, ± at {share}"), &both.setups.text(width));
        let heading = format!("Differences seen on loop and rollers, ± at {share}");
        section(&mut text, width, &heading, &both.differences.text(width));
        text.push_str(&paragraph_if(&agreement(solution), width));
    }
    let on_loop = run_table::on_loop(solution, units, Detail::Brief).text(width);
    let on_rollers = run_table::on_rollers(solution, units, Detail::Brief).text(width);
    let heading = if on_loop.is_empty() || on_rollers.is_empty() { "Runs" } else { "Runs on the loop" };
    section(&mut text, width, heading, &on_loop);
    section(&mut text, width, if on_loop.is_empty() { "Runs" } else { "Runs on rollers" }, &on_rollers);
    text.push_str(&paragraph_if(&laps_left_out::sentence(solution), width));
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

fn paragraph_if(words: &str, width: usize) -> String {
    if words.is_empty() { String::new() } else { paragraph(words, width, "") }
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
    let speed = reference_speed(solution, units);
    let held = solution.setups.iter().find_map(|s| s.crr_held).map_or(UNKNOWN.into(), |crr| significant(crr, 2));
    let mut grid = Grid::new(&[
        "Set-up",
        "Crr",
        "CdA, m²",
        &format!("W at {speed}"),
        &format!("Rolling W\nat {speed}"),
        &format!("Mean speed,\n{}", units.speed_unit()),
        "Resistance\nat it, N",
        &format!("CdA, m²,\nif Crr {held}"),
        "Laps",
    ]);
    // Watts of rolling are of interest alone where those of air are not known, as on rollers.
    let rolling_only = solution.setups.iter().all(|s| s.power_w.value.is_none());
    for setup in &solution.setups {
        let name = setup_name(setup);
        let name = if solution.setups.len() > 1 && setup.id == solution.baseline {
            format!("{name} (baseline)")
        } else {
            name
        };
        // Resistance is only of interest when its parts are not known.
        let drag = setup.drag_at_mean_speed_n.filter(|_| !solution.separable);
        let speed = setup.mean_speed_m_s.filter(|_| drag.is_some()).map(|v| units.speed_value(v));
        let shown_or_not = |e: Option<Estimate>| e.map_or(UNKNOWN.into(), |e| cell(&shown(&e)));
        grid.rows.push(vec![
            name,
            cell(&shown(&setup.crr)),
            cell(&shown(&setup.cda_m2)),
            cell(&shown(&setup.power_w)),
            shown_or_not(Some(setup.rolling_power_w).filter(|_| rolling_only)),
            fixed(speed, 1),
            shown_or_not(drag),
            shown_or_not(setup.cda_m2_with_crr_held),
            setup.laps_used.to_string(),
        ]);
    }
    if solution.runs.iter().all(|run| run.laps.is_empty()) {
        grid.rows.iter_mut().filter_map(|row| row.last_mut()).for_each(|laps| *laps = UNKNOWN.into());
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
