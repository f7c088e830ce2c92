//! Layout of one small panel for each run, under each other, in two columns when there are many.
//!
//! Given how many runs there are; gives the frame of each. It draws nothing but the name above a strip.

use super::lettering::Letters;
use super::polyline::{Frame, Point};
use super::sheet::{Anchor, Sheet};
use super::style::TEXT;

/// Frames of the strips, in order, first down and then across.
#[derive(Debug, Clone, PartialEq)]
pub struct Strips {
    pub frames: Vec<Frame>,
    /// Lower edge of the lowest strip, mm.
    pub bottom: f64,
    /// Indices of the strips at the foot of a column.
    pub lowest: Vec<usize>,
}

/// Where strips may stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    pub top: f64,
    /// Left of each column: room for tick labels, mm.
    pub gutter: f64,
    /// Height for all strips of a column together that would look best, mm.
    pub height: f64,
    /// Space between two strips, mm.
    pub gap: f64,
}

/// See the module.
pub fn lay_out(sheet: &Sheet, count: usize, room: Room) -> Strips {
    let columns = if count > 8 && !sheet.style.narrow() { 2 } else { 1 };
    let rows = count.div_ceil(columns).max(1);
    let height = (room.height / rows as f64 - room.gap).clamp(9.0, 40.0);
    let column_width = sheet.style.width() / columns as f64;
    let frames: Vec<Frame> = (0..count)
        .map(|index| {
            let (column, row) = (index / rows, index % rows);
            let top = room.top + row as f64 * (height + room.gap);
            let left = column as f64 * column_width;
            Frame { left: left + room.gutter, top, right: left + column_width - 4.0, bottom: top + height }
        })
        .collect();
    let bottom = frames.iter().map(|f| f.bottom).fold(room.top, f64::max);
    let lowest = (0..count).filter(|index| index % rows == rows - 1 || index + 1 == count).collect();
    Strips { frames, bottom, lowest }
}

/// Run number and set-up above a strip.
pub fn name_strip(sheet: &mut Sheet, frame: &Frame, text: &str) {
    let text = sheet.shorten(text, frame.width(), Letters::Small);
    sheet.words(Point::new(frame.left, frame.top - 0.9), &text, Letters::Small, Anchor::Start, TEXT);
}
