//! What of a budget may be written where CdA and Crr cannot be told apart.
//!
//! Given the lines of a budget and what is known all the same; takes out what rests on unknown values and puts in what
//! each source does to the resistance at the mean speed. It propagates nothing.

use crate::solution::{BudgetLine, Contribution};

/// See the module. `drag_n` gives what a source does to the resistance of the baseline; `differences_known` tells which of Crr,
/// CdA and watts of a comparison with the baseline, by its place, are known.
pub fn of_what_is_known(
    lines: Vec<BudgetLine>,
    drag_n: impl Fn(&str) -> Option<f64>,
    differences_known: &[[bool; 3]],
) -> Vec<BudgetLine> {
    let unknown = |c: Contribution| Contribution { setup: c.setup, ..Contribution::default() };
    let keep = |c: Contribution, [crr, cda_m2, power_w]: [bool; 3]| Contribution {
        crr: c.crr.filter(|_| crr),
        cda_m2: c.cda_m2.filter(|_| cda_m2),
        power_w: c.power_w.filter(|_| power_w),
        ..c
    };
    let mut out: Vec<BudgetLine> = lines
        .into_iter()
        .map(|line| BudgetLine {
            crr: None,
            cda_m2: None,
            power_w: None,
            drag_n: drag_n(&line.source),
            setups: line.setups.into_iter().map(unknown).collect(),
            contrasts: line.contrasts.into_iter().zip(differences_known).map(|(c, known)| keep(c, *known)).collect(),
            ..line
        })
        .collect();
    // A source of which nothing is known says nothing.
    let told = |c: &Contribution| c.crr.is_some() || c.cda_m2.is_some() || c.power_w.is_some();
    out.retain(|line| line.drag_n.is_some_and(|n| n > 0.0) || line.contrasts.iter().any(told));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(source: &str) -> BudgetLine {
        let all = |setup: &str| Contribution {
            setup: setup.into(),
            crr: Some(1e-5),
            cda_m2: Some(0.001),
            power_w: Some(0.5),
        };
        BudgetLine {
            source: source.into(),
            crr: Some(1e-5),
            cda_m2: Some(0.001),
            power_w: Some(0.5),
            setups: vec![all("a"), all("b")],
            contrasts: vec![all("b")],
            ..BudgetLine::default()
        }
    }

    #[test]
    fn a_budget_of_unknown_values_holds_the_resistance_and_nothing_else() {
        let drag = |source: &str| Some(if source == "power scale" { 0.2 } else { 0.0 });
        let lines = of_what_is_known(vec![line("power scale"), line("mass")], drag, &[[false; 3]]);
        assert_eq!(lines.len(), 1);
        assert_eq!((lines[0].drag_n, lines[0].crr, lines[0].power_w), (Some(0.2), None, None));
        assert!(lines[0].setups.iter().chain(&lines[0].contrasts).all(|c| c.crr.is_none() && c.power_w.is_none()));
    }

    #[test]
    fn a_difference_that_is_known_keeps_its_budget() {
        let lines = of_what_is_known(vec![line("mass")], |_| None, &[[false, false, true]]);
        assert_eq!((lines[0].contrasts[0].power_w, lines[0].contrasts[0].crr), (Some(0.5), None));
        assert_eq!(lines[0].setups[0].power_w, None);
    }
}
