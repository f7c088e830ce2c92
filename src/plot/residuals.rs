//! Figure `residuals`: what is left of each lap when the common profile is taken away, and how far each lap fails to
//! close.
//!
//! Given laps at their step edges; draws two panels. It removes no lap: those not used are drawn as open crosses.

use super::key::{self, Entry, Sample, heading, strip};
use super::lettering::Letters;
use super::marker::marker;
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::{Frame, Point};
use super::scale::{Range, number};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{AXIS, Dash, Form, GRID, Identity, Ink, MUTED, Stroke, Style, TEXT};
use super::{Figure, counted, name_of, names};
use crate::evidence::{Evidence, LapEvidence, RunEvidence};
use crate::solution::Solution;

/// Mark of a lap that is not used.
const LEFT_OUT: Identity = Identity { ink: Ink::grey(120), form: Form::Cross, open: true, dash: Dash::Solid };

/// See the module. `None` when no lap has a residual.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let used = || evidence.runs.iter().flat_map(|run| run.laps.iter()).filter(|lap| lap.used);
    let along = Range::of(used().flat_map(|lap| lap.residual_m.iter().copied()))?.including(0.0).padded(0.05);
    let x = Range::of(used().flat_map(|lap| lap.chainage_m.iter().copied()))?;
    let closing = Range::of(used().map(|lap| lap.misclosure_m))?.including(0.0).padded(0.12);
    if x.span() <= 0.0 {
        return None;
    }
    let mut sheet = Sheet::new(*style);
    let names = names(solution);
    let title = "Residual elevation and misclosure of the laps";
    let mut entries = key::set_ups(&sheet, &names);
    if evidence.runs.iter().any(|run| run.laps.iter().any(|lap| !lap.used)) {
        entries.push(Entry::new(Sample::Mark(LEFT_OUT), "lap left out"));
    }
    let beyond = outside(evidence, closing);
    if beyond > 0 {
        let mark = Identity { form: Form::TriangleUp, ..LEFT_OUT };
        entries.push(Entry::new(Sample::Mark(mark), "left out, beyond the scale"));
    }
    let top = heading(&mut sheet, title);
    let top = strip(&mut sheet, top, &entries) + title_room(&sheet);

    let height = if style.narrow() { 38.0 } else { 46.0 };
    let (along_ticks, closing_ticks) = (y_ticks(&sheet, along, height), y_ticks(&sheet, closing, height));
    let left = gutter(&sheet, &[&along_ticks, &closing_ticks]);
    let right = style.width() - 4.0;
    let frame = Frame { left, top, right, bottom: top + height };
    let panel = Panel::new(frame, x, along).for_lines(used().count(), 60);
    panel.y_axis(&mut sheet, &along_ticks, "Lap minus common profile, m");
    panel.level(&mut sheet, 0.0, Stroke::new(AXIS, 0.25));
    for (r, run) in evidence.runs.iter().enumerate() {
        let stroke = Stroke::new(style.identity(run.setup).ink, 0.2).faint(0.75);
        for lap in run.laps.iter().filter(|lap| lap.used) {
            let note = Note::of_lap(format!("run {}, lap {}", r + 1, lap.lap), r + 1, lap.lap);
            panel.line(&mut sheet, &lap.chainage_m, &lap.residual_m, stroke, &note);
        }
    }
    let ticks = x_ticks(&sheet, x, panel.frame.width());
    let below = panel.x_axis(&mut sheet, &ticks, "Distance from the gate, m");

    let top = below + title_room(&sheet) + 1.5;
    let frame = Frame { left, top, right, bottom: top + height };
    let bottom = misclosures(&mut sheet, evidence, &names, frame, closing);
    let mut caption = format!(
        "Above: reconstructed elevation of each used lap minus the common profile ({}). Below: misclosure, the height by \
         which a lap fails to end where it began, in riding order, one column of laps for each run; the closer to zero \
         and the less it drifts, the better.",
        counted(used().count(), "lap"),
    );
    caption.push_str(super::without_values(solution));
    if beyond > 0 {
        caption.push_str(&match beyond {
            1 => " 1 lap that was left out lies beyond the range and stands at its edge as a triangle.".to_string(),
            n => format!(" {n} laps that were left out lie beyond the range and stand at its edge as triangles."),
        });
    }
    Figure::of(sheet, bottom, "residuals", title, caption)
}

fn outside(evidence: &Evidence, range: Range) -> usize {
    let beyond = |lap: &&LapEvidence| {
        !lap.used && lap.misclosure_m.is_finite() && (lap.misclosure_m < range.low || lap.misclosure_m > range.high)
    };
    evidence.runs.iter().flat_map(|run| run.laps.iter()).filter(beyond).count()
}

/// The lower panel; returns how far down it reaches.
fn misclosures(sheet: &mut Sheet, evidence: &Evidence, names: &[String], frame: Frame, y: Range) -> f64 {
    // One place for each lap and a gap of one between runs; a run on rollers has no laps.
    let lapped: Vec<(usize, &RunEvidence)> =
        evidence.runs.iter().enumerate().filter(|(_, run)| !run.laps.is_empty()).collect();
    let slots: usize = lapped.iter().map(|(_, run)| run.laps.len() + 1).sum();
    let panel = Panel::new(frame, Range { low: 0.0, high: slots.max(2) as f64 }, y);
    let ticks = y_ticks(sheet, y, frame.height());
    panel.y_axis(sheet, &ticks, "Misclosure of each lap, m");
    panel.level(sheet, 0.0, Stroke::new(AXIS, 0.25));
    let spacing = frame.width() / slots.max(2) as f64;
    let radius = (spacing * 0.42).clamp(0.35, 1.1);
    let mut slot = 1.0;
    let mut label_free_from = f64::NEG_INFINITY;
    let base = frame.bottom + 1.1 + sheet.style.size(Letters::Small);
    for (place, (r, run)) in lapped.into_iter().enumerate() {
        if place > 0 {
            panel.upright(sheet, slot - 1.0, Stroke::new(GRID, 0.2));
        }
        let first = slot;
        for lap in &run.laps {
            point(sheet, &panel, names, Lapped { r, run, lap, slot, radius });
            slot += 1.0;
        }
        let text = format!("{}", r + 1);
        let middle = panel.x.at((first + slot - 1.0) / 2.0);
        let half = sheet.width_of(&text, Letters::Small) / 2.0;
        if middle - half > label_free_from {
            sheet.words(Point::new(middle, base), &text, Letters::Small, Anchor::Middle, MUTED);
            label_free_from = middle + half + 1.0;
        }
        slot += 1.0;
    }
    panel.base_line(sheet);
    let below = base + sheet.style.leading(Letters::Body) + 0.4;
    sheet.words(Point::new(frame.right, below), "Laps in riding order, by run", Letters::Body, Anchor::End, TEXT);
    below + sheet.style.size(Letters::Body) * 0.3 + 1.0
}

struct Lapped<'a> {
    r: usize,
    run: &'a RunEvidence,
    lap: &'a LapEvidence,
    slot: f64,
    radius: f64,
}

fn point(sheet: &mut Sheet, panel: &Panel, names: &[String], which: Lapped) {
    let (lap, style) = (which.lap, sheet.style);
    if !lap.misclosure_m.is_finite() {
        return;
    }
    let tip = format!(
        "run {}, lap {}, {}: {} m{}",
        which.r + 1,
        lap.lap,
        name_of(names, which.run.setup, which.r),
        number(lap.misclosure_m, 2, &style),
        if lap.used { "" } else { ", left out" }
    );
    let note = Note::of_lap(tip, which.r + 1, lap.lap);
    let (low, high) = (panel.y.range.low, panel.y.range.high);
    let mut place = panel.place(which.slot, lap.misclosure_m.clamp(low, high));
    let mut identity = if lap.used { style.identity(which.run.setup) } else { LEFT_OUT };
    if lap.misclosure_m > high {
        identity.form = Form::TriangleUp;
        place.y += which.radius * 1.3;
    } else if lap.misclosure_m < low {
        identity.form = Form::TriangleDown;
        place.y -= which.radius * 1.3;
    }
    marker(sheet, place, &identity, which.radius, &note);
}
