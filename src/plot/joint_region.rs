//! Figure `joint-region`: where CdA and Crr of each set-up lie together.
//!
//! Given centre and covariance; draws the ellipse d ᵀ V⁻¹ d = 2 F(confidence; 2, dof), the region that holds both
//! values at once in the stated share of repeats, apart from instrument errors (Draper & Smith 1998, *Applied Regression Analysis*, §5.4). It
//! estimates nothing.

use super::figure::{Figure, name_of, names, percent};
use super::key::{self, heading, strip};
use super::lettering::Letters;
use super::marker::marker;
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::{Frame, Point};
use super::scale::{Range, number};
use super::sheet::{Anchor, Note, Sheet};
use super::style::{Stroke, Style, TEXT};
use crate::evidence::{Evidence, JointRegion};
use crate::solution::Solution;
use crate::uncertainty::student::two_parameter_f_quantile;

/// Corners of a drawn ellipse.
const CORNERS: usize = 72;

struct Outline {
    crr: Vec<f64>,
    cda: Vec<f64>,
}

/// The ellipse through the Cholesky factor of the covariance; a covariance of one (all is known of the other
/// coefficient) gives a line, which is what it means.
fn outline(region: &JointRegion, confidence: f64) -> Option<Outline> {
    let values = [region.crr, region.cda_m2, region.var_crr, region.var_cda, region.covariance, region.dof];
    if values.iter().any(|v| v.is_nan()) || region.var_crr < 0.0 || region.var_cda < 0.0 || region.dof <= 0.0 {
        return None;
    }
    let radius = (2.0 * two_parameter_f_quantile(confidence, region.dof)).sqrt();
    let a = region.var_crr.sqrt();
    let b = if a > 0.0 { region.covariance / a } else { 0.0 };
    let c = (region.var_cda - b * b).max(0.0).sqrt();
    let angle = |i: usize| (i % CORNERS) as f64 * std::f64::consts::TAU / CORNERS as f64;
    let crr = (0..=CORNERS).map(|i| region.crr + radius * a * angle(i).cos()).collect();
    let cda = (0..=CORNERS).map(|i| region.cda_m2 + radius * (b * angle(i).cos() + c * angle(i).sin())).collect();
    Some(Outline { crr, cda })
}

/// See the module. `None` when no set-up has a region.
pub fn draw(solution: &Solution, evidence: &Evidence, style: &Style) -> Option<Figure> {
    let regions: Vec<(&JointRegion, Outline)> = evidence
        .regions
        .iter()
        .filter_map(|region| outline(region, solution.confidence).map(|outline| (region, outline)))
        .collect();
    let x = Range::of(regions.iter().flat_map(|(_, o)| o.crr.iter().copied()))?.padded(0.06);
    let y = Range::of(regions.iter().flat_map(|(_, o)| o.cda.iter().copied()))?.padded(0.06);

    let names = names(solution);
    let mut sheet = Sheet::new(*style);
    let share = percent(solution.confidence);
    let title = format!("CdA and Crr together, {share} regions apart from instrument errors");
    let top = heading(&mut sheet, &title);
    let height = if style.narrow() { 56.0 } else { 78.0 };
    let ticks = y_ticks(&sheet, y, height);
    let frame_below = |sheet: &Sheet, top: f64| {
        let top = top + title_room(sheet);
        Frame { left: gutter(sheet, &[&ticks]), top, right: style.width() - 4.0, bottom: top + height }
    };
    let outlines: Vec<&Outline> = regions.iter().map(|(_, outline)| outline).collect();
    let shown: Vec<String> = regions.iter().map(|(r, _)| name_of(&names, r.setup, r.setup)).collect();
    let mut panel = Panel::new(frame_below(&sheet, top), x, y);
    // Names stand at their curves; where they have no room, in a key above.
    let places = if regions.len() > 1 { beside_curves(&sheet, &panel, &outlines, &shown) } else { Some(Vec::new()) };
    if places.is_none() {
        let entries = key::set_ups(&sheet, &names);
        let top = strip(&mut sheet, top, &entries);
        panel = Panel::new(frame_below(&sheet, top), x, y);
    }
    panel.y_axis(&mut sheet, &ticks, "CdA, m²");
    let x_marks = x_ticks(&sheet, x, panel.frame.width());
    for value in &x_marks.values {
        panel.upright(&mut sheet, *value, Stroke::new(super::style::GRID, 0.15));
    }
    for ((region, outline), name) in regions.iter().zip(&shown) {
        let identity = style.identity(region.setup);
        let tip = format!("{name}: Crr {}, CdA {} m²", number(region.crr, 5, style), number(region.cda_m2, 4, style));
        let stroke = Stroke::new(identity.ink, 0.4).dashed(identity.dash);
        panel.line(&mut sheet, &outline.crr, &outline.cda, stroke, &Note::tip(tip));
    }
    for ((region, _), name) in regions.iter().zip(&shown) {
        let place = panel.place(region.crr, region.cda_m2);
        marker(&mut sheet, place, &style.identity(region.setup), 1.1, &Note::tip(name.clone()));
    }
    for ((region, _), (label, name)) in regions.iter().zip(places.iter().flatten().zip(&shown)) {
        let base = (label.top + label.bottom) / 2.0 + style.size(Letters::Small) * 0.36;
        let mark = Point::new(label.left + 1.2, (label.top + label.bottom) / 2.0);
        marker(&mut sheet, mark, &style.identity(region.setup), 0.8, &Note::default());
        sheet.words(Point::new(label.left + MARK, base), name, Letters::Small, Anchor::Start, TEXT);
    }
    let bottom = panel.x_axis(&mut sheet, &x_marks, "Crr");
    let caption = format!(
        "Joint {share} region of CdA and Crr for each set-up, as far as laps and expectations tell them, apart from what \
         instruments and changes from run to run add; the intervals of the table hold these too and are wider. The mark is the \
         estimate. A long slanting region means that one coefficient can be traded for the other: a wider spread of speed \
         shortens it."
    );
    Figure::of(sheet, bottom + 1.0, "joint-region", title, caption)
}

/// Room before the name for its mark, mm.
const MARK: f64 = 3.0;

/// A place for each name just outside its own curve, clear of every curve and name; `None` where one has none.
fn beside_curves(sheet: &Sheet, panel: &Panel, outlines: &[&Outline], names: &[String]) -> Option<Vec<Frame>> {
    let places = |outline: &Outline| -> Vec<Point> {
        outline.crr.iter().zip(&outline.cda).map(|(x, y)| panel.place(*x, *y)).collect()
    };
    let curves: Vec<Vec<Point>> = outlines.iter().map(|outline| places(outline)).collect();
    let height = sheet.style.size(Letters::Small);
    let mut taken: Vec<Frame> = Vec::new();
    for (curve, name) in curves.iter().zip(names) {
        let width = MARK + sheet.width_of(name, Letters::Small);
        let middle = curve.iter().fold(Point::new(0.0, 0.0), |sum, p| Point::new(sum.x + p.x, sum.y + p.y));
        let count = curve.len().max(1) as f64;
        let middle = Point::new(middle.x / count, middle.y / count);
        let label =
            curve.iter().flat_map(|corner| [1.2, 2.6].map(|away| (corner, away))).find_map(|(corner, away)| {
                let (dx, dy) = (corner.x - middle.x, corner.y - middle.y);
                let far = dx.hypot(dy).max(1e-9);
                let centre =
                    Point::new(corner.x + dx / far * (away + width / 2.0), corner.y + dy / far * (away + height / 2.0));
                let label = Frame {
                    left: centre.x - width / 2.0,
                    right: centre.x + width / 2.0,
                    top: centre.y - height * 0.6,
                    bottom: centre.y + height * 0.6,
                };
                let inside = label.left > panel.frame.left + 0.5
                    && label.right < panel.frame.right
                    && label.top > panel.frame.top
                    && label.bottom < panel.frame.bottom - 0.5;
                let clear =
                    curves.iter().all(|other| !crosses(other, &label)) && taken.iter().all(|t| apart(t, &label));
                (inside && clear).then_some(label)
            })?;
        taken.push(label);
    }
    Some(taken)
}

fn apart(a: &Frame, b: &Frame) -> bool {
    a.right + 0.5 < b.left || b.right + 0.5 < a.left || a.bottom + 0.3 < b.top || b.bottom + 0.3 < a.top
}

/// Whether a curve comes near a box or surrounds it.
fn crosses(curve: &[Point], label: &Frame) -> bool {
    let near = |p: Point| {
        p.x > label.left - 0.8 && p.x < label.right + 0.8 && p.y > label.top - 0.8 && p.y < label.bottom + 0.8
    };
    let touched = curve.windows(2).any(|pair| {
        (0..=8).any(|k| {
            let t = f64::from(k) / 8.0;
            near(Point::new(pair[0].x + t * (pair[1].x - pair[0].x), pair[0].y + t * (pair[1].y - pair[0].y)))
        })
    });
    let (x, y) = ((label.left + label.right) / 2.0, (label.top + label.bottom) / 2.0);
    let inside = curve
        .windows(2)
        .filter(|pair| {
            let (a, b) = (pair[0], pair[1]);
            (a.y > y) != (b.y > y) && x < a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x)
        })
        .count();
    touched || inside % 2 == 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_corner_lies_on_the_ellipse() {
        let region = JointRegion {
            setup: 0,
            crr: 0.0045,
            cda_m2: 0.31,
            var_crr: 1e-8,
            var_cda: 4e-6,
            covariance: -1.8e-7,
            dof: 12.0,
        };
        let outline = outline(&region, 0.95).unwrap();
        let det = region.var_crr * region.var_cda - region.covariance * region.covariance;
        for (crr, cda) in outline.crr.iter().zip(&outline.cda) {
            let (u, w) = (crr - region.crr, cda - region.cda_m2);
            let form = (region.var_cda * u * u - 2.0 * region.covariance * u * w + region.var_crr * w * w) / det;
            // F(0.95; 2, 12) = 3.8853: any printed table.
            assert!((form / (2.0 * 3.8853) - 1.0).abs() < 1e-4);
        }
    }

    #[test]
    fn a_covariance_that_makes_no_sense_gives_no_region() {
        let region = JointRegion { var_crr: -1.0, dof: 5.0, ..JointRegion::default() };
        assert!(outline(&region, 0.95).is_none());
        assert!(outline(&JointRegion { crr: f64::NAN, dof: 5.0, ..JointRegion::default() }, 0.95).is_none());
    }
}
