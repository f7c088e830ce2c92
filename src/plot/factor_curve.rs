//! Figure `factor-curve`: watts over a quantity that was swept, such as tyre pressure: set-ups, curve with its band and the
//! stretch that holds the best level.
//!
//! Given curves that were fitted elsewhere; draws one panel for each quantity. It fits nothing and draws nothing beyond the
//! levels ridden.

use super::figure::Figure;
use super::key::{Entry, Sample, heading, strip};
use super::marker::marker;
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::{Frame, Point};
use super::scale::{Range, short};
use super::sheet::{Note, Sheet};
use super::style::{Dash, Stroke, Style, TEXT};
use crate::evidence::Evidence;
use crate::factor::{Curve, FactorResult};
use crate::session::factors::shown_with_unit;
use crate::solution::Solution;

/// Between two panels, mm.
const GAP: f64 = 4.0;
/// Half-width of the tick that ends an interval, mm.
const END_TICK: f64 = 0.9;

/// See the module. `None` where no quantity has a curve.
pub fn draw(solution: &Solution, _: &Evidence, style: &Style) -> Option<Figure> {
    let result = solution.factors.as_ref()?;
    let curves: Vec<&Curve> = of_watts(result).collect();
    let first = curves.first()?;
    let title = match curves.len() {
        1 => format!("Watts over {}", shown_with_unit(&first.factor)),
        _ => "Watts over the quantities swept".to_string(),
    };
    let share = crate::wording::percent(solution.confidence);
    let mut sheet = Sheet::new(*style);
    let identity = style.identity(0);
    let entries = [
        Entry::new(Sample::Line(Stroke::new(TEXT, 0.5)), format!("curve, band {share}")),
        Entry::new(Sample::Line(Stroke::new(identity.ink, 1.2)), format!("holds the best level, {share}")),
    ];
    let top = heading(&mut sheet, &title);
    let mut top = strip(&mut sheet, top, &entries);
    for curve in &curves {
        top = panel(&mut sheet, top, curve, style)? + GAP;
    }
    let caption = format!(
        "Watts at the reference speed over {}: each mark is a set-up, with what kinds do taken off, its {share} interval without \
         what moves all set-ups alike; the curve ({}) with its {share} band. The heavy line along the bottom holds the best level{}.",
        curves.iter().map(|c| shown_with_unit(&c.factor)).collect::<Vec<_>>().join(" and "),
        curves.iter().map(|c| c.shape.as_str()).collect::<Vec<_>>().join(", "),
        if curves.iter().any(|c| c.optimum.open_below || c.optimum.open_above) {
            "; an arrow says that the best may lie at or beyond the end of what was ridden"
        } else {
            ""
        },
    );
    Figure::of(sheet, top - GAP + 1.0, "factor-curve", title, caption)
}

/// Watts, of rolling alone on rollers.
fn of_watts(result: &FactorResult) -> impl Iterator<Item = &Curve> {
    let told = result.outputs.iter().filter_map(|o| o.told());
    told.filter(|o| o.output.ends_with("power_w")).flat_map(|o| &o.curves).filter(|c| c.line.len() > 1)
}

/// One quantity; how far down it reaches.
fn panel(sheet: &mut Sheet, top: f64, curve: &Curve, style: &Style) -> Option<f64> {
    let x = Range::of(curve.line.iter().map(|p| p.level))?;
    let all = curve.line.iter().chain(&curve.points);
    let y = Range::of(all.flat_map(|p| [p.low, p.high]))?.padded(0.10);
    if x.span() <= 0.0 || y.span() <= 0.0 {
        return None;
    }
    let top = top + title_room(sheet);
    let height = if style.narrow() { 48.0 } else { 62.0 };
    let ticks = y_ticks(sheet, y, height);
    let frame = Frame { left: gutter(sheet, &[&ticks]), top, right: style.width() - 5.0, bottom: top + height };
    let panel = Panel::new(frame, x.padded(0.05), y);
    panel.y_axis(sheet, &ticks, "Watts at the reference, W");
    let of = |pick: fn(&crate::factor::CurvePoint) -> f64| -> Vec<f64> { curve.line.iter().map(pick).collect() };
    let (levels, values) = (of(|p| p.level), of(|p| p.value));
    panel.band(sheet, &levels, &of(|p| p.low), &of(|p| p.high), TEXT, 0.14);
    let dash = if curve.shape == "straight" { Dash::Long } else { Dash::Solid };
    panel.line(sheet, &levels, &values, Stroke::new(TEXT, 0.5).dashed(dash), &Note::tip(curve.shape.clone()));
    let identity = style.identity(0);
    let stroke = Stroke::new(identity.ink, 0.4);
    for p in &curve.points {
        let tip =
            format!("{}: {} ({} to {})", p.level, short(p.value, style), short(p.low, style), short(p.high, style));
        let (low, high) = (panel.place(p.level, p.low), panel.place(p.level, p.high));
        sheet.line(&[low, high], stroke, &Note::tip(tip.clone()));
        for end in [low, high] {
            sheet.rule(Point::new(end.x - END_TICK, end.y), Point::new(end.x + END_TICK, end.y), stroke);
        }
        marker(sheet, panel.place(p.level, p.value), &identity, 1.1, &Note::tip(tip));
    }
    best(sheet, &panel, curve, style);
    let x_marks = x_ticks(sheet, x.padded(0.05), frame.width());
    Some(panel.x_axis(sheet, &x_marks, &axis_title(&curve.factor)))
}

/// The stretch that holds the best level, with arrows where it is open.
fn best(sheet: &mut Sheet, panel: &Panel, curve: &Curve, style: &Style) {
    let o = &curve.optimum;
    let y = panel.frame.bottom - 1.6;
    let ink = style.identity(0).ink;
    let (from, to) = (Point::new(panel.x.at(o.low), y), Point::new(panel.x.at(o.high), y));
    let tip = format!("best level from {} to {}", short(o.low, style), short(o.high, style));
    sheet.line(&[from, to], Stroke::new(ink, 1.2), &Note::tip(tip));
    let mut arrow = |at: Point, ahead: f64| {
        let corners = [Point::new(at.x + 2.6 * ahead, y), Point::new(at.x, y - 1.3), Point::new(at.x, y + 1.3)];
        sheet.area(&corners, ink, 1.0, &Note::default());
    };
    if o.open_below {
        arrow(from, -1.0);
    }
    if o.open_above {
        arrow(to, 1.0);
    }
    if !o.at_either_end {
        let mark = Point::new(panel.x.at(o.value), y);
        sheet.rule(Point::new(mark.x, y - 1.8), Point::new(mark.x, y + 1.2), Stroke::new(ink, 0.5));
    }
}

fn axis_title(key: &str) -> String {
    let words = shown_with_unit(key);
    let mut letters = words.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
