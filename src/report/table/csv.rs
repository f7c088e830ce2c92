//! A table as CSV: every digit, one column for each part of an estimate, nothing where nothing is known.
//!
//! Given a table; gives bytes. It rounds nothing.

use super::{Cell, Column, Medium, Table};
use crate::error::Error;
use crate::solution::Estimate;
use crate::wording::spreadsheet_cell;

/// What an estimate adds to its column.
const OF_ESTIMATE: [&str; 5] = ["", "_se", "_low", "_high", "_dof"];

impl Table {
    /// See the module. Errors: [`Error::Page`] when rows and columns do not fit, a fault of the program.
    pub fn csv(&self) -> Result<Vec<u8>, Error> {
        let fault = |e: csv::Error| Error::Page { reason: e.to_string() };
        let columns: Vec<(usize, &Column)> =
            self.columns.iter().enumerate().filter(|(_, c)| c.readers.read(Medium::File)).collect();
        let mut writer = csv::Writer::from_writer(Vec::new());
        let header = columns.iter().flat_map(|(_, column)| {
            let endings = if column.parts.is_some() { &OF_ESTIMATE[..] } else { &OF_ESTIMATE[..1] };
            endings.iter().map(|ending| format!("{}{ending}", column.key))
        });
        writer.write_record(header).map_err(fault)?;
        for row in &self.rows {
            let cells = columns.iter().flat_map(|(place, column)| {
                fields(row.cells.get(*place).unwrap_or(&Cell::Missing), column.parts.is_some())
            });
            writer.write_record(cells).map_err(fault)?;
        }
        writer.into_inner().map_err(|e| Error::Page { reason: e.to_string() })
    }
}

fn fields(cell: &Cell, is_estimate: bool) -> Vec<String> {
    let number = |x: Option<f64>| x.filter(|x| x.is_finite()).map_or(String::new(), |x| x.to_string());
    match cell {
        Cell::Estimate(e) | Cell::Difference(e) => {
            let Estimate { value, se, low, high, dof, .. } = *e;
            [value, se, low, high, dof].map(number).into_iter().take(if is_estimate { 5 } else { 1 }).collect()
        }
        Cell::Missing => vec![String::new(); if is_estimate { 5 } else { 1 }],
        Cell::Words(text) => vec![spreadsheet_cell(text)],
        Cell::Number { value, .. } => vec![value.to_string()],
    }
}
