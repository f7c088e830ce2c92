//! Figures as SVG text, one a file, in one style.
//!
//! Given the solution and the series beside it; each `draw` gives a [`Figure`], or `None` when there is nothing of its
//! kind to show. Pure: the same input gives the same bytes, and no value of a file can make it panic. It computes
//! nothing that is not in its input except places on paper.

pub mod budget;
pub mod curves;
pub mod differences;
pub mod elevation;
pub mod factor_curve;
pub mod factor_effects;
pub mod forest;
pub mod inspection;
pub mod joint_region;
mod key;
pub mod lettering;
pub mod map;
mod marker;
mod mean_line;
pub mod misclosure;
mod panel;
mod polyline;
pub mod residuals;
mod rows;
pub mod run_residual;
mod scale;
pub mod set_ups;
mod sheet;
mod side_label;
mod stretches;
mod strips;
pub mod style;
mod svg;
pub mod timeline;
pub mod venues;
pub mod warm_up;
pub mod wind_along;
mod wind_dial;

pub use style::Style;

use crate::evidence::Evidence;
use crate::solution::Solution;
use crate::wording::{counted, percent};
use serde::Serialize;

/// A drawn figure with the words that go with it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// File name without extension.
    pub name: &'static str,
    pub title: String,
    pub svg: String,
    /// For the write-up: what is drawn, how many, what the marks mean.
    pub caption: String,
}

impl Figure {
    /// Finishes a sheet; the caption also serves those who do not see the figure.
    fn of(
        sheet: sheet::Sheet,
        height_mm: f64,
        name: &'static str,
        title: impl Into<String>,
        caption: impl Into<String>,
    ) -> Option<Figure> {
        let (title, caption) = (title.into(), caption.into());
        let naming = svg::Naming { name, title: title.clone(), description: caption.clone() };
        Some(Figure { name, title, svg: sheet.finish(height_mm, &naming)?, caption })
    }
}

/// Every figure for which there are data, in the order of the report.
pub fn draw_all(solution: &Solution, evidence: &Evidence, style: &Style) -> Vec<Figure> {
    [
        differences::draw,
        set_ups::draw,
        factor_curve::draw,
        factor_effects::draw,
        venues::draw,
        elevation::draw,
        residuals::draw,
        misclosure::draw,
        run_residual::draw,
        warm_up::draw,
        budget::draw,
        joint_region::draw,
        timeline::draw,
        map::draw,
        wind_along::draw,
    ]
    .iter()
    .filter_map(|draw| draw(solution, evidence, style))
    .collect()
}

/// What a figure that rests on CdA and Crr says where they are not known.
fn without_values(solution: &Solution) -> &'static str {
    if solution.separable {
        return "";
    }
    " CdA and Crr are not known here: this is drawn with one pair of the many that fit as well, and because all give nearly \
     one resistance at the speed ridden, the curves look nearly the same with any; that they agree says nothing of either."
}

/// Label of each set-up, or its id, or its number.
fn names(solution: &Solution) -> Vec<String> {
    solution
        .setups
        .iter()
        .enumerate()
        .map(|(index, setup)| match (setup.label.trim(), setup.id.trim()) {
            ("", "") => format!("set-up {}", index + 1),
            ("", id) => id.to_string(),
            (label, _) => label.to_string(),
        })
        .collect()
}

/// Reference speed in the reader's unit, "40 km/h".
fn reference_speed(solution: &Solution, style: &Style) -> String {
    let speed = style.units.speed_value(crate::quantity::m_s_from_km_h(solution.reference.speed_km_h));
    // A speed that nobody rides has no room on a sheet.
    let shown = if speed.abs() < 1e4 { scale::plain(speed, style) } else { "–".into() };
    format!("{shown} {}", style.units.speed_unit())
}

/// Name of the set-up with this index, `run n` where the index points nowhere.
fn name_of(names: &[String], setup: usize, run: usize) -> String {
    names.get(setup).cloned().unwrap_or_else(|| format!("run {}", run + 1))
}
