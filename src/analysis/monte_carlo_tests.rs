//! Tests of the check by random draws: what agrees, what differs, what is counted, and the same seed.

use super::*;

fn session() -> Session {
    let text = "[rider_and_bike]\nmass_kg = 80.0\n[[setup]]\nid = \"a\"\n[[setup]]\nid = \"b\"\n\
                [[run]]\nfile = \"1.fit\"\nsetup = \"a\"\n[[run]]\nfile = \"2.fit\"\nsetup = \"b\"\n";
    Session::from_toml(text, "session.toml").unwrap()
}

/// One set-up whose Crr is 0.005 with an instrument error of `instrument` and scatter of 0.00006 on 12 degrees.
fn solution(session: &Session, instrument: f64) -> Solution {
    use crate::analysis::known::Uncertain;
    use crate::uncertainty::budget::Combined;
    let scatter = Combined { standard_uncertainty: 0.00006, dof: 12.0 };
    let crr = Uncertain { instrument_se: Some(instrument), ..Uncertain::of_laps(0.005, scatter) }.estimate(0.95);
    let setup = SetupResult { id: session.setups[0].id.clone(), crr, ..SetupResult::default() };
    Solution { setups: vec![setup], ..Solution::default() }
}

fn run(change: &(dyn Fn(&[f64]) -> Option<Vec<f64>> + Sync), instrument: f64, number: usize) -> MonteCarlo {
    let session = session();
    let chain = Chain { venue: Venue::Road, inputs: 1, change };
    check(&session, &solution(&session, instrument), &chain, Draws { number, at_each: &|| () }).unwrap()
}

fn crr_alone(value: f64) -> Option<Vec<f64>> {
    Some(vec![value, 0.0, 0.0, 0.0, 0.0, 0.0])
}

#[test]
fn a_linear_chain_agrees_with_its_budget() {
    // The law of propagation is exact for linear effects; JCGM 101, 9.2 makes the same check.
    let found = run(&|z| crr_alone(0.00008 * z[0]), 0.00008, 60_000);
    assert_eq!(found.results.len(), 1);
    assert_eq!(found.results[0].verdict, "agrees", "{found:?}");
    assert!((found.results[0].instrument_se.unwrap() / 0.00008 - 1.0).abs() < 0.02);
    assert!(findings(&found).is_empty());
}

#[test]
fn a_bent_chain_differs_and_is_told() {
    // z² has mean 1 and no first-order effect, which is what a budget at ±u makes of it.
    let found = run(&|z| crr_alone(0.0004 * z[0] * z[0]), 0.0, 20_000);
    assert_eq!(found.results[0].verdict, "differs", "{found:?}");
    let told: Vec<&str> = findings(&found).iter().map(|f| f.what.code()).collect();
    assert_eq!(told, ["monte-carlo-differs"]);
}

#[test]
fn draws_without_an_answer_are_counted_and_told() {
    let found = run(&|z| if z[0] > 2.0 { None } else { crr_alone(0.00008 * z[0]) }, 0.00008, 5_000);
    // 2.3 % of a normal lie above 2; binomial deviation 0.2 %.
    assert!((80..150).contains(&found.results[0].failed), "{}", found.results[0].failed);
    assert!(findings(&found).iter().any(|f| f.what.code() == "draws-failed"));
}

#[test]
fn the_tolerance_is_half_a_unit_of_the_digit_that_counts() {
    // JCGM 101, 7.9.2 examples 1–3, with one digit: 0.03 g → 0.005 g, 2 V → 0.5 V, 0.8 K → 0.05 K; rounding first.
    for (u, delta) in [(0.03, 0.005), (2.0, 0.5), (0.8, 0.05), (0.000_096, 0.000_05)] {
        assert!((tolerance(u) / delta - 1.0).abs() < 1e-12, "{u}");
    }
}

#[test]
fn few_draws_are_not_taken_for_agreement() {
    assert_eq!(verdict(0.1, 1.0, 0.2), "agrees");
    assert_eq!(verdict(0.1, 1.0, 0.7), "too few draws");
    assert_eq!(verdict(1.3, 1.0, 0.2), "too few draws");
    assert_eq!(verdict(1.5, 1.0, 0.2), "differs");
}

#[test]
fn the_same_seed_gives_the_same_numbers_on_one_thread_and_on_many() {
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| run(&|z| crr_alone(0.00008 * z[0]), 0.00008, 3_000))
    };
    assert_eq!(on(1), on(4));
}
