//! Figure `model-residual`: watts that the model leaves along the loop, for each planned speed and each run, with what chance
//! explains.
//!
//! Given series along the loop; draws a strip for each, on one scale. It tests nothing.

use super::figure::{Figure, counted, name_of, names};
use super::key::{Entry, MARGIN, Sample, heading, strip};
use super::lettering::Letters;
use super::panel::{Panel, gutter, x_ticks, y_ticks};
use super::polyline::{Frame, Point};
use super::scale::{Range, number};
use super::sheet::{Anchor, Note, Sheet};
use super::strips::{Room, lay_out, name_strip};
use super::style::{AXIS, Ink, SHADE, Stroke, Style, TEXT};
use crate::evidence::{Evidence, LeftAlong};
use crate::solution::Solution;

/// Half-width of the band in standard deviations.
const BAND: f64 = 2.0;

/// One strip.
struct Strip<'a> {
    name: String,
    ink: Ink,
    left: &'a LeftAlong,
}

/// See the module. `None` where the model was not checked.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let residual = evidence.model_residual.as_ref()?;
    let unit = |metres: f64| style.units.length_value(metres);
    let names = names(solution);
    let several = residual.classes.len() > 1;
    let of_class = residual.classes.iter().filter(|_| several).map(|left| {
        let speed = number(style.units.speed_value(left.speed_m_s), 1, style);
        Strip { name: format!("All laps near {speed} {}", style.units.speed_unit()), ink: TEXT, left }
    });
    let of_run = residual.runs.iter().map(|left| {
        let setup = evidence.runs.get(left.of).map_or(0, |r| r.setup);
        let name = format!("Run {} · {}", left.of + 1, name_of(&names, setup, left.of));
        Strip { name, ink: style.identity(setup).ink, left }
    });
    let strips: Vec<Strip> = of_class.chain(of_run).collect();
    let x_values: Vec<f64> = residual.distance_m.iter().map(|m| unit(*m)).collect();
    let end = solution.circuit.length_m.map(unit);
    let x = Range::of(x_values.iter().copied().chain(end))?.including(0.0);
    let judged = |values: &[f64]| -> Vec<f64> {
        values.iter().zip(&residual.is_judged).map(|(v, judged)| if *judged { *v } else { f64::NAN }).collect()
    };
    let widest = strips.iter().flat_map(|s| s.left.chance_w.iter().map(|sd| BAND * sd)).fold(0.0, f64::max);
    let shown = strips.iter().flat_map(|s| judged(&s.left.power_w));
    let y = Range::of(shown.filter(|v| v.is_finite()))?.including(widest).including(-widest).padded(0.06);
    if x_values.len() < 2 || x.span() <= 0.0 || y.span() <= 0.0 {
        return None;
    }
    let mut sheet = Sheet::new(*style);
    let title = "Power that the model does not explain";
    let any_hidden = residual.is_judged.iter().any(|judged| !judged);
    let mut entries = vec![
        Entry::new(Sample::Line(Stroke::new(TEXT, 0.5)), "mean of the laps"),
        Entry::new(Sample::Swatch { ink: TEXT, opacity: 0.16 }, "what scatter of the laps explains"),
    ];
    if any_hidden {
        entries.push(Entry::new(Sample::Swatch { ink: SHADE, opacity: 1.0 }, "not judged"));
    }
    let top = heading(&mut sheet, title);
    let top = strip(&mut sheet, top, &entries);
    let small = style.leading(Letters::Small);
    let unit_line = top + style.size(Letters::Body) + 0.8;
    sheet.words(
        Point::new(MARGIN, unit_line),
        "Power less what the model explains, W",
        Letters::Body,
        Anchor::Start,
        TEXT,
    );
    // Of half the width no taller than half a sheet: there its letters would be made smaller to fit.
    let height = if style.narrow() { 116.0 } else { 130.0 };
    let per_strip = (height / strips.len().max(1) as f64).clamp(12.0, 34.0) - small;
    let ticks = y_ticks(&sheet, y, per_strip.max(10.0));
    let room = Room {
        top: unit_line + small + 1.6,
        gutter: gutter(&sheet, &[&ticks]),
        height: height.min(34.0 * strips.len() as f64),
        gap: small + 2.2,
    };
    let places = lay_out(&sheet, strips.len(), room);
    let x_marks = x_ticks(&sheet, x, places.frames.first()?.width());
    let mut bottom = places.bottom;
    for (index, (one, frame)) in strips.iter().zip(&places.frames).enumerate() {
        let panel = Panel::new(*frame, x, y).for_lines(strips.len(), 12);
        shade(&mut sheet, &panel, &x_values, &residual.is_judged);
        let half: Vec<f64> = one.left.chance_w.iter().map(|sd| BAND * sd).collect();
        let low: Vec<f64> = half.iter().map(|h| -h).collect();
        panel.band(&mut sheet, &x_values, &low, &half, TEXT, 0.12);
        panel.y_axis(&mut sheet, &ticks, "");
        panel.level(&mut sheet, 0.0, Stroke::new(AXIS, 0.3));
        name_strip(&mut sheet, frame, &one.name);
        panel.line(
            &mut sheet,
            &x_values,
            &judged(&one.left.power_w),
            Stroke::new(one.ink, 0.4),
            &Note::tip(one.name.clone()),
        );
        if places.lowest.contains(&index) {
            let title = format!("Distance from the gate, {}", style.units.length_unit());
            bottom = bottom.max(panel.x_axis(&mut sheet, &x_marks, &title));
        } else {
            panel.base_line(&mut sheet);
        }
    }
    let mut caption = format!(
        "Power at the wheel that the model does not explain, step by step, mean of the laps of {}{}, all on one scale. Band: two \
         standard deviations of what the scatter of the laps leaves by chance. Above zero the rider had to push harder there than \
         the model says. A bend that one run alone shows is something that changed between runs; one that slow and fast laps \
         show with opposite signs depends on speed.",
        if several { format!("{} and ", counted(residual.classes.len(), "planned speed")) } else { String::new() },
        counted(residual.runs.len(), "run"),
    );
    if any_hidden {
        caption.push_str(
            " Not judged: where the rider goes from one speed to another, which one reading a second does not resolve.",
        );
    }
    if let Some(check) = &solution.model_check {
        caption
            .push_str(&format!(" Probability of such patterns under chance: p = {}.", number(check.p_value, 3, style)));
    }
    caption.push_str(super::figure::without_values(solution));
    Figure::of(sheet, bottom + 1.0, "model-residual", title, caption)
}

/// Ground behind steps that are not judged.
fn shade(sheet: &mut Sheet, panel: &Panel, places: &[f64], is_judged: &[bool]) {
    let half = |j: usize| 0.5 * (places[(j + 1).min(places.len() - 1)] - places[j.min(places.len() - 2)]).abs();
    for (j, place) in places.iter().enumerate().filter(|(j, _)| is_judged.get(*j) == Some(&false)) {
        let half = half(j.min(places.len() - 2));
        let inside = |value: f64| panel.x.at(value).clamp(panel.frame.left, panel.frame.right);
        let frame = Frame { left: inside(place - half), right: inside(place + half), ..panel.frame };
        sheet.block(frame, SHADE, 1.0, &Note::default());
    }
}
