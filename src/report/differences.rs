//! The table of differences between set-ups, for the terminal and, for every pair, for the page.
//!
//! Given contrasts that were judged elsewhere; gives rows of text. A difference that is zero because both set-ups share
//! the value reads "shared".

use super::number::{SHARED, UNKNOWN, is_shared, p_value, shown, significant};
use super::table::Grid;
use super::verdict::name_of;
use crate::solution::{Contrast, Estimate, Solution};

/// Which names stand in the first column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Naming {
    /// The set-up; the baseline is told elsewhere.
    Setup,
    /// "A less B".
    Pair,
}

/// See the module. Value and half-width stand under each other.
pub fn grid(solution: &Solution, contrasts: &[Contrast], naming: Naming) -> Grid {
    let first = match naming {
        Naming::Setup => "Set-up",
        Naming::Pair => "Pair",
    };
    let mut grid = Grid::new(&[first, "W", "Crr", "CdA, m²", "p", "Would\nfind, W", "Verdict"]);
    for contrast in contrasts {
        let setup = name_of(solution, &contrast.setup);
        grid.rows.push(vec![
            match naming {
                Naming::Setup => setup,
                Naming::Pair => format!("{setup} less {}", name_of(solution, &contrast.baseline)),
            },
            signed(&contrast.power_w),
            signed(&contrast.crr),
            signed(&contrast.cda_m2),
            p_value(contrast.p_holm),
            contrast.detectable_power_w.map_or(UNKNOWN.into(), |w| significant(w, 2)),
            contrast.verdict.clone(),
        ]);
    }
    grid.without_empty(UNKNOWN)
}

/// "+0.00011" over "± 0.00020", "shared" or "–".
pub fn signed(difference: &Estimate) -> String {
    if is_shared(difference) {
        return SHARED.into();
    }
    let shown = shown(difference);
    let sign = if difference.value.is_some_and(|v| v > 0.0) { "+" } else { "" };
    let half = if shown.half.is_empty() { String::new() } else { format!("\n{}", shown.half) };
    if shown.known { format!("{sign}{}{half}", shown.value) } else { UNKNOWN.into() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shared_value_is_not_told_as_a_measured_zero() {
        // The schema gives a difference that is held a value and no error.
        assert_eq!(signed(&Estimate { value: Some(0.0), ..Estimate::default() }), "shared");
        let measured =
            Estimate { value: Some(0.0), se: Some(0.1), low: Some(-0.2), high: Some(0.2), ..Estimate::default() };
        assert_eq!(signed(&measured), "0.00\n± 0.20");
        assert_eq!(signed(&Estimate::default()), "–");
    }
}
