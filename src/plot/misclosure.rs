//! Figure `misclosure`: by how much each lap fails to end at the height where it began, run by run.
//!
//! Given the laps of each run; draws them around zero with the scatter to be expected, and numbers the odd ones. It removes no
//! lap: those not used are drawn as open crosses.

use super::figure::{Figure, counted, name_of, names};
use super::key::{self, Entry, Sample, heading, strip};
use super::lettering::Letters;
use super::marker::marker;
use super::panel::{Panel, gutter, title_room, y_ticks};
use super::polyline::{Frame, Point};
use super::scale::{Range, number};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{AXIS, Dash, Form, GRID, Identity, Ink, MUTED, Stroke, Style, TEXT};
use crate::evidence::{Evidence, LapEvidence, RunEvidence};
use crate::solution::Solution;

/// Mark of a lap that is not used.
const LEFT_OUT: Identity = Identity { ink: Ink::grey(120), form: Form::Cross, open: true, dash: Dash::Solid };
/// The band holds 95 of 100 laps of normal scatter.
const BAND: f64 = 2.0;
/// Standard deviation of normal scatter over its median absolute value (Huber 1981, *Robust Statistics*, §5.1).
const PER_MEDIAN: f64 = 1.4826;

/// Usual misclosure of a used lap, m: robust, so that an odd lap does not hide itself.
pub(super) fn usual(evidence: &Evidence) -> Option<f64> {
    let used = evidence.runs.iter().flat_map(|run| run.laps.iter()).filter(|lap| lap.used);
    let mut sizes: Vec<f64> = used.map(|lap| lap.misclosure_m.abs()).filter(|m| m.is_finite()).collect();
    sizes.sort_by(f64::total_cmp);
    let median = *sizes.get(sizes.len() / 2)?;
    (median > 0.0).then_some(PER_MEDIAN * median)
}

/// See the module. `None` when no used lap has a misclosure.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let unit = |metres: f64| style.units.length_value(metres);
    let used = || evidence.runs.iter().flat_map(|run| run.laps.iter()).filter(|lap| lap.used);
    let sd = usual(evidence).map(unit);
    let range = Range::of(used().map(|lap| unit(lap.misclosure_m)))?.including(0.0);
    let range = sd.map_or(range, |sd| range.including(BAND * sd).including(-BAND * sd)).padded(0.14);
    let mut sheet = Sheet::new(*style);
    let names = names(solution);
    let title = "Misclosure: the height error of each lap";
    let mut entries = key::set_ups(&sheet, &names);
    if evidence.runs.iter().any(|run| run.laps.iter().any(|lap| !lap.used)) {
        entries.push(Entry::new(Sample::Mark(LEFT_OUT), "lap left out"));
    }
    let beyond = beyond(evidence, range, unit(1.0));
    if beyond > 0 {
        let mark = Identity { form: Form::TriangleUp, ..LEFT_OUT };
        entries.push(Entry::new(Sample::Mark(mark), "left out, beyond the scale"));
    }
    if sd.is_some() {
        entries.push(Entry::new(Sample::Swatch { ink: TEXT, opacity: 0.12 }, "usual scatter, 95 of 100 laps"));
    }
    let top = heading(&mut sheet, title);
    let top = strip(&mut sheet, top, &entries) + title_room(&sheet);
    let height = if style.narrow() { 42.0 } else { 50.0 };
    let ticks = y_ticks(&sheet, range, height);
    let left = gutter(&sheet, &[&ticks]);
    let frame = Frame { left, top, right: style.width() - 4.0, bottom: top + height };
    let slots: usize = evidence.runs.iter().filter(|run| !run.laps.is_empty()).map(|run| run.laps.len() + 1).sum();
    let panel = Panel::new(frame, Range { low: 0.0, high: slots.max(2) as f64 }, range);
    if let Some(sd) = sd {
        let ends = [panel.x.range.low, panel.x.range.high];
        panel.band(&mut sheet, &ends, &[-BAND * sd; 2], &[BAND * sd; 2], TEXT, 0.1);
    }
    panel.y_axis(&mut sheet, &ticks, &format!("Misclosure, {}", style.units.length_unit()));
    panel.level(&mut sheet, 0.0, Stroke::new(AXIS, 0.4));
    let odd = |lap: &LapEvidence| !lap.used || sd.is_some_and(|sd| unit(lap.misclosure_m).abs() > BAND * sd);
    let bottom = laps(&mut sheet, evidence, &names, &panel, &odd);
    let mut caption = String::from(
        "Misclosure is the height by which a lap fails to end where it began, as the energy account has it: laps in riding order, \
         one column for each run; the closer to zero and the less it drifts, the better.",
    );
    if sd.is_some() {
        caption
            .push_str(" Band: where 95 of 100 laps of the scatter seen here lie; laps outside it carry their number.");
    }
    caption.push_str(super::figure::without_values(solution));
    if beyond > 0 {
        caption.push_str(&format!(
            " {} left out beyond the range, drawn at its edge as {}.",
            counted(beyond, "lap"),
            if beyond == 1 { "a triangle" } else { "triangles" }
        ));
    }
    Figure::of(sheet, bottom, "misclosure", title, caption)
}

fn beyond(evidence: &Evidence, range: Range, scale: f64) -> usize {
    let outside = |lap: &&LapEvidence| {
        let value = lap.misclosure_m * scale;
        !lap.used && value.is_finite() && (value < range.low || value > range.high)
    };
    evidence.runs.iter().flat_map(|run| run.laps.iter()).filter(outside).count()
}

/// Points with run numbers under them; returns how far down they reach.
fn laps(
    sheet: &mut Sheet,
    evidence: &Evidence,
    names: &[String],
    panel: &Panel,
    odd: &dyn Fn(&LapEvidence) -> bool,
) -> f64 {
    let frame = panel.frame;
    // One place for each lap and a gap of one between runs; a run on rollers has no laps.
    let lapped: Vec<(usize, &RunEvidence)> =
        evidence.runs.iter().enumerate().filter(|(_, run)| !run.laps.is_empty()).collect();
    let radius = (frame.width() / panel.x.range.span() * 0.42).clamp(0.35, 1.1);
    let mut slot = 1.0;
    let mut label_free_from = f64::NEG_INFINITY;
    // Numbers come last, so that they keep clear of every point.
    let mut taken: Vec<Frame> = Vec::new();
    let mut odd_laps: Vec<(Point, usize)> = Vec::new();
    let base = frame.bottom + 1.1 + sheet.style.size(Letters::Small);
    for (place, (r, run)) in lapped.into_iter().enumerate() {
        if place > 0 {
            panel.upright(sheet, slot - 1.0, Stroke::new(GRID, 0.2));
        }
        let first = slot;
        for lap in &run.laps {
            if let Some(at) = point(sheet, panel, names, Lapped { r, run, lap, slot, radius }) {
                let reach = radius * 1.4;
                taken.push(Frame { left: at.x - reach, right: at.x + reach, top: at.y - reach, bottom: at.y + reach });
                if odd(lap) {
                    odd_laps.push((at, lap.lap));
                }
            }
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
    for (at, lap) in odd_laps {
        number_lap(sheet, &frame, &mut taken, at, radius, lap);
    }
    panel.base_line(sheet);
    let below = base + sheet.style.leading(Letters::Body) + 0.4;
    sheet.words(Point::new(frame.right, below), "Laps in riding order, by run", Letters::Body, Anchor::End, TEXT);
    below + sheet.style.size(Letters::Body) * 0.3 + 1.0
}

/// The number of a lap above or below its point, where there is room for it.
fn number_lap(sheet: &mut Sheet, frame: &Frame, taken: &mut Vec<Frame>, at: Point, radius: f64, lap: usize) {
    let text = lap.to_string();
    let (half, size) = (sheet.width_of(&text, Letters::Small) / 2.0 + 0.2, sheet.style.size(Letters::Small));
    let away = radius * 1.5 + 0.4;
    let above = Frame { left: at.x - half, right: at.x + half, top: at.y - away - size * 0.8, bottom: at.y - away };
    let below = Frame { top: at.y + away, bottom: at.y + away + size * 0.8, ..above };
    let inside =
        |f: &Frame| f.top > frame.top && f.bottom < frame.bottom - 0.6 && f.left > frame.left && f.right < frame.right;
    let clear =
        |f: &Frame| taken.iter().all(|t| f.right < t.left || f.left > t.right || f.bottom < t.top || f.top > t.bottom);
    if let Some(free) = [above, below].into_iter().find(|f| inside(f) && clear(f)) {
        sheet.words_over(Point::new(at.x, free.bottom), &text, Letters::Small, Anchor::Middle, TEXT);
        taken.push(free);
    }
}

struct Lapped<'a> {
    r: usize,
    run: &'a RunEvidence,
    lap: &'a LapEvidence,
    slot: f64,
    radius: f64,
}

/// The point of a lap, and where it stands.
fn point(sheet: &mut Sheet, panel: &Panel, names: &[String], which: Lapped) -> Option<Point> {
    let (lap, style) = (which.lap, sheet.style);
    let misclosure = style.units.length_value(lap.misclosure_m);
    if !misclosure.is_finite() {
        return None;
    }
    let tip = format!(
        "run {}, lap {}, {}: {} {}{}",
        which.r + 1,
        lap.lap,
        name_of(names, which.run.setup, which.r),
        number(misclosure, 2, &style),
        style.units.length_unit(),
        if lap.used { "" } else { ", left out" }
    );
    let note = Note::of_lap(tip, which.r + 1, lap.lap);
    let (low, high) = (panel.y.range.low, panel.y.range.high);
    let mut place = panel.place(which.slot, misclosure.clamp(low, high));
    let mut identity = if lap.used { style.identity(which.run.setup) } else { LEFT_OUT };
    if misclosure > high {
        identity.form = Form::TriangleUp;
        place.y += which.radius * 1.3;
    } else if misclosure < low {
        identity.form = Form::TriangleDown;
        place.y -= which.radius * 1.3;
    }
    marker(sheet, place, &identity, which.radius, &note);
    Some(place)
}
