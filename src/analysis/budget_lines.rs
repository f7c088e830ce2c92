//! The uncertainty budget as it is written: one line a source, for every set-up and every difference.
//!
//! Given a budget of any venue; gives lines. It propagates nothing.

use super::contrasts::Pair;
use super::instrument::InstrumentBudget;
use crate::session::Session;
use crate::solution::{BudgetLine, Contribution, PairContribution, Quantity};

/// Independent repeats of one kind, such as the weighing of each run, make one line. `differences` are those with the
/// baseline; common errors cancel there.
pub fn budget_lines(budget: &InstrumentBudget, session: &Session, differences: &[Pair]) -> Vec<BudgetLine> {
    let contribution = |group: &str, setup: usize, of: &dyn Fn(Quantity) -> Vec<f64>| Contribution {
        setup: session.setups[setup].id.clone(),
        crr: Some(budget.contribution(group, &of(Quantity::Crr))),
        cda_m2: Some(budget.contribution(group, &of(Quantity::Cda))),
        power_w: Some(budget.contribution(group, &of(Quantity::Power))),
    };
    let of_pair = |group: &str, p: &Pair| {
        let of = |output| Some(budget.contribution(group, &budget.of_difference(p.setup, p.baseline, output)));
        PairContribution {
            setup: session.setups[p.setup].id.clone(),
            baseline: session.setups[p.baseline].id.clone(),
            crr: of(Quantity::Crr),
            cda_m2: of(Quantity::Cda),
            power_w: of(Quantity::Power),
        }
    };
    let all = Pair::all(session);
    let mut lines: Vec<BudgetLine> = Vec::new();
    for (source, group) in budget.budget.sources().iter().zip(&budget.group) {
        if lines.iter().any(|l| l.source == *group) {
            continue;
        }
        let setups: Vec<Contribution> =
            (0..budget.setups).map(|s| contribution(group, s, &|o| budget.of_setup(s, o))).collect();
        let first = setups.get(session.baseline()).cloned().unwrap_or_default();
        lines.push(BudgetLine {
            source: group.to_string(),
            standard_uncertainty: source.standard_uncertainty,
            unit: source.unit.clone(),
            crr: first.crr,
            cda_m2: first.cda_m2,
            power_w: first.power_w,
            drag_n: None,
            contrasts: differences
                .iter()
                .map(|p| contribution(group, p.setup, &|o| budget.of_difference(p.setup, p.baseline, o)))
                .collect(),
            setups,
            pairs: all.iter().map(|p| of_pair(group, p)).collect(),
        });
    }
    lines
}
