//! Figure `whole-run`: elevation over each whole run at the solved values. It should repeat, not climb.
//!
//! Given the reconstructed elevation record by record; draws a strip for each run on one scale. It fits nothing.

use super::key::{Entry, Sample, heading, strip};
use super::lettering::Letters;
use super::panel::{Panel, gutter, x_ticks, y_ticks};
use super::polyline::Point;
use super::scale::{Range, number};
use super::sheet::{Anchor, Note, Sheet};
use super::stretches::{by_use, unbroken, within};
use super::strips::{Room, lay_out, name_strip};
use super::style::{AXIS, LEFT_OUT, Stroke, Style, TEXT};
use super::{Figure, counted, name_of, names};
use crate::evidence::{Evidence, RunEvidence};
use crate::solution::Solution;

/// See the module. `None` when no run has an elevation.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let shown: Vec<(usize, &RunEvidence)> = evidence
        .runs
        .iter()
        .enumerate()
        .filter(|(_, run)| Range::of(run.elevation_m.iter().copied()).is_some())
        .collect();
    let y = Range::of(shown.iter().flat_map(|(_, run)| run.elevation_m.iter().copied()))?.padded(0.06);
    // Time counts from the first record that lies in a lap; every strip has the scale of the longest run.
    let stretch = |run: &RunEvidence| {
        Range::of(run.time_s.iter().zip(&run.elevation_m).filter(|(_, z)| z.is_finite()).map(|(t, _)| *t))
    };
    let longest = shown.iter().filter_map(|(_, run)| stretch(run)).map(|r| r.span()).fold(0.0, f64::max);
    if longest <= 0.0 {
        return None;
    }
    let x = Range { low: 0.0, high: longest / 60.0 };
    let names = names(solution);
    let mut sheet = Sheet::new(*style);
    let title = if solution.separable {
        "Elevation over each whole run at the solved values"
    } else {
        "Elevation over each whole run"
    };
    let left_out = Stroke::new(LEFT_OUT, 0.3);
    let mut top = heading(&mut sheet, title);
    let any_left_out = shown.iter().any(|(_, run)| run.laps.iter().any(|lap| !lap.used));
    if any_left_out {
        top = strip(&mut sheet, top, &[Entry::new(Sample::Line(left_out), "lap left out")]);
    }

    let small = style.leading(Letters::Small);
    let unit_line = top + style.size(Letters::Body) + 0.8;
    sheet.words(Point::new(super::key::MARGIN, unit_line), "Elevation, m", Letters::Body, Anchor::Start, TEXT);
    let height = if style.narrow() { 150.0 } else { 126.0 };
    let per_strip = (height / shown.len().max(1) as f64).clamp(12.0, 34.0) - small;
    let ticks = y_ticks(&sheet, y, per_strip.max(10.0));
    let room = Room {
        top: unit_line + small + 1.6,
        gutter: gutter(&sheet, &[&ticks]),
        height: height.min(34.0 * shown.len() as f64),
        gap: small + 2.2,
    };
    let strips = lay_out(&sheet, shown.len(), room);
    let x_marks = x_ticks(&sheet, x, strips.frames.first()?.width());
    let mut bottom = strips.bottom;
    for (index, ((r, run), frame)) in shown.iter().zip(&strips.frames).enumerate() {
        let panel = Panel::new(*frame, x, y).for_lines(shown.len(), 6);
        panel.y_axis(&mut sheet, &ticks, "");
        name_strip(&mut sheet, frame, &format!("Run {} · {}", r + 1, name_of(&names, run.setup, *r)));
        let start = stretch(run).map_or(0.0, |range| range.low);
        let minutes: Vec<f64> = run.time_s.iter().map(|t| (t - start) / 60.0).collect();
        let stroke = Stroke::new(style.identity(run.setup).ink, 0.3);
        let split = by_use(run, &run.elevation_m);
        for part in unbroken(run) {
            let minutes = within(&minutes, &part);
            panel.line(&mut sheet, minutes, within(&split.left_out, &part), left_out, &Note::default());
            let note = Note::tip(format!("run {}", r + 1));
            panel.line(&mut sheet, minutes, within(&split.used, &part), stroke, &note);
        }
        if strips.lowest.contains(&index) {
            bottom = bottom.max(panel.x_axis(&mut sheet, &x_marks, "Time in the run, min"));
        } else {
            sheet.rule(
                Point::new(frame.left, frame.bottom),
                Point::new(frame.right, frame.bottom),
                Stroke::new(AXIS, 0.25),
            );
        }
    }
    let mut caption = format!(
        "Reconstructed elevation of {} from the first to the last lap{}, all on one scale ({} to {} m). On a closed loop the curve must repeat lap by lap; a climb or fall from lap to lap is \
         an error of the account{}.",
        counted(shown.len(), "run"),
        if solution.separable { ", with the solved CdA, Crr, wind and delay" } else { "" },
        number(y.low, 1, style),
        number(y.high, 1, style),
        if any_left_out {
            ". Grey: laps left out, which what spoiled them lifts or lowers, and all that follows with them"
        } else {
            ""
        },
    );
    caption.push_str(super::without_values(solution));
    Figure::of(sheet, bottom + 1.0, "whole-run", title, caption)
}
