//! Names in a column beside a panel, each joined to its point by a thin line, never over one another.
//!
//! Given points and names; places the names as near to the height of their points as room allows.

use super::lettering::Letters;
use super::marker::marker;
use super::polyline::{Frame, Point};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{Identity, Stroke, TEXT};

/// Room for the mark before the words, mm.
const MARK: f64 = 2.6;

/// A point and the words that belong to it.
#[derive(Debug, Clone, PartialEq)]
pub struct SideLabel {
    pub at: Point,
    pub text: String,
    pub identity: Identity,
}

/// Height that this many labels of two lines need, mm.
pub fn height_needed(sheet: &Sheet, count: usize) -> f64 {
    count as f64 * row(sheet)
}

/// Width of the column that these labels need with the gap before it, mm: as wide as the longest, within reason.
pub fn column(sheet: &Sheet, labels: &[String]) -> f64 {
    labels.iter().map(|text| sheet.width_of(text, Letters::Small)).fold(10.0, f64::max).min(42.0) + MARK + 4.5
}

fn row(sheet: &Sheet) -> f64 {
    2.0 * sheet.style.leading(Letters::Small) + 0.8
}

/// Puts the labels into the column between `left` and the right edge of the frame `column`.
pub fn place(sheet: &mut Sheet, labels: &[SideLabel], column: Frame) {
    let mut order: Vec<&SideLabel> = labels.iter().filter(|l| l.at.x.is_finite() && l.at.y.is_finite()).collect();
    order.sort_by(|a, b| a.at.y.total_cmp(&b.at.y));
    let step = row(sheet);
    let mut heights: Vec<f64> = Vec::with_capacity(order.len());
    let mut free = column.top + step / 2.0;
    for label in &order {
        let y = label.at.y.max(free);
        heights.push(y);
        free = y + step;
    }
    // From below, push back up what was pushed out of the column.
    let mut limit = column.bottom - step / 2.0;
    for y in heights.iter_mut().rev() {
        *y = y.min(limit);
        limit = *y - step;
    }
    let size = sheet.style.size(Letters::Small);
    for (label, y) in order.iter().zip(heights) {
        let elbow = Point::new(column.left - 0.6, y);
        sheet.line(&[label.at, elbow], Stroke::new(label.identity.ink, 0.15), &Note::default());
        marker(sheet, Point::new(column.left + 0.5, y), &label.identity, 0.8, &Note::default());
        let lines = sheet.wrap(&label.text, column.width() - MARK, 2, Letters::Small);
        let leading = sheet.style.leading(Letters::Small);
        let first = y + size * 0.36 - leading * (lines.len() as f64 - 1.0) / 2.0;
        for (index, line) in lines.iter().enumerate() {
            let at = Point::new(column.left + MARK, first + index as f64 * leading);
            sheet.words(at, line, Letters::Small, Anchor::Start, TEXT);
        }
    }
}
