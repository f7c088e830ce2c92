//! The table of ride files, to check that they are the same ones.
//!
//! Given the runs; gives a table.

use super::number::fixed;
use super::table::{Cell, Column, Table};
use crate::solution::Solution;

/// See the module.
pub fn files(solution: &Solution) -> Table {
    let mut table = Table::new(vec![
        Column::words("file", "File"),
        Column::numbers("records", "Records"),
        Column::numbers("duration_min", "Minutes"),
        Column::words("sha256", "SHA-256"),
    ]);
    for run in &solution.runs {
        table.push(vec![
            Cell::words(&run.file),
            Cell::count(run.records),
            Cell::number(Some(run.duration_s / 60.0), |minutes| fixed(Some(minutes), 0)),
            Cell::words(&run.sha256),
        ]);
    }
    table
}
