//! Figure `wind-along`: which share of the run's wind is met at each place of the loop, with its error.
//!
//! Given the shares of a solved loop; draws them along the lap. It estimates nothing.

use super::figure::{Figure, reference_speed};
use super::key::{Entry, Sample, heading, strip};
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::Frame;
use super::scale::Range;
use super::sheet::{Note, Sheet};
use super::style::{AXIS, Dash, Stroke, Style, TEXT};
use crate::evidence::Evidence;
use crate::solution::Solution;
use crate::wording::venue_name;

/// See the module. `None` where the wind along the loop was not estimated.
pub fn draw(solution: &Solution, _evidence: &Evidence, style: &Style) -> Option<Figure> {
    let shares = &solution.circuit.wind_along;
    let unit = |metres: f64| style.units.length_value(metres);
    let end = solution.circuit.length_m.map(unit);
    let x = Range::of(shares.iter().map(|s| unit(s.distance_m)).chain(end))?.including(0.0);
    let y = Range::of(shares.iter().flat_map(|s| [s.share, s.low, s.high]))?.including(1.0).including(0.0).padded(0.06);
    if shares.len() < 2 || x.span() <= 0.0 {
        return None;
    }
    let mut sheet = Sheet::new(*style);
    let on = venue_name(&solution.circuit.kind);
    let title = format!("Wind along the {on}");
    let level = Stroke::new(AXIS, 0.35).dashed(Dash::Long);
    let entries = [
        Entry::new(Sample::Line(Stroke::new(TEXT, 0.5)), "share of the run's wind"),
        Entry::new(Sample::Swatch { ink: TEXT, opacity: 0.16 }, "± one standard error"),
        Entry::new(Sample::Line(level), format!("mean of the {on}")),
    ];
    let top = heading(&mut sheet, &title);
    let top = strip(&mut sheet, top, &entries) + title_room(&sheet);
    let height = if style.narrow() { 30.0 } else { 34.0 };
    let ticks = y_ticks(&sheet, y, height);
    let frame = Frame { left: gutter(&sheet, &[&ticks]), top, right: style.width() - 4.0, bottom: top + height };
    let panel = Panel::new(frame, x, y);
    panel.y_axis(&mut sheet, &ticks, "Share of the wind");
    let column = |pick: fn(&crate::solution::WindShare) -> f64| -> Vec<f64> { shares.iter().map(pick).collect() };
    let places: Vec<f64> = shares.iter().map(|s| unit(s.distance_m)).collect();
    panel.band(&mut sheet, &places, &column(|s| s.low), &column(|s| s.high), TEXT, 0.16);
    panel.level(&mut sheet, 1.0, level);
    panel.line(&mut sheet, &places, &column(|s| s.share), Stroke::new(TEXT, 0.5), &Note::tip("share of the wind"));
    let ticks = x_ticks(&sheet, x, frame.width());
    let bottom = panel.x_axis(&mut sheet, &ticks, &format!("Distance from the gate, {}", style.units.length_unit()));
    let caption = format!(
        "Which share of the run's wind a rider meets at each place: below one where trees, houses or banks shelter it. The band \
         is one standard error; where it holds one, the rides do not tell. It is common to all runs and enters CdA, Crr and \
         the watts at {} with its error.",
        reference_speed(solution, style)
    );
    Figure::of(sheet, bottom + 1.0, "wind-along", &title, caption)
}
