//! The budget checked by random draws of all its inputs, on the sample days.

use crate::sample_folder::inputs;
use loopwright::analysis::{Depth, Draws, analyse_with_draws};
use loopwright::report::monte_carlo::check;
use loopwright::solution::Solution;
use std::sync::atomic::{AtomicUsize, Ordering};

fn drawn(name: &str, number: usize) -> (Solution, usize) {
    let seen = AtomicUsize::new(0);
    let at_each = || {
        seen.fetch_add(1, Ordering::Relaxed);
    };
    let wish = Draws { number, at_each: &at_each };
    let solution = analyse_with_draws(&inputs(name), Depth::default(), Some(wish)).expect("a solution").solution;
    (solution, seen.into_inner())
}

/// Draws of the chain have the standard deviation that the budget says: to first order the same by the law of
/// propagation, and `number` draws tell a standard deviation to 1/√(2 number).
fn chain_is_as_the_budget_says(solution: &Solution, number: usize) {
    let made = solution.monte_carlo.as_ref().expect("a check");
    assert_eq!(made.draws, number);
    for r in &made.results {
        let (a, b) = (r.instrument_se.expect("draws"), r.budget_instrument_se.expect("a budget"));
        let allowed = 4.0 / (2.0 * number as f64).sqrt() + 0.02;
        assert!((a / b - 1.0).abs() < allowed, "{} {:?} {}: {a} and {b}", r.setup, r.baseline, r.quantity);
        assert_eq!(r.failed, 0);
    }
}

#[test]
fn a_day_on_the_road_is_as_its_budget_says() {
    let (solution, seen) = drawn("three-tyres", 1000);
    assert_eq!(seen, 1000);
    chain_is_as_the_budget_says(&solution, 1000);
    // Three set-ups and two differences in Crr, CdA and watts, less the two differences of the shared CdA.
    assert_eq!(solution.monte_carlo.as_ref().map(|m| m.results.len()), Some(13));
    let text = check(&solution, 80);
    assert!(text.contains("Check by 1000 draws") && text.lines().all(|l| l.chars().count() <= 80), "{text}");
}

#[test]
fn a_day_on_rollers_is_as_its_budget_says() {
    let (solution, _) = drawn("tyres-on-rollers", 20_000);
    chain_is_as_the_budget_says(&solution, 20_000);
    let values = solution.monte_carlo.as_ref().map(|m| m.results.iter().filter(|r| r.baseline.is_none()).count());
    assert_eq!(values, Some(6));
}

#[test]
fn a_day_on_both_is_drawn_for_on_both() {
    let (solution, seen) = drawn("road-and-rollers", 1000);
    assert_eq!(seen, 2000);
    let made = solution.monte_carlo.as_ref().expect("a check");
    for venue in ["road", "rollers"] {
        assert!(made.results.iter().any(|r| r.venue == venue), "{venue}");
    }
    chain_is_as_the_budget_says(&solution, 1000);
}

#[test]
fn threads_do_not_change_a_draw() {
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        serde_json::to_string(&pool.install(|| drawn("two-positions", 1000)).0.monte_carlo).expect("JSON")
    };
    assert_eq!(on(1), on(3));
}

#[test]
fn more_numbers_than_can_be_kept_are_refused_with_what_can() {
    let mut many = inputs("tyres-on-rollers");
    // The check is made before a draw: 13 quantities twice over for a number of draws beyond every limit.
    many.session.solve.seed = 3;
    let wish = Draws { number: 50_000_000, at_each: &|| () };
    let message = match analyse_with_draws(&many, Depth::default(), Some(wish)) {
        Err(e) => e.to_string(),
        Ok(_) => panic!("so many numbers are refused"),
    };
    assert!(message.starts_with("--monte-carlo: 50000000 draws of 10 quantities"), "{message}");
    assert!(message.contains("draw 1000000 at most"), "{message}");
}
