//! Figure `elevation`: what each used lap says about the height of the road, and the profile common to all.
//!
//! Given laps at their step edges and the common profile; draws them along the loop. It fits nothing.

use super::key::{self, Entry, Sample, heading, strip};
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::Frame;
use super::scale::{Range, number};
use super::sheet::{Note, Sheet};
use super::style::{Stroke, Style, TEXT};
use super::{Figure, counted, name_of, names};
use crate::evidence::Evidence;
use crate::quantity::km_h_from_m_s;
use crate::solution::Solution;

/// Half-width of the band in standard errors.
const BAND: f64 = 2.0;

/// See the module. `None` without a used lap or profile.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let used = || {
        evidence
            .runs
            .iter()
            .enumerate()
            .flat_map(|(r, run)| run.laps.iter().map(move |lap| (r, run, lap)))
            .filter(|(_, _, lap)| lap.used)
    };
    let profile = &evidence.profile;
    let band = |sign: f64| profile.iter().map(move |p| p.elevation_m + sign * BAND * p.se_m.max(0.0));
    let heights = used().flat_map(|(_, _, lap)| lap.elevation_m.iter().copied()).chain(band(-1.0)).chain(band(1.0));
    let y = Range::of(heights)?.padded(0.05);
    let places = used().flat_map(|(_, _, lap)| lap.chainage_m.iter().copied());
    let x = Range::of(places.chain(profile.iter().map(|p| p.chainage_m)))?;
    if x.span() <= 0.0 {
        return None;
    }

    let mut sheet = Sheet::new(*style);
    let names = names(solution);
    let title = "Reconstructed elevation along the loop";
    let ink_of_lap = |setup: usize| Stroke::new(style.identity(setup).ink, 0.18).faint(0.7);
    let mut entries = key::set_ups(&sheet, &names);
    for (index, entry) in entries.iter_mut().enumerate() {
        entry.sample = Sample::Line(ink_of_lap(index));
    }
    if entries.is_empty() {
        entries.push(Entry::new(Sample::Line(ink_of_lap(0)), "one lap"));
    }
    if !profile.is_empty() {
        entries.push(Entry::new(Sample::Line(Stroke::new(TEXT, 0.55)), "common profile, band ± 2 standard errors"));
    }
    let top = heading(&mut sheet, title);
    let top = strip(&mut sheet, top, &entries) + title_room(&sheet);

    let height = if style.narrow() { 48.0 } else { 66.0 };
    let ticks = y_ticks(&sheet, y, height);
    let frame = Frame { left: gutter(&sheet, &[&ticks]), top, right: style.width() - 4.0, bottom: top + height };
    let panel = Panel::new(frame, x, y).for_lines(used().count(), 60);
    panel.y_axis(&mut sheet, &ticks, "Elevation above the gate, m");

    let chainage: Vec<f64> = profile.iter().map(|p| p.chainage_m).collect();
    let (low, high): (Vec<f64>, Vec<f64>) = (band(-1.0).collect(), band(1.0).collect());
    panel.band(&mut sheet, &chainage, &low, &high, TEXT, 0.16);
    for (r, run, lap) in used() {
        let tip = format!(
            "run {}, lap {}, {}: {} km/h",
            r + 1,
            lap.lap,
            name_of(&names, run.setup, r),
            number(km_h_from_m_s(lap.mean_speed_m_s), 1, style)
        );
        let note = Note::of_lap(tip, r + 1, lap.lap);
        panel.line(&mut sheet, &lap.chainage_m, &lap.elevation_m, ink_of_lap(run.setup), &note);
    }
    let common: Vec<f64> = profile.iter().map(|p| p.elevation_m).collect();
    panel.line(&mut sheet, &chainage, &common, Stroke::new(super::style::PAPER, 1.0).faint(0.8), &Note::default());
    panel.line(&mut sheet, &chainage, &common, Stroke::new(TEXT, 0.5), &Note::tip("common profile"));

    let ticks = x_ticks(&sheet, x, frame.width());
    let bottom = panel.x_axis(&mut sheet, &ticks, "Distance from the gate, m");
    let laps = counted(used().count(), "used lap");
    let mut caption = format!(
        "Elevation reconstructed from the energy account along the loop, {laps} of {}. Thin: one lap each{}. Bold: the \
         profile common to all laps with a band of two standard errors.{}",
        counted(evidence.runs.iter().filter(|run| !run.laps.is_empty()).count(), "run"),
        if names.len() > 1 { ", in the ink of its set-up" } else { "" },
        if solution.separable {
            " Laps that keep to one curve mean that CdA, Crr, wind and delay explain the ride."
        } else {
            ""
        },
    );
    caption.push_str(super::without_values(solution));
    Figure::of(sheet, bottom + 1.0, "elevation", title, caption)
}
