//! The check of the budget by random draws, beside what it checks.
//!
//! Given a solution that has one and a width; gives plain text that fits it, nothing where no check was made.

use super::number::{UNKNOWN, counted, percent, significant};
use super::table::{Cell, Column, Table, paragraph};
use super::text::{LEAST_WIDTH, MOST_WIDTH, section};
use super::verdict::name_of;
use crate::solution::{MonteCarlo, MonteCarloResult, Solution};
use crate::uncertainty::rounding::Place;
use crate::wording::harmless;

/// What stands between the two ends of an interval, and between the budget's number and that of the draws.
pub(super) type Between = [&'static str; 2];
/// One above the other.
const IN_TERMINAL: Between = ["\n", ",\n"];
/// On one line.
pub(super) const IN_PAGE: Between = [" to ", ", "];

/// See the module.
pub fn check(solution: &Solution, width: usize) -> String {
    let Some(made) = &solution.monte_carlo else { return String::new() };
    let width = width.clamp(LEAST_WIDTH, MOST_WIDTH);
    let mut text = String::new();
    let heading = format!(
        "Check by {} draws of all instrument inputs, intervals at {}",
        made.draws,
        percent(solution.confidence)
    );
    section(&mut text, width, &heading, &table(solution, made, IN_TERMINAL).text(width));
    text.push_str(&paragraph(&sentence(made), width, ""));
    harmless(&text)
}

/// How many agree, and what that means.
pub fn sentence(made: &MonteCarlo) -> String {
    let with = |verdict: &str| made.results.iter().filter(|r| r.verdict == verdict).count();
    let of = made.results.len();
    if of == 0 {
        return "No result has an interval that could be checked.".into();
    }
    let mut said = vec![format!("{} of {} agree", with("agrees"), counted(of, "interval"))];
    if with("differs") > 0 {
        said.push(format!("{} DIFFER", with("differs")));
    }
    if with("too few draws") > 0 {
        said.push(format!("for {} the draws are too few to tell", with("too few draws")));
    }
    format!(
        "{}. Two ends of an interval agree when they are no further apart than half a unit in digit {} of the combined \
         standard uncertainty (JCGM 101, clause 8). Seed {}.",
        said.join(", "),
        made.digits,
        made.seed
    )
}

pub(super) fn table(solution: &Solution, made: &MonteCarlo, [to, and]: Between) -> Table {
    let mut table = Table::new(vec![
        Column::words("result", "Result"),
        Column::words("quantity", "Quantity"),
        Column::numbers("budget", "Interval,\nbudget"),
        Column::numbers("draws", "Interval,\ndraws"),
        Column::numbers("instrument_se", "Instrument u,\nbudget, draws"),
        Column::words("verdict", "Verdict"),
    ]);
    for r in &made.results {
        let venue = if solution.venues.is_some() { format!(", {}", r.venue) } else { String::new() };
        let less = r.baseline.as_ref().map(|b| format!(" less {}", name_of(solution, b))).unwrap_or_default();
        let place = r.budget_low.zip(r.budget_high).and_then(|(low, high)| Place::of(0.5 * (high - low)));
        let in_place = |x: Option<f64>| match (x, place) {
            (Some(x), Some(place)) => place.text(x),
            (Some(x), None) => significant(x, 3),
            (None, _) => UNKNOWN.into(),
        };
        // Both standard uncertainties at the place of the budget's.
        let part = r.budget_instrument_se.and_then(Place::of);
        let u = |x: Option<f64>| x.zip(part).map_or(UNKNOWN.into(), |(x, part)| part.text(x));
        let row = [
            format!("{}{less}{venue}", name_of(solution, &r.setup)),
            quantity(r),
            format!("{}{to}{}", in_place(r.budget_low), in_place(r.budget_high)),
            format!("{}{to}{}", in_place(r.low), in_place(r.high)),
            format!("{}{and}{}", u(r.budget_instrument_se), u(r.instrument_se)),
            r.verdict.replace("too few ", "too few\n"),
        ];
        table.push(row.map(Cell::Words).into());
    }
    table
}

fn quantity(r: &MonteCarloResult) -> String {
    match r.quantity.as_str() {
        "crr" => "Crr",
        "cda_m2" => "CdA, m²",
        "power_w" => "W",
        "rolling_power_w" => "Rolling W",
        other => other,
    }
    .to_string()
}
