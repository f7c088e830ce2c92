//! Figure `joint-region`: where CdA and Crr of each set-up lie together.
//!
//! Given centre and covariance; draws the ellipse d ᵀ V⁻¹ d = 2 F(confidence; 2, dof), the region that holds both
//! values at once in the stated share of repeats (Draper & Smith 1998, *Applied Regression Analysis*, §5.4). It
//! estimates nothing.

use super::figure::{Figure, name_of, names, percent};
use super::key::{self, heading, strip};
use super::marker::marker;
use super::panel::{Panel, gutter, title_room, x_ticks, y_ticks};
use super::polyline::Frame;
use super::scale::{Range, number};
use super::sheet::{Note, Sheet};
use super::side_label::{self, SideLabel};
use super::style::{Stroke, Style};
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
    let title = format!("CdA and Crr together, {share} regions");
    let mut top = heading(&mut sheet, &title);
    let beside = !style.narrow() && regions.len() > 1;
    if !beside {
        let entries = key::set_ups(&sheet, &names);
        top = strip(&mut sheet, top, &entries);
    }
    let top = top + title_room(&sheet);
    let least = if style.narrow() { 56.0 } else { 78.0 };
    let height = if beside { side_label::height_needed(&sheet, regions.len()).max(least) } else { least };
    let ticks = y_ticks(&sheet, y, height);
    let shown: Vec<String> = regions.iter().map(|(r, _)| name_of(&names, r.setup, r.setup)).collect();
    let column = if beside { side_label::column(&sheet, &shown) } else { 0.0 };
    let right = style.width() - 4.0 - column;
    let frame = Frame { left: gutter(&sheet, &[&ticks]), top, right, bottom: top + height };
    let panel = Panel::new(frame, x, y);
    panel.y_axis(&mut sheet, &ticks, "CdA, m²");
    let x_marks = x_ticks(&sheet, x, frame.width());
    for value in &x_marks.values {
        panel.upright(&mut sheet, *value, Stroke::new(super::style::GRID, 0.15));
    }
    let mut labels = Vec::new();
    for (region, outline) in &regions {
        let identity = style.identity(region.setup);
        let name = name_of(&names, region.setup, region.setup);
        let tip = format!("{name}: Crr {}, CdA {} m²", number(region.crr, 5, style), number(region.cda_m2, 4, style));
        let stroke = Stroke::new(identity.ink, 0.4).dashed(identity.dash);
        panel.line(&mut sheet, &outline.crr, &outline.cda, stroke, &Note::tip(tip.clone()));
        labels.push(SideLabel { at: panel.place(region.crr, region.cda_m2), text: name, identity });
    }
    if beside {
        let column = Frame { left: right + 4.0, top, right: style.width() - key::MARGIN, bottom: frame.bottom };
        side_label::place(&mut sheet, &labels, column);
    }
    for (region, _) in &regions {
        let note = Note::tip(name_of(&names, region.setup, region.setup));
        let place = panel.place(region.crr, region.cda_m2);
        marker(&mut sheet, place, &style.identity(region.setup), 1.1, &note);
    }
    let bottom = panel.x_axis(&mut sheet, &x_marks, "Crr");
    let caption = format!(
        "Joint {share} confidence region of CdA and Crr for each set-up; the mark is the estimate. A long slanting region \
         means that one coefficient can be traded for the other: a wider spread of speed shortens it."
    );
    Figure::of(sheet, bottom + 1.0, "joint-region", title, caption)
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
