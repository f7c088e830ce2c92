//! Figure `factor-curve`: watts over a quantity that was swept, such as tyre pressure: set-ups, curve with its band and the
//! stretch that holds the best level.
//!
//! Given curves that were fitted elsewhere; draws one panel for each quantity. It fits nothing and draws nothing beyond the
//! levels ridden.

use super::figure::{Figure, reference_speed};
use super::key::{Entry, Sample, heading, strip};
use super::lettering::Letters;
use super::marker::marker;
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::{Frame, Point};
use super::scale::{Range, plain, short};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{Dash, Stroke, Style, TEXT};
use crate::evidence::Evidence;
use crate::factor::{Curve, CurvePoint, FactorResult};
use crate::session::factors::{shown_name, shown_with_unit};
use crate::solution::Solution;
use crate::wording::capitalised;

/// Between two panels, mm.
const GAP: f64 = 4.0;
/// Half-width of the tick that ends an interval, mm.
const END_TICK: f64 = 0.9;
/// Room at the foot of a panel for the best level and its words, mm.
const FOOT: f64 = 8.0;
/// Opacity of a band.
const BAND: f64 = 0.14;

/// Curves to be drawn together, and what is said of them.
pub struct Curves<'a> {
    pub curves: Vec<&'a Curve>,
    /// Of the level axis, "Watts at 40 km/h".
    pub axis: String,
    /// Level of the intervals, "95 %".
    pub share: String,
    /// First sentence of the caption.
    pub said: String,
}

/// See the module. `None` where no quantity has a curve.
pub fn draw(solution: &Solution, _: &Evidence, style: &Style) -> Option<Figure> {
    let curves: Vec<&Curve> = of_watts(solution.factors.as_ref()?).collect();
    let share = crate::wording::percent(solution.confidence);
    let at = reference_speed(solution, style);
    let said = format!(
        "Watts at {at} over {}: each mark is a set-up, with what kinds do taken off, its {share} interval without what moves all \
         set-ups alike",
        curves.iter().map(|c| shown_name(&c.factor)).collect::<Vec<_>>().join(" and ")
    );
    drawn(&Curves { curves, axis: format!("Watts at {at}"), share, said }, style)
}

/// The figure of any curves.
pub fn drawn(all: &Curves, style: &Style) -> Option<Figure> {
    let curves = &all.curves;
    let title = match curves.as_slice() {
        [] => return None,
        [one] => format!("Watts over {}", shown_name(&one.factor)),
        _ => "Watts over what was swept".to_string(),
    };
    let share = &all.share;
    let mut sheet = Sheet::new(*style);
    let identity = style.identity(0);
    let entries = [
        Entry::new(Sample::Mark(identity), format!("set-up, {share} interval")),
        Entry::new(Sample::Line(Stroke::new(TEXT, 0.5)), "curve"),
        Entry::new(Sample::Swatch { ink: TEXT, opacity: BAND }, format!("its {share} band")),
        Entry::new(Sample::Line(Stroke::new(identity.ink, 1.2)), format!("holds the best, {share}")),
    ];
    let top = heading(&mut sheet, &title);
    let mut top = strip(&mut sheet, top, &entries);
    for curve in curves {
        top = panel(&mut sheet, top, curve, &all.axis, style)? + GAP;
    }
    let caption = format!(
        "{}; the curve ({}) with its {share} band. The heavy line along the bottom holds the best level{}.",
        all.said,
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
fn panel(sheet: &mut Sheet, top: f64, curve: &Curve, axis: &str, style: &Style) -> Option<f64> {
    let x = Range::of(curve.line.iter().map(|p| p.level))?;
    let all = curve.line.iter().chain(&curve.points);
    let y = Range::of(all.flat_map(|p| [p.low, p.high]))?.padded(0.04);
    if x.span() <= 0.0 || y.span() <= 0.0 {
        return None;
    }
    let top = top + title_room(sheet);
    let height = if style.narrow() { 52.0 } else { 66.0 };
    let y = Range { low: y.low - y.span() * FOOT / (height - FOOT), ..y };
    let ticks = y_ticks(sheet, y, height);
    let frame = Frame { left: gutter(sheet, &[&ticks]), top, right: style.width() - 5.0, bottom: top + height };
    let panel = Panel::new(frame, x.padded(0.05), y);
    panel.y_axis(sheet, &ticks, axis);
    let of = |pick: fn(&CurvePoint) -> f64| -> Vec<f64> { curve.line.iter().map(pick).collect() };
    let (levels, values) = (of(|p| p.level), of(|p| p.value));
    panel.band(sheet, &levels, &of(|p| p.low), &of(|p| p.high), TEXT, BAND);
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

/// The stretch that holds the best level with its words, and arrows where it is open.
fn best(sheet: &mut Sheet, panel: &Panel, curve: &Curve, style: &Style) {
    let o = &curve.optimum;
    let y = panel.frame.bottom - 2.0;
    let ink = style.identity(0).ink;
    let (from, to) = (Point::new(panel.x.at(o.low), y), Point::new(panel.x.at(o.high), y));
    let words = best_words(curve, style);
    sheet.line(&[from, to], Stroke::new(ink, 1.2), &Note::tip(words.clone()));
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
    let is_told = !(o.at_either_end || o.open_below && o.open_above);
    let mark = panel.x.at(if is_told { o.value } else { 0.5 * (o.low + o.high) });
    if is_told {
        sheet.rule(Point::new(mark, y - 1.4), Point::new(mark, y + 1.4), Stroke::new(ink, 0.5));
    }
    let half = 0.5 * sheet.width_of(&words, Letters::Small);
    let middle = mark.min(panel.frame.right - half).max(panel.frame.left + half);
    sheet.words_over(Point::new(middle, y - 2.4), &words, Letters::Small, Anchor::Middle, TEXT);
}

/// The best level in a few words, as the sentence of the report has it.
fn best_words(curve: &Curve, style: &Style) -> String {
    let o = &curve.optimum;
    let [value, low, high] = [o.value, o.low, o.high].map(|x| plain(x, style));
    match (o.open_below, o.open_above) {
        _ if o.at_either_end => "best at one of the ends".into(),
        (true, true) => "best not told".into(),
        (false, true) if o.low == o.high => format!("best at {high} or above"),
        (true, false) if o.low == o.high => format!("best at {low} or below"),
        (false, true) => format!("best {low} or more"),
        (true, false) => format!("best {high} or less"),
        (false, false) => format!("best {value}, {low} to {high}"),
    }
}

fn axis_title(key: &str) -> String {
    capitalised(&shown_with_unit(key))
}
