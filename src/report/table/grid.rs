//! How tables and paragraphs are laid out on a terminal of any width.
//!
//! Given cells of text; gives text no wider than asked: side by side where that fits, else one block for each row. Widths are
//! those a terminal shows (wide characters count two).

use crate::wording::harmless;
use comfy_table::{ColumnConstraint, ContentArrangement, LineStyle, Table, TableStyle, Width};

/// Space between two columns.
const GAP: u16 = 2;
/// The first column holds names, which may wrap down to this.
const LEAST_NAME: u16 = 14;

const STYLE: TableStyle = TableStyle::new().header_separator(LineStyle::none().fill('─'));

/// Cells under their headers; the first column holds names.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize)]
pub struct Grid {
    pub header: Vec<String>,
    pub rows: Vec<Vec<String>>,
}

impl Grid {
    pub fn new(header: &[&str]) -> Grid {
        Grid { header: header.iter().map(|h| h.to_string()).collect(), rows: Vec::new() }
    }

    /// Leaves out columns in which nothing is known, the first one never.
    pub fn without_empty(mut self, unknown: &str) -> Grid {
        let kept: Vec<bool> = (0..self.header.len())
            .map(|column| {
                column == 0
                    || self.rows.iter().any(|row| row.get(column).is_some_and(|c| c != unknown && !c.is_empty()))
            })
            .collect();
        let keep = |cells: &mut Vec<String>| {
            let mut column = 0;
            cells.retain(|_| {
                column += 1;
                kept.get(column - 1).copied().unwrap_or(false)
            });
        };
        keep(&mut self.header);
        self.rows.iter_mut().for_each(keep);
        self
    }

    /// See the module.
    pub fn text(&self, width: usize) -> String {
        if self.rows.is_empty() {
            return String::new();
        }
        let width = u16::try_from(width).unwrap_or(u16::MAX);
        self.side_by_side(width).unwrap_or_else(|| self.blocks(usize::from(width)))
    }

    fn side_by_side(&self, width: u16) -> Option<String> {
        let mut table = Table::new();
        table.load_style(STYLE).set_content_arrangement(ContentArrangement::Dynamic);
        table.set_header(self.header.iter().map(|cell| harmless(cell)));
        for row in &self.rows {
            table.add_row(row.iter().map(|cell| harmless(cell)));
        }
        let natural = table.column_max_content_widths();
        let others: u16 = natural.iter().skip(1).map(|w| w.saturating_add(GAP)).fold(0, u16::saturating_add);
        let name = natural.first().copied().unwrap_or(1).min(width.saturating_sub(others));
        if name < natural.first().copied().unwrap_or(1).min(LEAST_NAME) || name == 0 {
            return None;
        }
        table.set_width(width);
        for (index, column) in table.column_iter_mut().enumerate() {
            let padding = if index == 0 { 0 } else { GAP };
            column.set_padding((padding, 0));
            let content = if index == 0 { name } else { natural[index] };
            column.set_constraint(ColumnConstraint::Absolute(Width::Fixed(content + padding)));
        }
        Some(table.trim_fmt())
    }

    fn blocks(&self, width: usize) -> String {
        let mut text = String::new();
        for row in &self.rows {
            let mut cells = self.header.iter().zip(row);
            if let Some((header, name)) = cells.next() {
                // A bare number says nothing without its header.
                let bare = name.chars().all(|c| c.is_ascii_digit());
                let name = if bare { format!("{} {name}", header.replace('\n', " ")) } else { name.clone() };
                text.push_str(&paragraph(&name, width, ""));
            }
            for (header, cell) in cells.filter(|(_, cell)| !cell.is_empty()) {
                let line = format!("{}: {}", header.replace('\n', " "), on_one_line(cell));
                text.push_str(&paragraph(&line, width, "  "));
            }
        }
        text.trim_end().to_string()
    }
}

/// Lines of a cell put after each other: words that go on, an uncertainty with its value, both ends of an interval, else
/// commas.
fn on_one_line(cell: &str) -> String {
    let is_number = |line: &str| line.starts_with(|c: char| c.is_ascii_digit() || c == '-');
    let mut lines = cell.split('\n');
    let mut text = lines.next().unwrap_or_default().to_string();
    let mut before = text.clone();
    for line in lines {
        let goes_on =
            line.starts_with(['±', '(']) || before.ends_with(',') || !before.contains(|c: char| c.is_ascii_digit());
        text.push_str(match (goes_on, is_number(&before) && is_number(line)) {
            _ if line.starts_with("p ") => ", ",
            (true, _) => " ",
            (false, true) => " to ",
            (false, false) => ", ",
        });
        text.push_str(line);
        before = line.to_string();
    }
    text
}

/// A value with its uncertainty, and p with its number, as one word.
fn unparted(text: &str) -> String {
    ["p < ", "p = ", " ± "]
        .iter()
        .fold(text.to_string(), |text, words| text.replace(words, &words.replace(' ', "\u{a0}")))
}

/// A text wrapped to the width, every line after `indent` and ended.
pub fn paragraph(text: &str, width: usize, indent: &str) -> String {
    let room = width.saturating_sub(indent.chars().count()).max(8);
    let mut table = Table::new();
    table.load_style(TableStyle::new()).set_content_arrangement(ContentArrangement::Dynamic);
    table.set_width(u16::try_from(room).unwrap_or(u16::MAX));
    // A value is not parted from its uncertainty.
    table.add_row([unparted(&harmless(text))]);
    if let Some(column) = table.column_mut(0) {
        column.set_padding((0, 0));
    }
    let lines: Vec<String> =
        table.lines().map(|line| format!("{indent}{}", line.trim_end()).replace('\u{a0}', " ")).collect();
    format!("{}\n", lines.join("\n"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid() -> Grid {
        let mut grid = Grid::new(&["Set-up", "Crr", "CdA, m²", "Laps"]);
        grid.rows.push(["a rather long name of a set-up", "0.00460 ± 0.00023", "–", "12"].map(String::from).to_vec());
        grid
    }

    #[test]
    fn lines_of_a_cell_are_joined_by_what_they_are() {
        for (cell, joined) in [
            ("0.0045\n± 0.0002", "0.0045 ± 0.0002"),
            ("-0.0007\n-0.0003", "-0.0007 to -0.0003"),
            ("0.00005,\n0.00006", "0.00005, 0.00006"),
            ("too few\ndraws", "too few draws"),
            ("separated\np < 0.001", "separated, p < 0.001"),
            ("1\n(3 results)", "1 (3 results)"),
            ("5.0 ± 1.9\nscatter 1.9\ninstrument 0.1", "5.0 ± 1.9, scatter 1.9, instrument 0.1"),
        ] {
            assert_eq!(on_one_line(cell), joined);
        }
    }

    #[test]
    fn a_table_that_fits_stands_side_by_side_and_keeps_to_the_width() {
        let text = grid().text(60);
        assert!(text.lines().all(|line| line.chars().count() <= 60), "{text}");
        assert!(text.lines().next().is_some_and(|line| line.contains("Crr") && line.contains("Laps")), "{text}");
    }

    #[test]
    fn a_table_that_does_not_fit_becomes_blocks() {
        let text = grid().text(30);
        assert!(text.lines().all(|line| line.chars().count() <= 30), "{text}");
        assert!(text.contains("  Crr: 0.00460 ± 0.00023"), "{text}");
    }

    #[test]
    fn a_block_of_a_number_tells_what_is_counted() {
        let mut grid = Grid::new(&["Laps a set-up", "gusts 0.15 m/s", "gusts 0.3 m/s"]);
        grid.rows.push(["12", "1.9", "3.1"].map(String::from).to_vec());
        assert!(grid.text(20).starts_with("Laps a set-up 12\n"), "{}", grid.text(20));
    }

    #[test]
    fn p_is_not_parted_from_its_number() {
        for width in 20..40 {
            let text = paragraph("the next best, and that is real (p < 0.001).", width, "");
            assert!(text.lines().any(|line| line.contains("p < 0.001")), "{text}");
        }
    }

    #[test]
    fn a_column_without_any_value_is_left_out() {
        assert_eq!(grid().without_empty("–").header, ["Set-up", "Crr", "Laps"]);
    }
}
