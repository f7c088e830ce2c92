//! Figure `elevation`: what the laps say about the height of the road, set-up by set-up, and the profile common to all.
//!
//! Given laps at their step edges and the common profile; draws them along the loop, single laps faint. It fits nothing.

use super::figure::{Figure, counted};
use super::key::{Entry, Sample, heading, strip};
use super::mean_line::{groups, mean, range};
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::Frame;
use super::scale::Range;
use super::sheet::{Note, Sheet};
use super::style::{LEFT_OUT, Stroke, Style, TEXT};
use crate::evidence::Evidence;
use crate::solution::Solution;
use crate::wording::venue_name;

/// Half-width of the band in standard errors.
const BAND: f64 = 2.0;

/// A lap by itself.
pub(super) const SINGLE: Stroke =
    Stroke { ink: LEFT_OUT, width_mm: 0.12, opacity: 0.45, dash: super::style::Dash::Solid };

/// See the module. `None` without a used lap or profile.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let used = || {
        evidence
            .runs
            .iter()
            .enumerate()
            .flat_map(|(r, run)| run.laps.iter().map(move |lap| (r, lap)))
            .filter(|(_, lap)| lap.used)
    };
    let unit = |metres: f64| style.units.length_value(metres);
    let all = |values: &[f64]| -> Vec<f64> { values.iter().map(|v| unit(*v)).collect() };
    let groups = groups(solution, evidence, style);
    let means: Vec<_> = groups.iter().map(|g| mean(&g.laps, |lap| &lap.elevation_m, unit(1.0))).collect();
    let profile = &evidence.profile;
    let band = |sign: f64| -> Vec<f64> {
        profile.iter().map(|p| unit(p.elevation_m + sign * BAND * p.se_m.max(0.0))).collect()
    };
    let (low, high) = (band(-1.0), band(1.0));
    let singles = used().flat_map(|(_, lap)| lap.elevation_m.iter().map(|z| unit(*z)));
    let y = range(&means.iter().flatten().collect::<Vec<_>>(), singles.chain(low.iter().chain(&high).copied()))?;
    let y = y.padded(0.05);
    let places = used().flat_map(|(_, lap)| lap.chainage_m.iter().copied());
    let x = Range::of(places.chain(profile.iter().map(|p| p.chainage_m)).map(unit))?;
    if x.span() <= 0.0 {
        return None;
    }
    let mut sheet = Sheet::new(*style);
    let title = format!("Reconstructed elevation along the {}", venue_name(&solution.circuit.kind));
    let identity_stroke = |place: usize| {
        let identity = groups[place].identity;
        Stroke::new(identity.ink, 0.35).dashed(identity.dash)
    };
    let mut entries: Vec<Entry> = Vec::new();
    if groups.len() > 1 {
        entries.extend(
            groups
                .iter()
                .enumerate()
                .map(|(k, g)| Entry::new(Sample::Line(identity_stroke(k)), format!("mean, {}", g.name))),
        );
    }
    entries.push(Entry::new(Sample::Line(Stroke { opacity: 1.0, ..SINGLE }), "single laps"));
    if !profile.is_empty() {
        entries.push(Entry::new(Sample::Line(Stroke::new(TEXT, 0.55)), "common profile, band ± 2 standard errors"));
    }
    let top = heading(&mut sheet, &title);
    let top = strip(&mut sheet, top, &entries) + title_room(&sheet);
    let height = if style.narrow() { 46.0 } else { 60.0 };
    let ticks = y_ticks(&sheet, y, height);
    let frame = Frame { left: gutter(&sheet, &[&ticks]), top, right: style.width() - 4.0, bottom: top + height };
    let panel = Panel::new(frame, x, y).for_lines(used().count(), 40);
    let length = style.units.length_unit();
    panel.y_axis(&mut sheet, &ticks, &format!("Elevation above the gate, {length}"));

    let chainage: Vec<f64> = profile.iter().map(|p| unit(p.chainage_m)).collect();
    panel.band(&mut sheet, &chainage, &low, &high, TEXT, 0.16);
    for (r, lap) in used() {
        let note = Note::of_lap(format!("run {}, lap {}", r + 1, lap.lap), r + 1, lap.lap);
        panel.line(&mut sheet, &all(&lap.chainage_m), &all(&lap.elevation_m), SINGLE, &note);
    }
    let fine = Panel { coarseness: 1.0, ..panel };
    let common: Vec<f64> = profile.iter().map(|p| unit(p.elevation_m)).collect();
    fine.line(&mut sheet, &chainage, &common, Stroke::new(TEXT, 0.6), &Note::tip("common profile"));
    if groups.len() > 1 {
        for (place, (group, line)) in groups.iter().zip(&means).enumerate() {
            if let Some(line) = line {
                fine.line(
                    &mut sheet,
                    &all(&line.x),
                    &line.mean,
                    identity_stroke(place),
                    &Note::tip(group.name.clone()),
                );
            }
        }
    }
    let ticks = x_ticks(&sheet, x, frame.width());
    let bottom = panel.x_axis(&mut sheet, &ticks, &format!("Distance from the gate, {length}"));
    let mut caption = format!(
        "Elevation reconstructed from the energy account along the lap, {} of {}. Bold: the profile common to all laps with a \
         band of two standard errors. Faint: single laps.{}{}",
        counted(used().count(), "used lap"),
        counted(evidence.runs.iter().filter(|run| !run.laps.is_empty()).count(), "run"),
        if groups.len() > 1 { " Dashed and coloured: the mean of each group of laps." } else { "" },
        if solution.separable {
            " Laps that keep to one curve mean that CdA, Crr, wind and lag explain the ride."
        } else {
            ""
        },
    );
    caption.push_str(super::figure::without_values(solution));
    Figure::of(sheet, bottom + 1.0, "elevation", &title, caption)
}
