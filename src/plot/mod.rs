//! Figures as SVG text and, where asked, as PNG, one a file, in one style.
//!
//! Given the solution and the series beside it; each `draw` gives a [`Figure`], or `None` when there is nothing of its
//! kind to show. Pure: the same input gives the same bytes, and no value of a file can make it panic. It computes
//! nothing that is not in its input except places on paper.

pub mod budget;
mod canvas;
pub mod curves;
pub mod differences;
pub mod elevation;
pub mod factor_curve;
pub mod factor_effects;
mod figure;
pub mod forest;
pub mod inspection;
pub mod joint_region;
mod key;
mod letter_forms;
pub mod lettering;
pub mod map;
mod mark;
mod marker;
mod mean_line;
pub mod misclosure;
pub mod model_residual;
mod panel;
mod polyline;
mod picture;
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

pub use figure::Figure;
pub use letter_forms::letters_without_form;
pub use style::Style;

use crate::evidence::Evidence;
use crate::solution::Solution;

/// Every figure for which there are data, in the order of the report.
pub fn draw_all(solution: &Solution, evidence: &Evidence, style: &Style) -> Vec<Figure> {
    [
        differences::draw,
        factor_curve::draw,
        factor_effects::draw,
        set_ups::draw,
        venues::draw,
        elevation::draw,
        residuals::draw,
        model_residual::draw,
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
