//! The table of differences between set-ups: for the terminal, the page and `differences.csv`.
//!
//! Given contrasts that were judged elsewhere; gives a table. A difference that is zero because both set-ups share the value
//! reads "shared".

use super::number::{p_value, significant};
use super::table::{Cell, Column, PARTS, Parts, Readers, Table};
use super::verdict::name_of;
use crate::solution::{Contrast, Solution};

/// Parts of an interval stand under it on the page alone: on a terminal they would double the height.
const ON_PAGE: Parts = Parts { on_terminal: false, ..PARTS };

/// Which names stand in the first column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Naming {
    /// The set-up; the baseline is told elsewhere.
    Setup,
    /// "A less B".
    Pair,
}

/// See the module.
pub fn table(solution: &Solution, contrasts: &[Contrast], naming: Naming) -> Table {
    let first = match naming {
        Naming::Setup => "Set-up",
        Naming::Pair => "Pair",
    };
    let mut table = Table::new(vec![
        Column::words("setup", "").only(Readers::Files),
        Column::words("baseline", "").only(Readers::Files),
        Column::words("name", first).only(Readers::People),
        Column::words("verdict", "Verdict").only(Readers::Page),
        Column::estimates("power_w", "W", ON_PAGE),
        Column::estimates("crr", "Crr", ON_PAGE),
        Column::estimates("cda_m2", "CdA, m²", ON_PAGE),
        Column::numbers("p_value", "").only(Readers::Files),
        Column::numbers("p_holm", "p"),
        Column::numbers("detectable_power_w", "SDD,\nW").only(Readers::Terminal),
        Column::numbers("detectable_power_w", "Smallest detectable difference, W").only(Readers::Page),
        Column::numbers("detectable_power_w", "").only(Readers::Files),
        Column::words("verdict", "Verdict").only(Readers::Terminal),
        Column::words("verdict", "").only(Readers::Files),
    ]);
    for contrast in contrasts {
        let setup = name_of(solution, &contrast.setup);
        let name = match naming {
            Naming::Setup => setup,
            Naming::Pair => format!("{setup} less {}", name_of(solution, &contrast.baseline)),
        };
        let detectable = || Cell::number(contrast.detectable_power_w, |w| significant(w, 2));
        table.push(vec![
            Cell::words(&contrast.setup),
            Cell::words(&contrast.baseline),
            Cell::words(name),
            Cell::words(&contrast.verdict),
            Cell::Difference(contrast.power_w),
            Cell::Difference(contrast.crr),
            Cell::Difference(contrast.cda_m2),
            Cell::number(contrast.p_value, |p| p_value(Some(p))),
            Cell::number(contrast.p_holm, |p| p_value(Some(p))),
            detectable(),
            detectable(),
            detectable(),
            Cell::words(&contrast.verdict),
            Cell::words(&contrast.verdict),
        ]);
    }
    table
}
