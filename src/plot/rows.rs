//! Named rows with one or more panels of values beside them, as in a table that is drawn.
//!
//! Given names and, for each panel, a range and a way to draw one row; lays out names, panels and axes. On a narrow
//! sheet the panels stand under each other and repeat the names. It knows no particular figure.

use super::key::{Entry, MARGIN, Sample};
use super::lettering::Letters;
use super::panel::{Panel, readable};
use super::polyline::{Frame, Point};
use super::scale::Range;
use super::sheet::{Anchor, Note, Sheet};
use super::style::{AXIS, GRID, Identity, Ink, MUTED, Stroke, Style, TEXT};

/// A name at the left, with the mark of its set-up where it has one.
#[derive(Debug, Clone, PartialEq)]
pub struct RowName {
    pub text: String,
    pub identity: Option<Identity>,
}

/// One panel of the rows.
pub struct Column<'a> {
    pub title: String,
    pub range: Range,
    /// A value that gets a line through all rows.
    pub reference: Option<f64>,
    /// Draws the row with this index at this height, mm.
    pub paint: &'a dyn Fn(&mut Sheet, &Panel, usize, f64),
}

const GAP: f64 = 8.0;
/// Half height of the ticks that end a whole interval and its scatter part, mm.
const END_TICK: f64 = 1.5;
const SCATTER_TICK: f64 = 0.8;

/// By how much a title may be wider than its panel, mm: less than what is free at the right of the last one.
const OVERHANG: f64 = 3.5;

/// Room at the right that tick labels need, mm.
pub const EDGE: f64 = 5.0;

/// See the module; `edge` is what stays free at the right. Returns how far down the rows reach, mm.
pub fn draw(sheet: &mut Sheet, top: f64, edge: f64, names: &[RowName], columns: &[Column]) -> f64 {
    let room = Room { edge, least_row: 6.0, names: names_room(&sheet.style) };
    draw_rows(sheet, top, room, names, columns)
}

/// What stays free at the right, how high a row is at least, and how wide names may be before they are broken, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    pub edge: f64,
    pub least_row: f64,
    pub names: f64,
}

/// Usual width for names, mm.
pub fn names_room(style: &Style) -> f64 {
    if style.narrow() { 30.0 } else { 48.0 }
}

/// The same for rows that hold more than a name.
pub fn draw_rows(sheet: &mut Sheet, top: f64, room: Room, names: &[RowName], columns: &[Column]) -> f64 {
    let edge = room.edge;
    let right = sheet.style.width() - edge;
    let mark = if names.iter().any(|n| n.identity.is_some()) { 4.0 } else { 0.0 };
    let widest = names.iter().map(|n| sheet.width_of(&n.text, Letters::Body)).fold(8.0, f64::max).min(room.names);
    let most_lines = if sheet.style.narrow() { 3 } else { 2 };
    let wrapped: Vec<Vec<String>> =
        names.iter().map(|n| sheet.wrap(&n.text, widest, most_lines, Letters::Body)).collect();
    let deepest = wrapped.iter().map(Vec::len).max().unwrap_or(1) as f64;
    let row = (deepest * sheet.style.leading(Letters::Body) + 1.2).max(room.least_row);
    let title_lines = |width: f64| {
        columns.iter().map(|c| sheet.wrap(&c.title, width, 2, Letters::Body).len()).max().unwrap_or(1) as f64
    };
    let across = if sheet.style.narrow() { 1.0 } else { columns.len().max(1) as f64 };
    let left = MARGIN + mark + widest + 2.5;
    let width = (right - left - GAP * (across - 1.0)) / across;
    let head = title_lines(width + OVERHANG) * sheet.style.leading(Letters::Body) + 2.0;
    let layout = Layout { head, left: MARGIN, mark, row, wrapped };
    if sheet.style.narrow() {
        let mut top = top;
        for column in columns {
            let frame = layout.frame(names.len(), top, left, right);
            layout.names(sheet, names, &frame);
            top = panel(sheet, &frame, names.len(), column, &layout) + 3.0;
        }
        return top - 2.0;
    }
    let mut bottom = top;
    for (index, column) in columns.iter().enumerate() {
        let left = left + index as f64 * (width + GAP);
        let frame = layout.frame(names.len(), top, left, left + width);
        if index == 0 {
            layout.names(sheet, names, &frame);
        }
        bottom = bottom.max(panel(sheet, &frame, names.len(), column, &layout));
    }
    bottom
}

struct Layout {
    /// Room for the titles above the rows.
    head: f64,
    left: f64,
    /// Room for the mark before a name.
    mark: f64,
    row: f64,
    wrapped: Vec<Vec<String>>,
}

impl Layout {
    fn frame(&self, rows: usize, top: f64, left: f64, right: f64) -> Frame {
        let top = top + self.head;
        Frame { left, top, right, bottom: top + rows as f64 * self.row }
    }

    fn height_of(&self, frame: &Frame, row: usize) -> f64 {
        frame.top + (row as f64 + 0.5) * self.row
    }

    fn names(&self, sheet: &mut Sheet, names: &[RowName], frame: &Frame) {
        let (size, leading) = (sheet.style.size(Letters::Body), sheet.style.leading(Letters::Body));
        for (index, (name, lines)) in names.iter().zip(&self.wrapped).enumerate() {
            let middle = self.height_of(frame, index);
            if let Some(identity) = &name.identity {
                super::marker::marker(sheet, Point::new(self.left + 1.5, middle), identity, 1.05, &Note::default());
            }
            let first = middle + size * 0.36 - leading * (lines.len() as f64 - 1.0) / 2.0;
            for (at, line) in lines.iter().enumerate() {
                let place = Point::new(self.left + self.mark, first + at as f64 * leading);
                sheet.words(place, line, Letters::Body, Anchor::Start, TEXT);
            }
        }
    }
}

fn panel(sheet: &mut Sheet, frame: &Frame, rows: usize, column: &Column, layout: &Layout) -> f64 {
    let (range, ticks) = readable(sheet, column.range, frame.width());
    let panel = Panel::new(*frame, range, Range { low: 0.0, high: 1.0 });
    let lines = sheet.wrap(&column.title, frame.width() + OVERHANG, 2, Letters::Body);
    let leading = sheet.style.leading(Letters::Body);
    for (index, line) in lines.iter().rev().enumerate() {
        let base = frame.top - 1.4 - index as f64 * leading;
        sheet.words(Point::new(frame.left, base), line, Letters::Body, Anchor::Start, TEXT);
    }
    for value in &ticks.values {
        panel.upright(sheet, *value, Stroke::new(GRID, 0.15));
    }
    if let Some(value) = column.reference {
        panel.upright(sheet, value, Stroke::new(AXIS, 0.3));
    }
    for row in 0..rows {
        (column.paint)(sheet, &panel, row, layout.height_of(frame, row));
    }
    panel.x_axis(sheet, &ticks, "")
}

/// An estimate on a row: thin line for the whole interval, ticks where its scatter part ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    pub value: f64,
    pub low: f64,
    pub high: f64,
    /// Half-width of the part that comes from scatter alone.
    pub scatter: Option<f64>,
}

/// Draws an interval with its mark.
pub fn interval(sheet: &mut Sheet, panel: &Panel, y: f64, interval: &Interval, identity: &Identity, tip: &str) {
    let note = Note::tip(tip);
    let stroke = Stroke::new(identity.ink, 0.4);
    let bar = |sheet: &mut Sheet, value: f64, half: f64, stroke: Stroke| {
        let x = panel.x.at(value);
        sheet.rule(Point::new(x, y - half), Point::new(x, y + half), stroke);
    };
    let ends = [Point::new(panel.x.at(interval.low), y), Point::new(panel.x.at(interval.high), y)];
    sheet.line(&ends, stroke, &note);
    bar(sheet, interval.low, END_TICK, stroke);
    bar(sheet, interval.high, END_TICK, stroke);
    if let Some(half) = interval.scatter {
        for value in [interval.value - half, interval.value + half] {
            bar(sheet, value, SCATTER_TICK, Stroke::new(identity.ink, 0.7));
        }
    }
    super::marker::marker(sheet, Point::new(panel.x.at(interval.value), y), identity, 1.05, &note);
}

/// What the ticks of an interval mean, for the key of a figure that has some.
pub fn ticks_explained(confidence: &str, scatter: bool, baseline: bool) -> Vec<Entry> {
    let tick = |half_mm, width_mm, text: String| {
        Entry::new(Sample::Upright { half_mm, stroke: Stroke::new(MUTED, width_mm) }, text)
    };
    let mut entries = vec![tick(END_TICK, 0.4, format!("{confidence} interval"))];
    if scatter {
        entries.push(tick(SCATTER_TICK, 0.7, "by scatter alone".into()));
    }
    if baseline {
        entries.push(tick(END_TICK + 0.4, 0.3, "baseline".into()));
    }
    entries
}

/// A level bar from zero.
pub fn bar(sheet: &mut Sheet, panel: &Panel, y: f64, half_height: f64, value: f64, ink: Ink, tip: &str) {
    let (a, b) = (panel.x.at(0.0), panel.x.at(value));
    let frame = Frame { left: a.min(b), right: a.max(b), top: y - half_height, bottom: y + half_height };
    sheet.block(frame, ink, 1.0, &Note::tip(tip));
}
