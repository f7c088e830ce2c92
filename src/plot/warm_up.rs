//! Figure `warm-up`: on rollers, rolling resistance second by second, the decay of the warm-up, the window and its mean.
//!
//! Given the series of each roller run; draws a strip for each on one scale. It chooses no window.

use super::figure::{Figure, counted, name_of, names};
use super::key::{Entry, Sample, heading, strip};
use super::lettering::Letters;
use super::panel::{Panel, gutter, x_ticks, y_ticks};
use super::polyline::{Frame, Point};
use super::scale::{Range, number};
use super::sheet::{Anchor, Note, Sheet};
use super::strips::{Room, lay_out, name_strip};
use super::style::{Dash, Ink, SHADE, Stroke, Style, TEXT};
use crate::evidence::{Evidence, WarmUpEvidence};
use crate::solution::Solution;

/// Share of the seconds outside the windows that may lie beyond the scale at either end: the kick of setting off would
/// flatten the rest. No second of a window is ever cut.
const CLIPPED: f64 = 0.05;

/// See the module. `None` without roller runs.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let shown: Vec<&WarmUpEvidence> =
        evidence.warm_ups.iter().filter(|w| Range::of(w.crr.iter().copied()).is_some()).collect();
    let y = scale_of(&shown)?;
    let seconds = shown.iter().flat_map(|w| w.crr.iter()).filter(|v| v.is_finite());
    let beyond = seconds.filter(|v| **v < y.low || **v > y.high).count();
    let start = |w: &WarmUpEvidence| Range::of(w.time_s.iter().copied()).map_or(0.0, |r| r.low);
    let longest =
        shown.iter().filter_map(|w| Range::of(w.time_s.iter().copied())).map(|r| r.span()).fold(0.0, f64::max);
    if longest <= 0.0 {
        return None;
    }
    let x = Range { low: 0.0, high: longest / 60.0 };

    let names = names(solution);
    let mut sheet = Sheet::new(*style);
    let title = "Warm-up on the rollers and the window that counts";
    let (decay, mean) = (Stroke::new(TEXT, 0.5).dashed(Dash::Long), Stroke::new(TEXT, 0.6));
    let entries = [
        Entry::new(Sample::Line(Stroke::new(second_ink(0, style), 0.4)), "each second"),
        Entry::new(Sample::Line(decay), "fitted decay"),
        Entry::new(Sample::Swatch { ink: SHADE, opacity: 1.0 }, "left out"),
        Entry::new(Sample::Line(mean), "mean of the window"),
    ];
    let top = heading(&mut sheet, title);
    let top = strip(&mut sheet, top, &entries);
    let small = style.leading(Letters::Small);
    let unit_line = top + style.size(Letters::Body) + 0.6;
    sheet.words(Point::new(super::key::MARGIN, unit_line), "Crr on the drums", Letters::Body, Anchor::Start, TEXT);
    let (height, most) = if style.narrow() { (120.0, 30.0) } else { (140.0, 36.0) };
    let per_strip = (height / shown.len() as f64).clamp(14.0, most) - small;
    let ticks = y_ticks(&sheet, y, per_strip.max(10.0));
    let room = Room {
        top: unit_line + small + 1.8,
        gutter: gutter(&sheet, &[&ticks]),
        height: height.min(most * shown.len() as f64),
        gap: small + 2.4,
    };
    let strips = lay_out(&sheet, shown.len(), room);
    let x_marks = x_ticks(&sheet, x, strips.frames.first()?.width());
    let mut bottom = strips.bottom;
    for (index, (run, frame)) in shown.iter().zip(&strips.frames).enumerate() {
        let panel = Panel::new(*frame, x, y).for_lines(shown.len(), 4);
        let start_s = start(run);
        let minute = |t: f64| (t - start_s) / 60.0;
        left_out(&mut sheet, &panel, minute(run.window_from_s), minute(run.window_to_s));
        panel.y_axis(&mut sheet, &ticks, "");
        let mean_text =
            if run.mean_crr.is_finite() { format!(", mean {}", number(run.mean_crr, 5, style)) } else { String::new() };
        let name = sheet.shorten(&name_of(&names, run.setup, run.run), frame.width() * 0.6, Letters::Small);
        name_strip(&mut sheet, frame, &format!("Run {} · {name}{mean_text}", run.run + 1));
        let minutes: Vec<f64> = run.time_s.iter().map(|t| minute(*t)).collect();
        let note = Note::tip(format!("run {}", run.run + 1));
        panel.line(&mut sheet, &minutes, &run.crr, Stroke::new(second_ink(run.setup, style), 0.2).faint(0.8), &note);
        panel.line(&mut sheet, &minutes, &run.decay, decay, &Note::tip("fitted decay"));
        let ends = [minute(run.window_from_s), minute(run.window_to_s)];
        panel.line(&mut sheet, &ends, &[run.mean_crr; 2], mean, &Note::tip("mean over the window"));
        panel.base_line(&mut sheet);
        if strips.lowest.contains(&index) {
            bottom = bottom.max(panel.x_axis(&mut sheet, &x_marks, "Time in the run, min"));
        }
    }
    let mut caption = format!(
        "Rolling resistance on the drums second by second, {}, all on one scale. Dashed: decay fitted to the warm-up. \
         Shaded: left out, above all the warm-up. What is not shaded is the window; its mean, energy over distance, is \
         the result before it is taken to a flat road.",
        counted(shown.len(), "run"),
    );
    if beyond > 0 {
        caption
            .push_str(&format!(" {} lie beyond the scale, most of them while setting off.", counted(beyond, "second")));
    }
    Figure::of(sheet, bottom + 1.0, "warm-up", title, caption)
}

/// A scale for all runs that holds every second of the windows, the decays and most of what went before.
fn scale_of(shown: &[&WarmUpEvidence]) -> Option<Range> {
    let mut outside = Vec::new();
    let mut kept = Vec::new();
    for run in shown {
        for (time, crr) in run.time_s.iter().zip(&run.crr) {
            let inside = *time >= run.window_from_s && *time <= run.window_to_s;
            if inside { &mut kept } else { &mut outside }.push(*crr);
        }
        kept.extend(run.decay.iter().copied().chain([run.mean_crr]));
    }
    outside.retain(|v| v.is_finite());
    outside.sort_by(f64::total_cmp);
    let end = (outside.len() as f64 * CLIPPED) as usize;
    let inner = outside.get(end..outside.len() - end).unwrap_or_default();
    Some(Range::of(kept.into_iter().chain(inner.iter().copied()))?.padded(0.04))
}

fn second_ink(setup: usize, style: &Style) -> Ink {
    style.identity(setup).ink
}

/// Grey ground outside the window, as on the time line.
fn left_out(sheet: &mut Sheet, panel: &Panel, from: f64, to: f64) {
    if !(from.is_finite() && to.is_finite()) {
        return;
    }
    let clamp = |minute: f64| panel.x.at(minute).clamp(panel.frame.left, panel.frame.right);
    for frame in [Frame { right: clamp(from), ..panel.frame }, Frame { left: clamp(to), ..panel.frame }] {
        if frame.width() > 0.0 {
            sheet.block(frame, SHADE, 1.0, &Note::default());
        }
    }
}
