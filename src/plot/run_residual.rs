//! Figure `run-residual`: each whole run minus the common profile, against time: do its laps repeat, does it drift?
//!
//! Given what is left record by record, carried on from lap to lap; draws a strip for each run on one scale, with laps marked
//! and the band that chance errors of the laps before would explain. It fits nothing.

use super::figure::{Figure, counted, name_of, names};
use super::key::{Entry, MARGIN, Sample, heading, strip};
use super::lettering::Letters;
use super::misclosure::usual;
use super::panel::{Panel, gutter, x_ticks, y_ticks};
use super::polyline::Point;
use super::scale::Range;
use super::sheet::{Anchor, Note, Sheet};
use super::stretches::{by_use, unbroken, within};
use super::strips::{Room, lay_out, name_strip};
use super::style::{AXIS, GRID, LEFT_OUT, Stroke, Style, TEXT};
use crate::evidence::{Evidence, RunEvidence};
use crate::solution::{LapResult, Solution};

/// Half-width of the band in standard deviations.
const BAND: f64 = 2.0;

/// A run with its laps in minutes from its first lap.
struct Shown<'a> {
    number: usize,
    run: &'a RunEvidence,
    minutes: Vec<f64>,
    /// Where each lap ends.
    ends: Vec<f64>,
    length: f64,
}

fn shown<'a>(number: usize, run: &'a RunEvidence, laps: &[LapResult]) -> Option<Shown<'a>> {
    let span = Range::of(run.time_s.iter().zip(&run.residual_m).filter(|(_, z)| z.is_finite()).map(|(t, _)| *t))?;
    let minutes: Vec<f64> = run.time_s.iter().map(|t| (t - span.low) / 60.0).collect();
    // Laps count from the first record.
    let first = minutes.first().copied().filter(|m| m.is_finite())?;
    let length = span.span() / 60.0;
    let ends = laps.iter().map(|lap| first + (lap.start_s + lap.duration_s) / 60.0);
    let ends = ends.filter(|m| m.is_finite() && *m > 0.0 && *m <= length * 1.001).collect();
    Some(Shown { number, run, minutes, ends, length })
}

/// See the module. `None` when no run has a residual.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let unit = |metres: f64| style.units.length_value(metres);
    let laps = |r: usize| solution.runs.get(r).map_or(&[][..], |run| &run.laps);
    let all: Vec<Shown> = evidence.runs.iter().enumerate().filter_map(|(r, run)| shown(r + 1, run, laps(r))).collect();
    let sd = usual(evidence).map(unit);
    let most = all.iter().map(|s| s.ends.len()).max().unwrap_or(0);
    let used = |s: &Shown| -> Vec<f64> { by_use(s.run, &s.run.residual_m).used.iter().map(|z| unit(*z)).collect() };
    let mut y = Range::of(all.iter().flat_map(used))?.including(0.0);
    if let Some(sd) = sd {
        let widest = BAND * sd * (most.max(1) as f64).sqrt();
        y = y.including(widest).including(-widest);
    }
    let y = y.padded(0.06);
    let longest = all.iter().map(|s| s.length).fold(0.0, f64::max);
    if longest <= 0.0 {
        return None;
    }
    let x = Range { low: 0.0, high: longest };
    let names = names(solution);
    let mut sheet = Sheet::new(*style);
    let title = "Each run minus the common profile";
    let left_out = Stroke::new(LEFT_OUT, 0.3);
    let any_left_out = all.iter().any(|s| s.run.laps.iter().any(|lap| !lap.used));
    let mut entries =
        vec![Entry::new(Sample::Upright { half_mm: 1.4, stroke: Stroke::new(AXIS, 0.2) }, "end of a lap")];
    if sd.is_some() {
        entries.push(Entry::new(Sample::Swatch { ink: TEXT, opacity: 0.12 }, "what scatter of the laps explains"));
    }
    if any_left_out {
        entries.push(Entry::new(Sample::Line(left_out), "lap left out"));
    }
    let top = heading(&mut sheet, title);
    let top = strip(&mut sheet, top, &entries);
    let small = style.leading(Letters::Small);
    let unit_line = top + style.size(Letters::Body) + 0.8;
    let axis = format!("Run minus common profile, {}", style.units.length_unit());
    sheet.words(Point::new(MARGIN, unit_line), &axis, Letters::Body, Anchor::Start, TEXT);
    let height = if style.narrow() { 120.0 } else { 118.0 };
    let per_strip = (height / all.len().max(1) as f64).clamp(12.0, 34.0) - small;
    let ticks = y_ticks(&sheet, y, per_strip.max(10.0));
    let room = Room {
        top: unit_line + small + 1.6,
        gutter: gutter(&sheet, &[&ticks]),
        height: height.min(34.0 * all.len() as f64),
        gap: small + 2.2,
    };
    let strips = lay_out(&sheet, all.len(), room);
    let x_marks = x_ticks(&sheet, x, strips.frames.first()?.width());
    let mut bottom = strips.bottom;
    for (index, (one, frame)) in all.iter().zip(&strips.frames).enumerate() {
        let panel = Panel::new(*frame, x, y).for_lines(all.len(), 6);
        if let Some(sd) = sd {
            explained(&mut sheet, &panel, one, sd);
        }
        panel.y_axis(&mut sheet, &ticks, "");
        for end in &one.ends {
            panel.upright(&mut sheet, *end, Stroke::new(GRID, 0.25));
            let at = panel.x.at(*end);
            sheet.rule(Point::new(at, frame.bottom - 1.2), Point::new(at, frame.bottom), Stroke::new(AXIS, 0.25));
        }
        panel.level(&mut sheet, 0.0, Stroke::new(AXIS, 0.3));
        name_strip(
            &mut sheet,
            frame,
            &format!("Run {} · {}", one.number, name_of(&names, one.run.setup, one.number - 1)),
        );
        let stroke = Stroke::new(style.identity(one.run.setup).ink, 0.35);
        let split = by_use(one.run, &one.run.residual_m.iter().map(|z| unit(*z)).collect::<Vec<_>>());
        for part in unbroken(one.run) {
            let minutes = within(&one.minutes, &part);
            panel.line(&mut sheet, minutes, within(&split.left_out, &part), left_out, &Note::default());
            let note = Note::tip(format!("run {}", one.number));
            panel.line(&mut sheet, minutes, within(&split.used, &part), stroke, &note);
        }
        if strips.lowest.contains(&index) {
            bottom = bottom.max(panel.x_axis(&mut sheet, &x_marks, "Time in the run, min"));
        } else {
            panel.base_line(&mut sheet);
        }
    }
    let mut caption = format!(
        "Reconstructed elevation of {} minus the common profile, from the first to the last lap, all on one scale. A run whose \
         laps repeat stays level; a slope is an error that every lap repeats, a bend one that changes during the run.",
        counted(all.len(), "run"),
    );
    if sd.is_some() {
        caption.push_str(
            " Band: two standard deviations of the sum of as many misclosures as laps have been ridden, which chance explains.",
        );
    }
    if any_left_out {
        caption
            .push_str(" Grey: laps left out, which what spoiled them lifts or lowers, and all that follows with them.");
    }
    caption.push_str(super::figure::without_values(solution));
    Figure::of(sheet, bottom + 1.0, "run-residual", title, caption)
}

/// The band: chance misclosures of n laps add up to √n of one.
fn explained(sheet: &mut Sheet, panel: &Panel, one: &Shown, sd: f64) {
    let mut minutes = vec![0.0];
    let mut half = vec![BAND * sd * 0.5];
    for (laps, end) in one.ends.iter().enumerate() {
        minutes.push(*end);
        half.push(BAND * sd * ((laps + 1) as f64).sqrt());
    }
    let low: Vec<f64> = half.iter().map(|h| -h).collect();
    panel.band(sheet, &minutes, &low, &half, TEXT, 0.1);
}
