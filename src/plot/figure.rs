//! A drawn figure, and what all figures say alike: names of set-ups, the reference speed, and what is not known.
//!
//! Given a finished sheet or a solution; gives a figure or words. It draws nothing.

use super::scale;
use super::sheet::Sheet;
use super::style::Style;
use super::svg::Naming;
use crate::solution::Solution;
pub(super) use crate::wording::{counted, percent};
use serde::Serialize;

/// A drawn figure with the words that go with it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// File name without extension.
    pub name: &'static str,
    pub title: String,
    pub svg: String,
    /// The same as PNG, where the style asks for pictures and the sheet is not too large for one (metres).
    #[serde(skip)]
    pub png: Option<Vec<u8>>,
    /// For the write-up: what is drawn, how many, what the marks mean.
    pub caption: String,
}

impl Figure {
    /// Finishes a sheet; the caption also serves those who do not see the figure.
    pub(super) fn of(
        sheet: Sheet,
        height_mm: f64,
        name: &'static str,
        title: impl Into<String>,
        caption: impl Into<String>,
    ) -> Option<Figure> {
        let (title, caption) = (title.into(), caption.into());
        let naming = Naming { name, title: title.clone(), description: caption.clone() };
        let png = if sheet.style.picture { sheet.picture(height_mm) } else { None };
        Some(Figure { name, title, svg: sheet.finish(height_mm, &naming)?, png, caption })
    }
}

/// What a figure that rests on CdA and Crr says where they are not known.
pub(super) fn without_values(solution: &Solution) -> &'static str {
    if solution.separable {
        return "";
    }
    " CdA and Crr are not known here; this is drawn with one of the many pairs that fit as well, so that laps agree says nothing \
     of either."
}

/// Label of each set-up, or its id, or its number.
pub(super) fn names(solution: &Solution) -> Vec<String> {
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
pub(super) fn reference_speed(solution: &Solution, style: &Style) -> String {
    let speed = style.units.speed_value(crate::quantity::m_s_from_km_h(solution.reference.speed_km_h));
    // A speed that nobody rides has no room on a sheet.
    let shown = if speed.abs() < 1e4 { scale::plain(speed, style) } else { "–".into() };
    format!("{shown} {}", style.units.speed_unit())
}

/// Name of the set-up with this index, `run n` where the index points nowhere.
pub(super) fn name_of(names: &[String], setup: usize, run: usize) -> String {
    names.get(setup).cloned().unwrap_or_else(|| format!("run {}", run + 1))
}
