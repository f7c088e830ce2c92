//! A panel: a frame with two axes, and lines, bands and points placed by value.
//!
//! Given ranges and a frame in mm; draws ticks, grid and titles. Axis titles stand level above the panel and under it,
//! so that no head has to be turned. It knows no particular figure.

use super::key::MARGIN;
use super::lettering::Letters;
use super::polyline::{self, Frame, Point};
use super::scale::{Range, Scale, Ticks};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{AXIS, GRID, Ink, MUTED, Stroke, TEXT};

/// Least room between two labels of a level axis, mm.
const CLEAR: f64 = 1.8;
/// Length of a tick, mm.
const TICK: f64 = 1.1;

/// See the module.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Panel {
    pub frame: Frame,
    pub x: Scale,
    pub y: Scale,
    /// How much lines are thinned; see [`polyline::pieces`].
    pub coarseness: f64,
}

impl Panel {
    pub fn new(frame: Frame, x: Range, y: Range) -> Panel {
        let (x, y) = (Scale::new(x, frame.left, frame.right), Scale::new(y, frame.bottom, frame.top));
        Panel { frame, x, y, coarseness: 1.0 }
    }

    /// Thins more where more than `easy` lines share the figure, so that a long day stays a light file.
    pub fn for_lines(self, count: usize, easy: usize) -> Panel {
        Panel { coarseness: (count as f64 / easy.max(1) as f64).clamp(1.0, 6.0), ..self }
    }

    pub fn place(&self, x: f64, y: f64) -> Point {
        Point::new(self.x.at(x), self.y.at(y))
    }

    /// A line through the values, broken where one is missing.
    pub fn line(&self, sheet: &mut Sheet, xs: &[f64], ys: &[f64], stroke: Stroke, note: &Note) {
        let points = xs.iter().zip(ys).map(|(x, y)| self.place(*x, *y));
        for piece in polyline::pieces(points, &self.frame, self.coarseness) {
            sheet.line(&piece, stroke, note);
        }
    }

    /// An area between two lines; where either is missing it has no point.
    pub fn band(&self, sheet: &mut Sheet, xs: &[f64], low: &[f64], high: &[f64], ink: Ink, opacity: f64) {
        let clamp = |p: Point| {
            Point::new(p.x, if p.y.is_finite() { p.y.clamp(self.frame.top, self.frame.bottom) } else { p.y })
        };
        let upper = xs.iter().zip(high).map(|(x, y)| clamp(self.place(*x, *y)));
        let lower = xs.iter().zip(low).rev().map(|(x, y)| clamp(self.place(*x, *y)));
        let outline: Vec<Point> = upper.chain(lower).collect();
        sheet.area(&outline, ink, opacity, &Note::default());
    }

    /// Grid, tick labels and title of the upright axis; the title stands above the panel.
    pub fn y_axis(&self, sheet: &mut Sheet, ticks: &Ticks, title: &str) {
        for (value, label) in ticks.values.iter().zip(&ticks.labels) {
            let y = self.y.at(*value);
            sheet.rule(Point::new(self.frame.left, y), Point::new(self.frame.right, y), Stroke::new(GRID, 0.15));
            let base = y + sheet.style.size(Letters::Small) * 0.36;
            sheet.words(Point::new(self.frame.left - 1.2, base), label, Letters::Small, Anchor::End, MUTED);
        }
        let room = self.frame.right - MARGIN;
        let title = sheet.shorten(title, room, Letters::Body);
        sheet.words(Point::new(MARGIN, self.frame.top - 2.3), &title, Letters::Body, Anchor::Start, TEXT);
    }

    /// Base line, ticks, labels and title of the level axis; returns how far down it reaches, mm.
    pub fn x_axis(&self, sheet: &mut Sheet, ticks: &Ticks, title: &str) -> f64 {
        let small = sheet.style.size(Letters::Small);
        self.base_line(sheet);
        let base = self.frame.bottom + TICK + small;
        for (value, label) in ticks.values.iter().zip(&ticks.labels) {
            let x = self.x.at(*value);
            sheet.rule(
                Point::new(x, self.frame.bottom),
                Point::new(x, self.frame.bottom + TICK),
                Stroke::new(AXIS, 0.25),
            );
            let half = sheet.width_of(label, Letters::Small) / 2.0;
            let x = x.clamp(MARGIN + half, (sheet.style.width() - MARGIN - half).max(MARGIN + half));
            sheet.words(Point::new(x, base), label, Letters::Small, Anchor::Middle, MUTED);
        }
        if title.is_empty() {
            return base + small * 0.3;
        }
        let below = base + sheet.style.leading(Letters::Body) + 0.4;
        let title = sheet.shorten(title, self.frame.right - MARGIN, Letters::Body);
        sheet.words(Point::new(self.frame.right, below), &title, Letters::Body, Anchor::End, TEXT);
        below + sheet.style.size(Letters::Body) * 0.3
    }

    pub fn base_line(&self, sheet: &mut Sheet) {
        let y = self.frame.bottom;
        sheet.rule(Point::new(self.frame.left, y), Point::new(self.frame.right, y), Stroke::new(AXIS, 0.25));
    }

    /// A level line at a value, as for zero.
    pub fn level(&self, sheet: &mut Sheet, value: f64, stroke: Stroke) {
        if value > self.y.range.low && value < self.y.range.high {
            let y = self.y.at(value);
            sheet.rule(Point::new(self.frame.left, y), Point::new(self.frame.right, y), stroke);
        }
    }

    /// An upright line at a value.
    pub fn upright(&self, sheet: &mut Sheet, value: f64, stroke: Stroke) {
        if value > self.x.range.low && value < self.x.range.high {
            let x = self.x.at(value);
            sheet.rule(Point::new(x, self.frame.top), Point::new(x, self.frame.bottom), stroke);
        }
    }
}

/// Ticks of an upright axis: one in about 9 mm and three at least, of which as many are labelled as stand apart.
pub fn y_ticks(sheet: &Sheet, range: Range, room_mm: f64) -> Ticks {
    let most = ((room_mm / 9.0) as usize).clamp(3, 7);
    let high = sheet.style.leading(Letters::Small);
    spaced(range, most..=most + 5, sheet, |ticks, every| spacing(ticks, range, room_mm) * every as f64 >= high)
}

/// Ticks of a level axis: as many as leave their labels apart, and three labelled ones at least where the range has room for
/// them.
pub fn x_ticks(sheet: &Sheet, range: Range, room_mm: f64) -> Ticks {
    let fits = |ticks: &Ticks, every: usize| {
        let widest = ticks.labels.iter().map(|l| sheet.width_of(l, Letters::Small)).fold(0.0, f64::max);
        spacing(ticks, range, room_mm) * every as f64 >= widest + CLEAR
    };
    for every in 1..=4 {
        for most in (FEWEST_TICKS..=8 + 2 * every).rev() {
            let ticks = Ticks::new(range, most, &sheet.style);
            if fits(&ticks, every) {
                let ticks = labelled(ticks, every);
                if has_enough(&ticks) {
                    return ticks;
                }
            }
        }
    }
    spaced(range, FEWEST_TICKS..=8, sheet, fits)
}

/// A level axis that is widened until three of its ticks can be labelled; an end at zero stays.
pub fn readable(sheet: &Sheet, range: Range, room_mm: f64) -> (Range, Ticks) {
    let mut wider = range;
    for _ in 0..14 {
        let ticks = x_ticks(sheet, wider, room_mm);
        if has_enough(&ticks) {
            return (wider, ticks);
        }
        let more = wider.span() * 0.06;
        let low = if wider.low == 0.0 { 0.0 } else { wider.low - more };
        wider = Range { low, high: if wider.high == 0.0 { 0.0 } else { wider.high + more } };
    }
    (range, x_ticks(sheet, range, room_mm))
}

/// Fewer ticks than this leave a scale in doubt.
const FEWEST_TICKS: usize = 3;

fn has_enough(ticks: &Ticks) -> bool {
    ticks.labels.iter().filter(|label| !label.is_empty()).count() >= FEWEST_TICKS
}

fn spacing(ticks: &Ticks, range: Range, room_mm: f64) -> f64 {
    match ticks.values.as_slice() {
        [first, second, ..] => (second - first) / range.span() * room_mm,
        _ => room_mm,
    }
}

/// Only every so manieth tick keeps its label, zero among them.
fn labelled(mut ticks: Ticks, every: usize) -> Ticks {
    let zero = ticks.values.iter().position(|value| *value == 0.0).unwrap_or(0);
    for (index, label) in ticks.labels.iter_mut().enumerate() {
        if index % every != zero % every {
            label.clear();
        }
    }
    ticks
}

/// The fewest ticks that are enough; where their labels stand too close every second or third is labelled.
fn spaced(
    range: Range,
    most: std::ops::RangeInclusive<usize>,
    sheet: &Sheet,
    fits: impl Fn(&Ticks, usize) -> bool,
) -> Ticks {
    let all = |most: usize| Ticks::new(range, most, &sheet.style);
    let enough = most.clone().map(all).find(|ticks| ticks.values.len() >= FEWEST_TICKS);
    let ticks = enough.unwrap_or_else(|| all(*most.end()));
    let every = (1..=ticks.values.len().max(1)).find(|every| fits(&ticks, *every)).unwrap_or(ticks.values.len().max(1));
    labelled(ticks, every)
}

/// Where panels begin so that the widest tick label fits beside them, mm.
pub fn gutter(sheet: &Sheet, ticks: &[&Ticks]) -> f64 {
    let labels = ticks.iter().flat_map(|t| &t.labels);
    MARGIN + 1.4 + labels.map(|l| sheet.width_of(l, Letters::Small)).fold(4.0, f64::max)
}

/// Room above a panel for its axis title, mm.
pub fn title_room(sheet: &Sheet) -> f64 {
    sheet.style.size(Letters::Body) + 3.2
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::style::Style;

    fn labels(low: f64, high: f64, room_mm: f64) -> (Range, Vec<String>) {
        let sheet = Sheet::new(Style::default().for_phone());
        let (range, ticks) = readable(&sheet, Range { low, high }, room_mm);
        (range, ticks.labels.into_iter().filter(|label| !label.is_empty()).collect())
    }

    #[test]
    fn a_narrow_axis_has_three_labels_and_zero_is_one_of_them() {
        // Spans and rooms of set-ups, differences and budgets on 80 mm.
        for (low, high, room) in [(0.0027, 0.0055, 28.0), (-9.0, 3.4, 24.0), (-1.2, 7.6, 30.0), (0.0, 0.00061, 26.0)] {
            let (range, labels) = labels(low, high, room);
            assert!(labels.len() >= 3, "{low} to {high}: {labels:?}");
            assert!(low > 0.0 || labels.iter().any(|label| label == "0"), "{low} to {high}: {labels:?}");
            assert!(range.low <= low && range.high >= high && range.span() < 2.5 * (high - low), "{range:?}");
        }
    }
}
