//! Figure of several curves over one axis, named at their ends: for plans, such as watts that can be detected against
//! laps ridden.
//!
//! Given series that were computed elsewhere; draws them. Nothing else.

use super::figure::Figure;
use super::key::{self, Entry, Sample, heading, strip};
use super::lettering::Letters;
use super::marker::marker;
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::{Frame, Point};
use super::scale::{Range, short};
use super::sheet::{Anchor, Note, Sheet};
use super::side_label::{self, SideLabel};
use super::style::{AXIS, Dash, Stroke, Style, TEXT};

/// One curve.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curve {
    pub label: String,
    pub x: Vec<f64>,
    pub y: Vec<f64>,
}

/// What is drawn.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curves {
    /// File name without extension, such as "plan".
    pub name: &'static str,
    pub title: String,
    /// Quantity and unit, "Laps a set-up".
    pub x_title: String,
    /// Quantity and unit, "Smallest difference that can be detected, W".
    pub y_title: String,
    pub curves: Vec<Curve>,
    /// A level worth a line, such as the target.
    pub level: Option<Level>,
    /// The upright axis begins at zero.
    pub from_zero: bool,
    pub caption: String,
}

/// A dashed line across the figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    pub value: f64,
    /// Written on the line, "target 3 W".
    pub label: String,
}

/// See the module. `None` when no curve has two finite points.
pub fn draw(chart: &Curves, style: &Style) -> Option<Figure> {
    let x = Range::of(chart.curves.iter().flat_map(|c| c.x.iter().copied()))?;
    let mut y = Range::of(chart.curves.iter().flat_map(|c| c.y.iter().copied()))?;
    if let Some(level) = &chart.level {
        y = y.including(level.value);
    }
    let mut y_range = y.padded(0.06);
    if chart.from_zero && y.low >= 0.0 {
        y_range.low = 0.0;
    }
    if x.span() <= 0.0 {
        return None;
    }
    let mut sheet = Sheet::new(*style);
    let mut top = heading(&mut sheet, &chart.title);
    let beside = !style.narrow() && chart.curves.len() > 1;
    let stroke = |index: usize| {
        let identity = style.identity(index);
        Stroke::new(identity.ink, 0.5).dashed(identity.dash)
    };
    if !beside && chart.curves.len() > 1 {
        let entries: Vec<Entry> = chart
            .curves
            .iter()
            .enumerate()
            .map(|(index, curve)| Entry::new(Sample::Line(stroke(index)), curve.label.clone()))
            .collect();
        top = strip(&mut sheet, top, &entries);
    }
    let top = top + title_room(&sheet);
    let least = if style.narrow() { 52.0 } else { 70.0 };
    let height = if beside { side_label::height_needed(&sheet, chart.curves.len()).max(least) } else { least };
    let ticks = y_ticks(&sheet, y_range, height);
    let shown: Vec<String> = chart.curves.iter().map(|c| c.label.clone()).collect();
    let right = style.width() - 4.0 - if beside { side_label::column(&sheet, &shown) } else { 0.0 };
    let frame = Frame { left: gutter(&sheet, &[&ticks]), top, right, bottom: top + height };
    let panel = Panel::new(frame, x.padded(0.02), y_range);
    panel.y_axis(&mut sheet, &ticks, &chart.y_title);
    if let Some(level) = &chart.level {
        panel.level(&mut sheet, level.value, Stroke::new(AXIS, 0.4).dashed(Dash::Long));
    }
    let mut labels = Vec::new();
    for (index, curve) in chart.curves.iter().enumerate() {
        panel.line(&mut sheet, &curve.x, &curve.y, stroke(index), &Note::tip(curve.label.clone()));
        let identity = style.identity(index);
        let points: Vec<(f64, f64)> = curve
            .x
            .iter()
            .copied()
            .zip(curve.y.iter().copied())
            .filter(|(x, y)| x.is_finite() && y.is_finite())
            .collect();
        // Points that stand apart are marked; a dense curve is a line only.
        if points.len() <= 24 {
            for (px, py) in &points {
                let tip = format!("{}: {}, {}", curve.label, short(*px, style), short(*py, style));
                marker(&mut sheet, panel.place(*px, *py), &identity, 0.8, &Note::tip(tip));
            }
        }
        if let Some((px, py)) = points.last() {
            labels.push(SideLabel { at: panel.place(*px, *py), text: curve.label.clone(), identity });
        }
    }
    if let Some(level) = &chart.level {
        name_level(&mut sheet, &panel, chart, level);
    }
    if beside {
        let column = Frame { left: right + 4.0, top, right: style.width() - key::MARGIN, bottom: frame.bottom };
        side_label::place(&mut sheet, &labels, column);
    }
    let mut x_marks = x_ticks(&sheet, panel.x.range, frame.width());
    if chart.curves.iter().all(|c| c.x.iter().all(|v| v.fract() == 0.0)) {
        x_marks = x_marks.whole(style);
    }
    let bottom = panel.x_axis(&mut sheet, &x_marks, &chart.x_title);
    Figure::of(sheet, bottom + 1.0, chart.name, chart.title.clone(), chart.caption.clone())
}

/// The words of a level at the first place along it that no curve touches; above or below its line, from the right.
fn name_level(sheet: &mut Sheet, panel: &Panel, chart: &Curves, level: &Level) {
    let (wide, size) = (sheet.width_of(&level.label, Letters::Small), sheet.style.size(Letters::Small));
    let line = panel.y.at(level.value);
    let touches = |left: f64, top: f64, bottom: f64| {
        chart.curves.iter().any(|curve| {
            let places: Vec<Point> = curve.x.iter().zip(&curve.y).map(|(x, y)| panel.place(*x, *y)).collect();
            places.windows(2).any(|pair| {
                (0..=20).any(|k| {
                    let t = f64::from(k) / 20.0;
                    let (x, y) = (pair[0].x + t * (pair[1].x - pair[0].x), pair[0].y + t * (pair[1].y - pair[0].y));
                    // A mark on the curve reaches a little further than the line.
                    x > left - 1.2 && x < left + wide + 1.2 && y > top - 1.2 && y < bottom + 1.2
                })
            })
        })
    };
    let frame = panel.frame;
    let steps = ((frame.width() - wide - 2.0) / 3.0).max(0.0) as usize;
    let lefts = (0..=steps).map(|k| frame.right - 1.0 - wide - 3.0 * k as f64);
    let free = lefts.flat_map(|left| [(left, line - 1.1), (left, line + 1.1 + size * 0.75)]).find(|(left, base)| {
        let (top, bottom) = (base - size * 0.75, base + size * 0.22);
        top > frame.top && bottom < frame.bottom && !touches(*left, top, bottom)
    });
    // Where curves are everywhere the caption has to do.
    if let Some((left, base)) = free {
        sheet.words_over(Point::new(left, base), &level.label, Letters::Small, Anchor::Start, TEXT);
    }
}
