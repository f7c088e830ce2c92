//! What of a budget may be written where CdA and Crr cannot be told apart.
//!
//! Given the lines of a budget and what is known all the same; takes out what rests on unknown values and puts in what
//! each source does to the resistance at the mean speed. It propagates nothing else.

use crate::solution::{BudgetLine, Contribution};

/// A resistance that is known, with the relative standard uncertainties that scale it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownDrag {
    pub drag_n: f64,
    /// Names of sources whose relative standard uncertainty is that of the resistance, by the equation F = η P / v.
    pub scales: [(&'static str, f64); 3],
    /// What a wind that was not allowed for adds, N, and its standard uncertainty, m/s.
    pub unseen_wind: Option<(f64, f64)>,
}

/// Name of the line for a wind that was not allowed for.
const UNSEEN_WIND: &str = "wind not allowed for";

/// See the module. `differences_known` tells whether a comparison with the baseline, by its place, is known.
pub fn of_what_is_known(
    lines: Vec<BudgetLine>,
    drag: Option<KnownDrag>,
    differences_known: &[bool],
) -> Vec<BudgetLine> {
    let unknown = |c: Contribution| Contribution { setup: c.setup, ..Contribution::default() };
    let scaled = |source: &str| {
        let drag = drag?;
        let (_, relative) = drag.scales.iter().find(|(name, _)| *name == source)?;
        Some(drag.drag_n * relative)
    };
    let mut out: Vec<BudgetLine> = lines
        .into_iter()
        .map(|line| BudgetLine {
            crr: None,
            cda_m2: None,
            power_w: None,
            drag_n: scaled(&line.source),
            setups: line.setups.into_iter().map(unknown).collect(),
            contrasts: line
                .contrasts
                .into_iter()
                .zip(differences_known)
                .map(|(c, known)| if *known { c } else { unknown(c) })
                .collect(),
            ..line
        })
        .collect();
    if let Some((drag_n, wind_m_s)) = drag.and_then(|d| d.unseen_wind) {
        out.push(BudgetLine {
            source: UNSEEN_WIND.into(),
            standard_uncertainty: wind_m_s,
            unit: "m/s".into(),
            drag_n: Some(drag_n),
            ..BudgetLine::default()
        });
    }
    // A source of which nothing is known says nothing.
    let told = |c: &Contribution| c.crr.is_some() || c.cda_m2.is_some() || c.power_w.is_some();
    out.retain(|line| line.drag_n.is_some() || line.contrasts.iter().any(told));
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
        // 1 % of 20 N by hand.
        let drag =
            KnownDrag { drag_n: 20.0, scales: [("power scale", 0.01), ("b", 0.0), ("c", 0.0)], unseen_wind: None };
        let lines = of_what_is_known(vec![line("power scale"), line("mass")], Some(drag), &[false]);
        assert_eq!(lines.len(), 1);
        assert_eq!((lines[0].drag_n, lines[0].crr, lines[0].power_w), (Some(0.2), None, None));
        assert!(lines[0].setups.iter().chain(&lines[0].contrasts).all(|c| c.crr.is_none() && c.power_w.is_none()));
    }

    #[test]
    fn a_difference_that_is_known_keeps_its_budget() {
        let lines = of_what_is_known(vec![line("mass")], None, &[true]);
        assert_eq!(lines[0].contrasts[0].power_w, Some(0.5));
        assert_eq!(lines[0].setups[0].power_w, None);
    }
}
