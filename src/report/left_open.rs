//! What a result rests on beside its laps: what changes from run to run, drag against yaw, and what was expected of each
//! beforehand.
//!
//! Given the solution; gives a table. It judges nothing.

use super::number::{measured, significant};
use super::table::{Cell, Column, Table};
use super::verdict::name_of;
use crate::solution::{RunToRunResult, Solution};

/// See the module; without rows where nothing of it was estimated.
pub fn table(solution: &Solution) -> Table {
    let mut table = Table::new(vec![
        Column::words("quantity", "Quantity"),
        Column::words("found", "Found"),
        Column::words("expected", "Expected before"),
        Column::words("told", "What the rides told"),
    ]);
    for venue in solution.by_venue() {
        let place = if solution.venues.is_some() { format!(", {}", venue.venue) } else { String::new() };
        if let Some(found) = &venue.run_to_run {
            run_to_run(&mut table, found, &place);
        }
    }
    for yaw in &solution.yaw {
        let whose = yaw.setup.as_ref().map_or(String::new(), |id| format!(", {}", name_of(solution, id)));
        table.push(vec![
            Cell::Words(format!("Drag against yaw, k of CdA (1 + k sin²ψ){whose}")),
            Cell::Words(measured(&yaw.k)),
            Cell::Missing,
            Cell::words(told(yaw.told)),
        ]);
    }
    table
}

fn run_to_run(table: &mut Table, found: &RunToRunResult, place: &str) {
    // As in the sentence on runs.
    let share = |fraction: f64| significant(100.0 * fraction, 2);
    table.push(vec![
        Cell::Words(format!("Change from run to run{place}, of {}", found.of)),
        Cell::Words(format!("{} % ({} % to {} %)", share(found.fraction), share(found.low), share(found.high))),
        Cell::Words(format!("{} %", significant(100.0 * found.supposed_fraction, 2))),
        Cell::words(told(!found.rests_on_prior)),
    ]);
}

fn told(by_rides: bool) -> &'static str {
    if by_rides { "more than the expectation did" } else { "little: the interval rests on what was expected" }
}
