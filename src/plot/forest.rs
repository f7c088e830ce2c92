//! Figure `forest`: one quantity from several days, venues or runs, and what they give together.
//!
//! Given rows that were computed elsewhere; draws value, interval and weight of each, and the pooled value as a diamond
//! as wide as its interval. It pools nothing.

use super::figure::Figure;
use super::key::{MARGIN, heading};
use super::lettering::Letters;
use super::panel::Panel;
use super::polyline::Point;
use super::rows::{self, Column, Interval, RowName};
use super::scale::{Range, number, short};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{Dash, Form, Identity, MUTED, Style, TEXT};

/// Head of the column of weights, wider than "100 %".
const WEIGHT: &str = "Weight";

/// One result, or the pooled one.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ForestRow {
    pub label: String,
    pub value: f64,
    pub low: f64,
    pub high: f64,
    /// Share in the pooled value, 0 to 1.
    pub weight: f64,
}

/// What a forest shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Forest {
    pub title: String,
    /// Quantity with its unit, "Difference in Crr".
    pub quantity: String,
    pub rows: Vec<ForestRow>,
    pub pooled: Option<ForestRow>,
    /// A value with a meaning, such as zero for a difference.
    pub reference: Option<f64>,
    pub caption: String,
}

/// See the module. `None` when no row is finite.
pub fn draw(forest: &Forest, style: &Style) -> Option<Figure> {
    let all: Vec<&ForestRow> = forest.rows.iter().chain(&forest.pooled).collect();
    let mut range = Range::of(all.iter().flat_map(|r| [r.value, r.low, r.high]))?;
    if let Some(reference) = forest.reference {
        range = range.including(reference);
    }
    let pooled_row = forest.rows.len();
    let names: Vec<RowName> = all.iter().map(|row| RowName { text: row.label.clone(), identity: None }).collect();
    let weighted = forest.rows.iter().any(|row| row.weight > 0.0);
    let mut sheet = Sheet::new(*style);
    let top = heading(&mut sheet, &forest.title);
    let paint = |sheet: &mut Sheet, panel: &Panel, index: usize, y: f64| {
        let Some(row) = all.get(index) else { return };
        let tip = format!(
            "{}: {} ({} to {})",
            row.label,
            short(row.value, style),
            short(row.low, style),
            short(row.high, style)
        );
        if index != pooled_row && weighted {
            let text = format!("{} %", number(row.weight * 100.0, 0, style));
            let at = Point::new(style.width() - MARGIN, y + style.size(Letters::Small) * 0.36);
            sheet.words(at, &text, Letters::Small, Anchor::End, MUTED);
        }
        if index == 0 && weighted {
            let at = Point::new(style.width() - MARGIN, panel.frame.top - 1.4);
            sheet.words(at, WEIGHT, Letters::Small, Anchor::End, MUTED);
        }
        if index == pooled_row {
            let corners = [(row.low, 0.0), (row.value, -1.6), (row.high, 0.0), (row.value, 1.6)];
            let outline = corners.map(|(value, dy)| Point::new(panel.x.at(value), y + dy));
            sheet.area(&outline, TEXT, 1.0, &Note::tip(tip));
        } else if row.value.is_finite() {
            let identity = Identity { ink: style.ink(0), form: Form::Square, open: false, dash: Dash::Solid };
            let interval = Interval { value: row.value, low: row.low, high: row.high, scatter: None };
            rows::interval(sheet, panel, y, &interval, &identity, &tip);
        }
    };
    let column = Column {
        title: forest.quantity.clone(),
        range: range.padded(0.08),
        reference: forest.reference,
        paint: &paint,
    };
    // Weights stand in a column of their own.
    let edge = if weighted { rows::EDGE + sheet.width_of(WEIGHT, Letters::Small) } else { rows::EDGE };
    let bottom = rows::draw(&mut sheet, top, edge, &names, &[column]);
    Figure::of(sheet, bottom + 1.5, "forest", forest.title.clone(), forest.caption.clone())
}
