//! Figure `timeline`: speed and power over all runs, with what is used and what is left out.
//!
//! Given the records of each run; draws the runs end to end. It decides nothing about use.

use super::figure::{Figure, counted, names};
use super::key::{self, Entry, Sample, heading, strip};
use super::lettering::Letters;
use super::marker::marker;
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::{Frame, Point};
use super::scale::Range;
use super::sheet::{Anchor, Note, Sheet};
use super::stretches::{by_use, unbroken, used_at, within};
use super::style::{AXIS, LEFT_OUT, MUTED, SHADE, Stroke, Style, TEXT};
use crate::evidence::{Evidence, RunEvidence};
use crate::solution::Solution;

/// Shaded stretches nearer than this are joined, and shorter ones left out, mm.
const FINEST_MM: f64 = 0.3;

/// A run with the time at which it is drawn.
struct Placed<'a> {
    number: usize,
    run: &'a RunEvidence,
    minutes: Vec<f64>,
    from: f64,
    to: f64,
}

/// One panel of the figure: a quantity of every run.
struct Channel {
    title: String,
    range: Range,
    values: Vec<Vec<f64>>,
}

impl Channel {
    fn of(title: String, placed: &[Placed], pick: &dyn Fn(&RunEvidence) -> Vec<f64>) -> Option<Channel> {
        let values: Vec<Vec<f64>> = placed.iter().map(|p| pick(p.run)).collect();
        let range = Range::of(values.iter().flatten().copied())?.padded(0.05);
        Some(Channel { title, range, values })
    }
}

fn end_to_end(evidence: &Evidence) -> Vec<Placed<'_>> {
    let lengths: Vec<Option<Range>> = evidence.runs.iter().map(|run| Range::of(run.time_s.iter().copied())).collect();
    let total: f64 = lengths.iter().flatten().map(Range::span).sum::<f64>() / 60.0;
    let mut from = 0.0;
    let mut placed = Vec::new();
    for (index, (run, length)) in evidence.runs.iter().zip(&lengths).enumerate() {
        let Some(length) = length else { continue };
        let minutes = run.time_s.iter().map(|t| from + (t - length.low) / 60.0).collect();
        let to = from + length.span() / 60.0;
        placed.push(Placed { number: index + 1, run, minutes, from, to });
        from = to + 0.012 * total;
    }
    placed
}

/// See the module. `None` without a speed or power.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let placed = end_to_end(evidence);
    let x = Range { low: 0.0, high: placed.last()?.to };
    if x.span() <= 0.0 {
        return None;
    }
    let units = style.units;
    let panels: Vec<Channel> = [
        Channel::of(format!("Speed, {}", units.speed_unit()), &placed, &|run| {
            run.speed_m_s.iter().map(|v| units.speed_value(*v)).collect()
        }),
        Channel::of("Power, W".into(), &placed, &|run| run.power_w.clone()),
    ]
    .into_iter()
    .flatten()
    .collect();
    if panels.is_empty() {
        return None;
    }

    let mut sheet = Sheet::new(*style);
    let names = names(solution);
    let title = "Speed and power, used and left out";
    let mut entries = key::set_ups(&sheet, &names);
    for (index, entry) in entries.iter_mut().enumerate() {
        entry.sample = Sample::Mark(style.identity(index));
    }
    entries.push(Entry::new(Sample::Swatch { ink: SHADE, opacity: 1.0 }, "left out"));
    let top = heading(&mut sheet, title);
    let numbers = if placed.len() > 1 { style.leading(Letters::Small) } else { 0.0 };
    let mut top = strip(&mut sheet, top, &entries) + title_room(&sheet) + numbers;
    let height = if style.narrow() { 34.0 } else { 42.0 };
    let ticks: Vec<_> = panels.iter().map(|channel| y_ticks(&sheet, channel.range, height)).collect();
    let left = gutter(&sheet, &ticks.iter().collect::<Vec<_>>());
    let right = style.width() - 4.0;
    let mut bottom = top;
    for (index, (channel, ticks)) in panels.iter().zip(&ticks).enumerate() {
        let panel = Panel::new(Frame { left, top, right, bottom: top + height }, x, channel.range);
        for run in &placed {
            shade(&mut sheet, &panel, run);
        }
        // The numbers of the runs stand between the title of the first panel and the panel.
        let title = if index == 0 && numbers > 0.0 { "" } else { channel.title.as_str() };
        panel.y_axis(&mut sheet, ticks, title);
        if title.is_empty() {
            let at = Point::new(key::MARGIN, top - 2.3 - numbers);
            sheet.words(at, &channel.title, Letters::Body, Anchor::Start, TEXT);
        }
        for (run, values) in placed.iter().zip(&channel.values) {
            series_of(&mut sheet, &panel, run, values);
        }
        if index + 1 == panels.len() {
            let marks = x_ticks(&sheet, x, panel.frame.width());
            let title = if placed.len() > 1 { "Riding time, runs end to end, min" } else { "Riding time, min" };
            bottom = panel.x_axis(&mut sheet, &marks, title);
        } else {
            panel.base_line(&mut sheet);
            bottom = panel.frame.bottom;
        }
        if placed.len() > 1 && index == 0 {
            number_runs(&mut sheet, &panel, &placed);
        }
        top = bottom + title_room(&sheet) + 2.0;
    }
    let records: usize = placed.iter().map(|p| p.run.time_s.len()).sum();
    let used: usize = placed.iter().map(|p| p.run.used.iter().filter(|u| **u).count()).sum();
    let mut caption = format!(
        "Speed and power of {}; {used} of {records} records count. Shaded and grey: left out. Where \
         many records fall on one place the line spans them from lowest to highest.",
        counted(placed.len(), "run"),
    );
    let gaps: usize = placed.iter().map(|p| unbroken(p.run).len() - 1).sum();
    if gaps > 0 {
        caption.push_str(&format!(" The record breaks off {} and so does the line.", counted(gaps, "time")));
    }
    Figure::of(sheet, bottom + 1.0, "timeline", title, caption)
}

/// Grey ground behind what is not used.
fn shade(sheet: &mut Sheet, panel: &Panel, run: &Placed) {
    let mut spans: Vec<Frame> = Vec::new();
    let count = run.minutes.len();
    for (index, minute) in run.minutes.iter().enumerate().filter(|(i, m)| !used_at(run.run, *i) && m.is_finite()) {
        let from = panel.x.at(*minute);
        let to = panel.x.at(run.minutes[(index + 1).min(count - 1)].max(*minute));
        match spans.last_mut() {
            Some(last) if from - last.right < FINEST_MM => last.right = last.right.max(to),
            _ => spans.push(Frame { left: from, right: to, ..panel.frame }),
        }
    }
    for frame in spans.into_iter().filter(|span| span.width() >= FINEST_MM) {
        sheet.block(frame, SHADE, 1.0, &Note::default());
    }
}

fn series_of(sheet: &mut Sheet, panel: &Panel, run: &Placed, values: &[f64]) {
    let split = by_use(run.run, values);
    let ink = sheet.style.identity(run.run.setup).ink;
    let note = Note::tip(format!("run {}", run.number));
    for part in unbroken(run.run) {
        let minutes = within(&run.minutes, &part);
        let left_out = Stroke::new(LEFT_OUT, 0.2);
        panel.line(sheet, minutes, within(&split.left_out, &part), left_out, &Note::default());
        panel.line(sheet, minutes, within(&split.used, &part), Stroke::new(ink, 0.25), &note);
    }
}

/// Run numbers on the upper edge, between short bars, as many as have room.
fn number_runs(sheet: &mut Sheet, panel: &Panel, placed: &[Placed]) {
    let y = panel.frame.top - 0.6;
    let mut free_from = 0.0;
    for run in placed {
        let (from, to) = (panel.x.at(run.from), panel.x.at(run.to));
        sheet.rule(Point::new(from, y), Point::new(to, y), Stroke::new(AXIS, 0.25));
        let text = if run.number == 1 { "run 1".to_string() } else { run.number.to_string() };
        // The mark of its set-up beside the number: inks alone say nothing in grey.
        let half = sheet.width_of(&text, Letters::Small) / 2.0 + 1.6;
        let middle = (from + to) / 2.0;
        if middle - half > free_from && middle + half < sheet.style.width() {
            let identity = sheet.style.identity(run.run.setup);
            marker(sheet, Point::new(middle - half + 0.9, y - 1.9), &identity, 0.8, &Note::default());
            sheet.words(Point::new(middle + 1.6, y - 0.9), &text, Letters::Small, Anchor::Middle, MUTED);
            free_from = middle + half + 1.0;
        }
    }
}
