//! The budget as a table: it adds up, it fits, it parts scatter from instruments.

use crate::made_up::{Request, day};
use crate::sample_folder::{inputs, solved};
use loopwright::report::Units;
use loopwright::report::budget::budgets;
use loopwright::solution::{BudgetLine, Contribution, Estimate};

/// Scatter, runs, what was expected and instrument make the whole, and the sources the last two.
fn adds_up(estimate: &Estimate, parts: &[Option<f64>], name: &str) {
    let (Some(se), Some(scatter), Some(instrument)) = (estimate.se, estimate.scatter_se, estimate.instrument_se) else {
        panic!("{name}: {estimate:?}")
    };
    let (prior, between) = (estimate.prior_se.unwrap_or(0.0), estimate.run_to_run_se.unwrap_or(0.0));
    let whole = [scatter, prior, between, instrument].map(|part| part * part).iter().sum::<f64>().sqrt();
    assert!((whole / se - 1.0).abs() < 1e-9, "{name}");
    let sum: f64 = parts.iter().map(|p| p.expect("a contribution").powi(2)).sum();
    let expected = prior.hypot(instrument);
    assert!((sum.sqrt() / expected - 1.0).abs() < 1e-9, "{name}: {} and {expected}", sum.sqrt());
}

#[test]
fn the_sources_of_a_solved_day_add_up_to_every_interval() {
    let solution = solved(&inputs("three-tyres"));
    let column =
        |pick: &dyn Fn(&BudgetLine) -> Option<f64>| -> Vec<Option<f64>> { solution.budget.iter().map(pick).collect() };
    let of = |list: &[Contribution], id: &str| list.iter().find(|c| c.setup == id).cloned().unwrap_or_default();
    for s in &solution.setups {
        adds_up(&s.crr, &column(&|l| of(&l.setups, &s.id).crr), &s.id);
        adds_up(&s.cda_m2, &column(&|l| of(&l.setups, &s.id).cda_m2), &s.id);
        adds_up(&s.power_w, &column(&|l| of(&l.setups, &s.id).power_w), &s.id);
    }
    for c in &solution.contrasts {
        adds_up(&c.power_w, &column(&|l| of(&l.contrasts, &c.setup).power_w), &c.setup);
    }
    for p in &solution.all_pairs {
        let pair = |l: &BudgetLine| l.pairs.iter().find(|q| q.setup == p.setup && q.baseline == p.baseline)?.crr;
        adds_up(&p.crr, &column(&pair), &format!("{} less {}", p.setup, p.baseline));
    }
}

#[test]
fn every_set_up_and_difference_has_a_table_that_parts_scatter_from_instruments() {
    let solution = day(Request::new(3, 8)).solution;
    let text = budgets(&solution, 80, Units::Metric);
    assert_eq!(text.matches("Uncertainty budget of").count(), 5, "{text}");
    for row in ["INSTRUMENT", "SCATTER", "Combined", "Expanded, 95 %", "Value"] {
        assert_eq!(text.matches(&format!("\n{row} ")).count(), 5, "{row}: {text}");
    }
    // Scatter 0.00006 and instruments 0.00009 make 0.00011; half-width 2.145 times that; rounded by one rule.
    assert!(text.contains("0.00023 (k 2.15)") && text.contains("0.00460"), "{text}");
    assert!(!budgets(&solution, 80, Units::Imperial).contains("km/h"));
}

#[test]
fn the_budget_fits_every_width_from_40_columns() {
    for request in [
        Request::new(1, 5),
        Request { long_names: true, ..Request::new(9, 3) },
        Request { rollers: true, ..Request::new(3, 10) },
        Request { separable: false, ..Request::new(2, 8) },
        Request { mixed: true, long_names: true, ..Request::new(4, 8) },
    ] {
        for width in [40, 64, 80, 100] {
            for line in budgets(&day(request).solution, width, Units::Metric).lines() {
                let columns: usize = line.chars().map(|c| if c as u32 >= 0x1100 && c != '─' { 2 } else { 1 }).sum();
                assert!(columns <= width, "{width}: {line}");
            }
        }
    }
}

#[test]
fn values_that_are_not_known_have_no_budget() {
    let mut solution = day(Request { separable: false, ..Request::new(1, 8) }).solution;
    solution.contrasts.clear();
    let text = budgets(&solution, 80, Units::Metric);
    assert!(text.contains("No result has an interval") && !text.contains("SCATTER"), "{text}");
}
