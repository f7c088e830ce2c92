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
    let wrapped: Vec<Vec<String>> =
        order.iter().map(|label| sheet.wrap(&label.text, column.width() - MARK, 2, Letters::Small)).collect();
    let leading = sheet.style.leading(Letters::Small);
    let halves: Vec<f64> = wrapped.iter().map(|lines| (lines.len() as f64 * leading + 0.3) / 2.0).collect();
    let wanted: Vec<f64> = order.iter().map(|label| label.at.y).collect();
    let heights = apart(&wanted, &halves, column.top, column.bottom);
    let size = sheet.style.size(Letters::Small);
    for ((label, lines), y) in order.iter().zip(&wrapped).zip(heights) {
        let elbow = Point::new(column.left - 0.6, y);
        sheet.line(&[label.at, elbow], Stroke::new(label.identity.ink, 0.15), &Note::default());
        marker(sheet, Point::new(column.left + 0.5, y), &label.identity, 0.8, &Note::default());
        let first = y + size * 0.36 - leading * (lines.len() as f64 - 1.0) / 2.0;
        for (index, line) in lines.iter().enumerate() {
            let at = Point::new(column.left + MARK, first + index as f64 * leading);
            sheet.words(at, line, Letters::Small, Anchor::Start, TEXT);
        }
    }
}

/// Heights as near to the wanted ones as labels of these half heights allow: those that would touch share their displacement.
/// The wanted ones rise.
fn apart(wanted: &[f64], halves: &[f64], top: f64, bottom: f64) -> Vec<f64> {
    // Groups of labels that stand right under each other: first place, number, sum of what each would have the first at.
    let mut groups: Vec<(usize, usize, f64)> = Vec::new();
    let offset = |from: usize, to: usize| -> f64 { (from..to).map(|k| halves[k] + halves[k + 1]).sum() };
    let start = |first: usize, count: usize, sum: f64| {
        let (above, below) = (halves[first], offset(first, first + count - 1) + halves[first + count - 1]);
        (sum / count as f64).min(bottom - below).max(top + above)
    };
    for (k, height) in wanted.iter().enumerate() {
        groups.push((k, 1, *height));
        while let [.., (f1, n1, s1), (f2, n2, s2)] = groups[..] {
            let end = start(f1, n1, s1) + offset(f1, f1 + n1 - 1) + halves[f1 + n1 - 1];
            if start(f2, n2, s2) - halves[f2] >= end {
                break;
            }
            let moved = s2 - n2 as f64 * offset(f1, f2);
            groups.truncate(groups.len() - 2);
            groups.push((f1, n1 + n2, s1 + moved));
        }
    }
    let places = |(first, count, sum): (usize, usize, f64)| {
        (first..first + count).map(move |k| start(first, count, sum) + offset(first, k)).collect::<Vec<f64>>()
    };
    groups.into_iter().flat_map(places).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_that_would_touch_share_their_displacement() {
        // By hand: three at 10, 11, 12 with half heights of 2 stand at 7, 11, 15; one far away stays.
        assert_eq!(apart(&[10.0, 11.0, 12.0, 40.0], &[2.0; 4], 0.0, 60.0), [7.0, 11.0, 15.0, 40.0]);
        assert_eq!(apart(&[1.0, 1.0], &[2.0; 2], 0.0, 60.0), [2.0, 6.0]);
        assert_eq!(apart(&[59.0, 59.0], &[2.0; 2], 0.0, 60.0), [54.0, 58.0]);
    }
}
