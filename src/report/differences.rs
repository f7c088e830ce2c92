//! The table of differences between set-ups: for the terminal, the page and `differences.csv`.
//!
//! Given contrasts that were judged elsewhere; gives a table. A difference that is zero because both set-ups share the value
//! reads "shared".

use super::number::{fixed, p_value};
use super::table::{Cell, Column, PARTS, Parts, Readers, Table};
use super::verdict::name_of;
use crate::solution::{Contrast, Solution};

/// Parts of an interval stand under it on the page alone: on a terminal they would double the height.
const ON_PAGE: Parts = Parts { on_terminal: false, ..PARTS };

/// The same comparison in another family: against the baseline alone, or among all pairs.
fn same<'a>(family: &'a [Contrast], contrast: &Contrast) -> Option<&'a Contrast> {
    family.iter().find(|c| c.is_between(&contrast.setup, &contrast.baseline))
}

/// Decimals that give the smallest of a column two digits.
fn detectable_decimals(contrasts: &[Contrast]) -> usize {
    let smallest =
        contrasts.iter().filter_map(|c| c.detectable_power_w).filter(|w| *w > 0.0).fold(f64::INFINITY, f64::min);
    if smallest.is_finite() { (1.0 - smallest.log10().floor()).clamp(0.0, 3.0) as usize } else { 0 }
}

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
        Column::numbers("p_holm", "p").only(Readers::People),
        Column::numbers("p_holm", "").only(Readers::Files),
        Column::numbers("p_holm_all_pairs", "").only(Readers::Files),
        Column::numbers("detectable_power_w", "SDD,\nW").only(Readers::Terminal),
        Column::numbers("detectable_power_w", "Smallest detectable difference, W").only(Readers::Page),
        Column::numbers("detectable_power_w", "").only(Readers::Files),
        Column::words("verdict", "Verdict").only(Readers::Terminal),
        Column::words("verdict", "").only(Readers::Files),
        Column::words("verdict_all_pairs", "").only(Readers::Files),
    ]);
    let decimals = detectable_decimals(contrasts);
    for contrast in contrasts {
        let setup = name_of(solution, &contrast.setup);
        let name = match naming {
            Naming::Setup => setup,
            Naming::Pair => format!("{setup} less {}", name_of(solution, &contrast.baseline)),
        };
        let of_baseline = same(&solution.contrasts, contrast);
        let of_pairs = same(&solution.all_pairs, contrast);
        let detectable = || Cell::number(contrast.detectable_power_w, |w| fixed(Some(w), decimals));
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
            Cell::number(of_baseline.and_then(|c| c.p_holm), |p| p_value(Some(p))),
            Cell::number(of_pairs.and_then(|c| c.p_holm), |p| p_value(Some(p))),
            detectable(),
            detectable(),
            detectable(),
            Cell::words(&contrast.verdict),
            Cell::maybe(of_baseline.map(|c| c.verdict.clone())),
            Cell::maybe(of_pairs.map(|c| c.verdict.clone())),
        ]);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_tells_both_families_apart_and_a_column_has_one_number_of_decimals() {
        let contrast = |setup: &str, baseline: &str, p, verdict: &str, detectable| Contrast {
            setup: setup.into(),
            baseline: baseline.into(),
            p_holm: Some(p),
            verdict: verdict.into(),
            detectable_power_w: Some(detectable),
            ..Contrast::default()
        };
        let solution = Solution {
            contrasts: vec![contrast("b", "a", 0.04, "separated", 3.0)],
            all_pairs: vec![
                contrast("b", "a", 0.06, "not separated", 3.0),
                contrast("c", "b", 0.5, "not separated", 2.66),
            ],
            ..Solution::default()
        };
        let table = table(&solution, &solution.all_pairs, Naming::Pair);
        let csv = String::from_utf8(table.csv().unwrap()).unwrap();
        let mut rows = csv::Reader::from_reader(csv.as_bytes());
        let heads = rows.headers().unwrap().clone();
        let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
        let cell = |row: usize, name: &str| rows[row][heads.iter().position(|h| h == name).unwrap()].to_string();
        assert_eq!((cell(0, "p_holm"), cell(0, "p_holm_all_pairs")), ("0.04".into(), "0.06".into()));
        assert_eq!((cell(0, "verdict"), cell(0, "verdict_all_pairs")), ("separated".into(), "not separated".into()));
        assert_eq!((cell(1, "p_holm"), cell(1, "verdict")), (String::new(), String::new()));
        let text = table.text(100);
        assert!(text.contains("3.0") && text.contains("2.7"), "{text}");
    }
}
