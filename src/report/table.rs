//! A table as data: columns with key, name and alignment, cells with value, interval or words. It is built once and
//! rendered for the terminal, for the page and as CSV.
//!
//! Given cells; knows who reads which column. It computes nothing but roundings.

mod csv;
mod grid;
mod html;

pub use grid::{Grid, paragraph};
pub use html::PageTable;

use super::number::{SHARED, UNKNOWN, is_shared, parts, shown};
use crate::solution::Estimate;

/// Where a column is to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Readers {
    #[default]
    All,
    /// Terminal and page.
    People,
    Terminal,
    Page,
    /// CSV alone.
    Files,
}

/// One of the three renderings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Medium {
    Terminal,
    Page,
    File,
}

impl Readers {
    fn read(self, medium: Medium) -> bool {
        match self {
            Readers::All => true,
            Readers::People => medium != Medium::File,
            Readers::Terminal => medium == Medium::Terminal,
            Readers::Page => medium == Medium::Page,
            Readers::Files => medium == Medium::File,
        }
    }
}

/// The two parts of an interval that stand under it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Parts {
    pub names: [&'static str; 2],
    /// On the page they always stand.
    pub on_terminal: bool,
}

/// Scatter and instrument.
pub const PARTS: Parts = Parts { names: ["scatter", "instrument"], on_terminal: true };

/// One column.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Header of the CSV, with the unit at its end; an estimate adds `_se`, `_low`, `_high` and `_dof`.
    pub key: &'static str,
    /// For people, with the unit: "CdA, m²". A line end is kept on the terminal.
    pub name: String,
    pub readers: Readers,
    /// Numbers stand at the right on the page and are never broken.
    pub numbers: bool,
    pub parts: Option<Parts>,
}

impl Column {
    pub fn words(key: &'static str, name: impl Into<String>) -> Column {
        Column { key, name: name.into(), readers: Readers::All, numbers: false, parts: None }
    }

    pub fn numbers(key: &'static str, name: impl Into<String>) -> Column {
        Column { numbers: true, ..Column::words(key, name) }
    }

    /// Values with their interval and its parts.
    pub fn estimates(key: &'static str, name: impl Into<String>, parts: Parts) -> Column {
        Column { parts: Some(parts), ..Column::numbers(key, name) }
    }

    pub fn only(self, readers: Readers) -> Column {
        Column { readers, ..self }
    }
}

/// What stands in one place.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Cell {
    /// Not known: a dash for people, nothing in a file, never 0.
    #[default]
    Missing,
    Words(String),
    /// `value` in the unit of the key goes to files, `shown` is for people.
    Number {
        value: f64,
        shown: String,
    },
    /// A value with its interval.
    Estimate(Estimate),
    /// A difference: with a sign, and "shared" where both set-ups have one value.
    Difference(Estimate),
}

impl Cell {
    pub fn words(text: impl Into<String>) -> Cell {
        Cell::Words(text.into())
    }

    pub fn number(value: Option<f64>, shown: impl Fn(f64) -> String) -> Cell {
        match value.filter(|v| v.is_finite()) {
            Some(value) => Cell::Number { value, shown: shown(value) },
            None => Cell::Missing,
        }
    }

    pub fn count(count: usize) -> Cell {
        Cell::Number { value: count as f64, shown: count.to_string() }
    }

    /// Words that may not be there.
    pub fn maybe(text: Option<String>) -> Cell {
        text.map_or(Cell::Missing, Cell::Words)
    }

    fn is_missing(&self) -> bool {
        match self {
            Cell::Missing => true,
            Cell::Words(text) => text.is_empty() || text == UNKNOWN,
            Cell::Number { .. } => false,
            Cell::Estimate(e) | Cell::Difference(e) => e.value.is_none_or(|v| !v.is_finite()),
        }
    }

    /// Value and half-width apart, for people.
    fn written(&self) -> [String; 2] {
        match self {
            Cell::Missing => [UNKNOWN.into(), String::new()],
            Cell::Words(text) => [text.clone(), String::new()],
            Cell::Number { shown, .. } => [shown.clone(), String::new()],
            Cell::Estimate(e) => [shown(e).value, shown(e).half],
            Cell::Difference(e) if is_shared(e) => [SHARED.into(), String::new()],
            Cell::Difference(e) => {
                let plus = if e.value.is_some_and(|v| v > 0.0) { "+" } else { "" };
                [format!("{plus}{}", shown(e).value), shown(e).half]
            }
        }
    }

    /// "scatter 0.00013" and "instrument 0.00019" with what stands between them, where they are known.
    fn parts(&self, names: Parts) -> Vec<String> {
        let (Cell::Estimate(e) | Cell::Difference(e)) = self else { return Vec::new() };
        let renamed = |name: &'static str| match name {
            "scatter" => names.names[0],
            "instrument" => names.names[1],
            other => other,
        };
        parts(e).into_iter().map(|(name, text)| format!("{} {text}", renamed(name))).collect()
    }
}

/// A value with its half-width as in a cell of differences, "+0.00011 ± 0.00020", "shared" or "–".
pub fn signed(difference: &Estimate) -> String {
    let [value, half] = Cell::Difference(*difference).written();
    if half.is_empty() { value } else { format!("{value} {half}") }
}

/// One row.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Row {
    pub cells: Vec<Cell>,
    /// "2-7": run and lap, by which the page joins it to the figures.
    pub lap: Option<String>,
    /// Not used: printed paler.
    pub pale: bool,
}

impl From<Vec<Cell>> for Row {
    fn from(cells: Vec<Cell>) -> Row {
        Row { cells, ..Row::default() }
    }
}

/// See the module; the first column for people holds the names of the rows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    pub columns: Vec<Column>,
    pub rows: Vec<Row>,
}

impl Table {
    pub fn new(columns: Vec<Column>) -> Table {
        Table { columns, rows: Vec::new() }
    }

    pub fn push(&mut self, cells: Vec<Cell>) {
        self.rows.push(cells.into());
    }

    /// Places of the columns that are read there and hold anything; the first one always.
    fn read(&self, medium: Medium) -> Vec<usize> {
        let known = |place: usize| self.rows.iter().any(|row| row.cells.get(place).is_some_and(|c| !c.is_missing()));
        let mut first = true;
        (0..self.columns.len())
            .filter(|place| self.columns[*place].readers.read(medium))
            .filter(|place| std::mem::take(&mut first) || known(*place))
            .collect()
    }

    /// For the terminal. Empty where nothing stands beside the names.
    pub fn grid(&self) -> Grid {
        let places = self.read(Medium::Terminal);
        let row = |row: &Row| -> Vec<String> {
            places
                .iter()
                .map(|place| {
                    let cell = row.cells.get(*place).unwrap_or(&Cell::Missing);
                    let [value, half] = cell.written();
                    let between = if matches!(cell, Cell::Difference(_)) { "\n" } else { " " };
                    let mut lines = vec![if half.is_empty() { value } else { format!("{value}{between}{half}") }];
                    let parts = self.columns[*place].parts.filter(|p| p.on_terminal);
                    lines.extend(parts.map(|p| cell.parts(p)).unwrap_or_default());
                    lines.join("\n")
                })
                .collect()
        };
        Grid {
            header: places.iter().map(|place| self.columns[*place].name.clone()).collect(),
            rows: if places.len() < 2 { Vec::new() } else { self.rows.iter().map(row).collect() },
        }
    }

    /// See [`Grid::text`].
    pub fn text(&self, width: usize) -> String {
        self.grid().text(width)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate() -> Estimate {
        Estimate {
            value: Some(-0.00021),
            se: Some(0.0001),
            low: Some(-0.00041),
            high: Some(-0.00001),
            ..Estimate::default()
        }
    }

    fn table() -> Table {
        let mut table = Table::new(vec![
            Column::words("setup", "").only(Readers::Files),
            Column::words("label", "Set-up"),
            Column::estimates("crr", "Crr", PARTS),
            Column::numbers("laps_used", "Laps"),
            Column::numbers("nothing", "Nothing"),
        ]);
        table.push(vec![
            Cell::words("=a"),
            Cell::words("latex"),
            Cell::Difference(estimate()),
            Cell::count(12),
            Cell::Missing,
        ]);
        table
    }

    #[test]
    fn one_table_is_read_in_three_ways() {
        let table = table();
        assert_eq!(table.grid().header, ["Set-up", "Crr", "Laps"]);
        assert_eq!(table.grid().rows, [["latex", "-0.00021\n± 0.00020", "12"]]);
        let csv = String::from_utf8(table.csv().expect("a table")).expect("text");
        assert_eq!(
            csv,
            "setup,label,crr,crr_se,crr_low,crr_high,crr_dof,laps_used,nothing\n'=a,latex,-0.00021,0.0001,-0.00041,-0.00001,,12,\n"
        );
        let page = table.page("t", "A table", "");
        assert!(format!("{page:?}").contains("−0.00021 ± 0.00020"), "{page:?}");
    }

    #[test]
    fn a_shared_value_is_not_told_as_a_measured_zero() {
        // The schema gives a difference that is held a value and no error.
        assert_eq!(signed(&Estimate { value: Some(0.0), ..Estimate::default() }), "shared");
        let measured =
            Estimate { value: Some(0.0), se: Some(0.1), low: Some(-0.2), high: Some(0.2), ..Estimate::default() };
        assert_eq!(signed(&measured), "0.00 ± 0.20");
        assert_eq!(signed(&Estimate::default()), "–");
    }
}
