//! A table as the page's template takes it.
//!
//! Given a table with its heading and caption; gives cells of text with their class. It holds no markup.

use super::grid::Grid;
use super::{Cell, Medium, Row, Table};
use serde::Serialize;

/// Letters of the longest number with what stands beside it, "12.3 from 240° ± 10".
const LONGEST_NUMBER: usize = 24;

/// Classes of cells.
const NUMBER: &str = "n";
const WORDS: &str = "words";

/// See the module.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PageTable {
    pub id: String,
    pub heading: String,
    /// Level of the heading.
    pub level: u8,
    pub caption: String,
    /// On a phone such a table is scrolled; others stand as one block a row.
    pub scrolled: bool,
    pub columns: Vec<PageColumn>,
    pub rows: Vec<PageRow>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PageColumn {
    name: String,
    numbers: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PageRow {
    lap: Option<String>,
    pale: bool,
    cells: Vec<PageCell>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PageCell {
    text: String,
    /// "n" for numbers, which are not broken over lines, else "words".
    class: &'static str,
    parts: Vec<String>,
}

impl Table {
    /// See the module; `None` when no row stands in it or nothing beside the names.
    pub fn page(&self, id: &str, heading: &str, caption: &str) -> Option<PageTable> {
        let places = self.read(Medium::Page);
        if self.rows.is_empty() || places.len() < 2 {
            return None;
        }
        let column = |place: &usize| PageColumn {
            name: self.columns[*place].name.replace('\n', " "),
            numbers: self.columns[*place].numbers,
        };
        let row = |row: &Row| PageRow {
            lap: row.lap.clone(),
            pale: row.pale,
            cells: places.iter().map(|place| self.page_cell(row, *place)).collect(),
        };
        Some(PageTable {
            id: id.into(),
            heading: heading.into(),
            level: 3,
            caption: caption.into(),
            scrolled: false,
            columns: places.iter().map(column).collect(),
            rows: self.rows.iter().map(row).collect(),
        })
    }

    fn page_cell(&self, row: &Row, place: usize) -> PageCell {
        let cell = row.cells.get(place).unwrap_or(&Cell::Missing);
        let [value, half] = cell.written();
        let text = if half.is_empty() { value } else { format!("{value} {half}") };
        // Both ends of an interval may be below nought.
        let text = text.replace('\n', " ").split(" to ").map(typographic).collect::<Vec<_>>().join(" to ");
        let class = match cell {
            Cell::Words(_) => class(&text),
            _ => NUMBER,
        };
        PageCell { class, parts: self.columns[place].parts.map(|p| cell.parts(p)).unwrap_or_default(), text }
    }
}

impl Grid {
    /// The same of a grid: what stands under the first line of a cell are its parts. Its heading is one of the second level.
    pub fn page(&self, id: &str, heading: &str, caption: &str) -> Option<PageTable> {
        let cell = |(column, text): (usize, &String)| {
            let mut lines = text.lines().map(typographic);
            let text = lines.next().unwrap_or_default();
            // What stands first is a name, be it one that begins with a digit.
            let class = if column == 0 { WORDS } else { class(&text) };
            PageCell { class, parts: lines.collect(), text }
        };
        let row =
            |row: &Vec<String>| PageRow { lap: None, pale: false, cells: row.iter().enumerate().map(cell).collect() };
        (!self.rows.is_empty()).then(|| PageTable {
            id: id.into(),
            heading: heading.into(),
            level: 2,
            caption: caption.into(),
            scrolled: false,
            columns: self
                .header
                .iter()
                .map(|name| PageColumn { name: name.replace('\n', " "), numbers: false })
                .collect(),
            rows: self.rows.iter().map(row).collect(),
        })
    }
}

/// Whether words are read as a number; a name may begin with a digit too.
fn class(text: &str) -> &'static str {
    let begins = text.starts_with(|c: char| c.is_ascii_digit() || "+−<–".contains(c));
    if begins && text.chars().count() <= LONGEST_NUMBER { NUMBER } else { WORDS }
}

/// A true minus sign before digits.
pub fn typographic(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit()) => format!("−{rest}"),
        _ => text.to_string(),
    }
}
