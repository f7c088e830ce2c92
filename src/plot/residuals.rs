//! Figure `residuals`: what is left of the laps when the common profile is taken away, as a mean line with its band for each
//! set-up or speed.
//!
//! Given laps at their step edges; draws them, single laps faint. It removes no lap that is used.

use super::elevation::SINGLE;
use super::figure::{Figure, counted};
use super::key::{Entry, Sample, heading, strip};
use super::mean_line::{groups, mean, range};
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::Frame;
use super::scale::Range;
use super::sheet::{Note, Sheet};
use super::style::{AXIS, Stroke, Style};
use crate::evidence::Evidence;
use crate::solution::Solution;
use crate::wording::venue_name;

/// See the module. `None` when no lap has a residual.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let unit = |metres: f64| style.units.length_value(metres);
    let all = |values: &[f64]| -> Vec<f64> { values.iter().map(|v| unit(*v)).collect() };
    let groups = groups(solution, evidence, style);
    let used = || groups.iter().flat_map(|group| group.laps.iter());
    let means: Vec<_> = groups.iter().filter_map(|g| mean(&g.laps, |lap| &lap.residual_m, unit(1.0))).collect();
    let singles = used().flat_map(|lap| lap.residual_m.iter().map(|z| unit(*z)));
    let y = range(&means.iter().collect::<Vec<_>>(), singles)?.including(0.0).padded(0.05);
    let x = Range::of(used().flat_map(|lap| lap.chainage_m.iter().map(|s| unit(*s))))?;
    if x.span() <= 0.0 {
        return None;
    }
    let mut sheet = Sheet::new(*style);
    let title = format!("What is left of the laps along the {}", venue_name(&solution.circuit.kind));
    let stroke = |place: usize| {
        let identity = groups[place].identity;
        Stroke::new(identity.ink, 0.5).dashed(identity.dash)
    };
    let mut entries: Vec<Entry> = Vec::new();
    for (place, group) in groups.iter().enumerate() {
        let name = if groups.len() > 1 { format!("mean, {}", group.name) } else { "mean of the laps".into() };
        entries.push(Entry::new(Sample::Line(stroke(place)), name));
    }
    entries.push(Entry::new(Sample::Line(Stroke { opacity: 1.0, ..SINGLE }), "single laps"));
    let top = heading(&mut sheet, &title);
    let top = strip(&mut sheet, top, &entries) + title_room(&sheet);
    let height = if style.narrow() { 44.0 } else { 54.0 };
    let ticks = y_ticks(&sheet, y, height);
    let frame = Frame { left: gutter(&sheet, &[&ticks]), top, right: style.width() - 4.0, bottom: top + height };
    let panel = Panel::new(frame, x, y).for_lines(used().count(), 40);
    let length = style.units.length_unit();
    panel.y_axis(&mut sheet, &ticks, &format!("Lap minus common profile, {length}"));
    panel.level(&mut sheet, 0.0, Stroke::new(AXIS, 0.3));
    for (r, run) in evidence.runs.iter().enumerate() {
        for lap in run.laps.iter().filter(|lap| lap.used) {
            let note = Note::of_lap(format!("run {}, lap {}", r + 1, lap.lap), r + 1, lap.lap);
            panel.line(&mut sheet, &all(&lap.chainage_m), &all(&lap.residual_m), SINGLE, &note);
        }
    }
    let fine = Panel { coarseness: 1.0, ..panel };
    for (group, line) in groups.iter().zip(&means) {
        fine.band(&mut sheet, &all(&line.x), &line.low, &line.high, group.identity.ink, 0.16);
    }
    for (place, (group, line)) in groups.iter().zip(&means).enumerate() {
        fine.line(&mut sheet, &all(&line.x), &line.mean, stroke(place), &Note::tip(group.name.clone()));
    }
    let ticks = x_ticks(&sheet, x, frame.width());
    let bottom = panel.x_axis(&mut sheet, &ticks, &format!("Distance from the gate, {length}"));
    let mut caption = format!(
        "Reconstructed elevation minus the common profile, {}: the mean of each group with a band of two standard errors; faint: \
         single laps. Means that stay together near zero mean that what is fitted explains the laps; a bend that one group \
         alone shows points to what differs there, such as wind, line or braking.",
        counted(used().count(), "used lap"),
    );
    caption.push_str(super::figure::without_values(solution));
    Figure::of(sheet, bottom + 1.0, "residuals", &title, caption)
}
