//! A drift of Crr through the day: what an order of riding cancels, what fitting it costs, and what cannot be told.

use loopwright::analysis::{Analysis, Depth, RiddenSession, analyse};
use loopwright::error::Error;
use loopwright::finding::What;
use loopwright::plan::Plan;
use loopwright::simulate::{Rehearsal, simulate};
use loopwright::solution::Solution;
use rayon::prelude::*;

const THERE_AND_BACK: &str = "[\"a\", \"b\", \"b\", \"a\"]";
const IN_BLOCKS: &str = "[\"a\", \"a\", \"b\", \"b\"]";
/// Tyres that warm up, an hour; over the 1.9 h of four runs that is a sixth of Crr.
const DRIFT_PER_H: f64 = -0.0004;
/// Difference of the two tyres.
const TRUTH: f64 = -0.0004;

fn plan(order: &str, drift_per_h: f64) -> Plan {
    let text = format!(
        "order = {order}\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\nrider_and_bike.mass_kg = 86.0\n\
         [loop]\nlength_m = 1250.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n\
         [wind]\nspeed_m_s = 0.8\nfrom_deg = 200.0\n[solve]\ncda = \"common\"\n\
         [noise]\ngust_sd_m_s = 0.12\ncrr_drift_per_h = {drift_per_h}\ninstrument_errors = \"none\"\n\
         [[setup]]\nid = \"a\"\ncda_m2 = 0.262\ncrr = 0.0045\n[[setup]]\nid = \"b\"\ncda_m2 = 0.262\ncrr = 0.0041\n"
    );
    Plan::from_toml(&text, "drift").expect("the plan is valid")
}

fn inputs(day: &Rehearsal, crr_drift: bool) -> RiddenSession {
    let mut session = day.session.clone();
    session.solve.crr_drift = crr_drift;
    let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
    RiddenSession { session, recordings, weather: None, survey: None }
}

fn solve(inputs: &RiddenSession) -> Result<Analysis, Error> {
    analyse(inputs, Depth { budget: false, draws: 0 })
}

/// Days with and without the drift fitted.
fn days(order: &str, drift_per_h: f64, crr_drift: bool, count: u64) -> Vec<Solution> {
    let plan = plan(order, drift_per_h);
    (0..count)
        .into_par_iter()
        .map(|d| {
            let day = simulate(&plan, 7100 + d).expect("the plan can be ridden");
            solve(&inputs(&day, crr_drift)).expect("the day can be solved").solution
        })
        .collect()
}

/// Mean error of the difference of Crr in standard errors of that mean, and the mean standard error.
struct Difference {
    bias: f64,
    standard_errors: f64,
    mean_se: f64,
    inside: usize,
}

fn difference(days: &[Solution]) -> Difference {
    let n = days.len() as f64;
    let of: Vec<_> = days.iter().map(|s| s.contrasts[0].crr).collect();
    let bias = of.iter().map(|e| e.value.expect("known") - TRUTH).sum::<f64>() / n;
    let mean_se = of.iter().map(|e| e.se.expect("known")).sum::<f64>() / n;
    let inside = of.iter().filter(|e| e.low.unwrap() <= TRUTH && TRUTH <= e.high.unwrap()).count();
    Difference { bias, standard_errors: bias / (mean_se / n.sqrt()), mean_se, inside }
}

fn said(solution: &Solution, code: &str) -> bool {
    solution.findings.iter().any(|f| f.code == code)
}

#[test]
fn there_and_back_cancels_a_drift_without_fitting_it_and_in_blocks_does_not() {
    let balanced = difference(&days(THERE_AND_BACK, DRIFT_PER_H, false, 8));
    assert!(balanced.standard_errors.abs() < 3.0, "{} {}", balanced.bias, balanced.mean_se);
    let blocked_days = days(IN_BLOCKS, DRIFT_PER_H, false, 8);
    let blocked = difference(&blocked_days);
    // The b runs lie two runs and two pauses later: 2 × (781 s of laps + 60 s and 900 s of pause) = 0.97 h.
    let expected = 0.97 * DRIFT_PER_H;
    let chance = 3.0 * blocked.mean_se / 8f64.sqrt();
    assert!((blocked.bias - expected).abs() < chance + 0.03 * expected.abs(), "{} for {expected}", blocked.bias);
    // There and back the drift is seen as a change between runs of one set-up; in blocks it is not, and only the order can tell.
    assert!(balanced.mean_se > blocked.mean_se, "{} {}", balanced.mean_se, blocked.mean_se);
    assert!(blocked_days.iter().all(|s| said(s, "order-confounded")));
}

#[test]
fn fitted_in_blocks_the_drift_leaves_an_unbiased_difference_with_an_honest_error_and_says_so() {
    let without = difference(&days(IN_BLOCKS, DRIFT_PER_H, false, 1));
    let solved = days(IN_BLOCKS, DRIFT_PER_H, true, 8);
    let with = difference(&solved);
    assert!(with.standard_errors.abs() < 3.0, "{} {}", with.bias, with.mean_se);
    assert!(with.inside >= 6, "{} of 8 inside", with.inside);
    // 1/√(1 − r²) for set-up and run number, r = 8/√80 (arithmetic), is 2.24; drift within the runs tells a little more.
    assert!(with.mean_se > 1.7 * without.mean_se, "{} {}", with.mean_se, without.mean_se);
    for solution in &solved {
        assert!(said(solution, "drift-confounded") && !said(solution, "order-confounded"), "{:?}", solution.findings);
        let finding = solution.findings.iter().find(|f| f.code == "drift-confounded").expect("said");
        assert!(finding.message.contains("Ride a b b a"), "{}", finding.message);
        assert!(solution.crr_drift.as_ref().is_none_or(|d| d.confounded));
    }
}

#[test]
fn there_and_back_shows_the_drift_itself_at_little_cost() {
    let (solved, plain) = (days(THERE_AND_BACK, DRIFT_PER_H, true, 8), days(THERE_AND_BACK, DRIFT_PER_H, false, 8));
    let (with, without) = (difference(&solved), difference(&plain));
    assert!(with.standard_errors.abs() < 3.0, "{} {}", with.bias, with.mean_se);
    assert!(with.mean_se < 1.25 * without.mean_se, "{} {}", with.mean_se, without.mean_se);
    let drifts: Vec<_> = solved.iter().map(|s| s.crr_drift.clone().expect("a drift was fitted")).collect();
    let mean = drifts.iter().map(|d| d.crr_per_h.value.expect("known")).sum::<f64>() / 8.0;
    let se = drifts.iter().map(|d| d.crr_per_h.se.expect("known")).sum::<f64>() / 8.0;
    assert!((mean - DRIFT_PER_H).abs() < 3.0 * se / 8f64.sqrt(), "{mean} ± {se}");
    assert!(drifts.iter().all(|d| !d.confounded));
    assert!(drifts.iter().filter(|d| d.p_value.is_some_and(|p| p < 0.05)).count() >= 6, "{drifts:?}");
}

#[test]
fn a_day_without_drift_shows_none_and_crr_belongs_to_the_mean_moment() {
    let still = days(THERE_AND_BACK, 0.0, true, 8);
    let seen = still.iter().filter(|s| s.crr_drift.as_ref().and_then(|d| d.p_value).is_some_and(|p| p < 0.05)).count();
    // Each of eight tests errs in 5 %: three or more have a chance of 0.6 % (binomial).
    assert!(seen <= 2, "{seen} of 8");
    let moving = days(THERE_AND_BACK, DRIFT_PER_H, true, 8);
    let mean = |days: &[Solution]| days.iter().map(|s| s.setups[0].crr.value.expect("known")).sum::<f64>() / 8.0;
    let se = moving[0].setups[0].crr.se.expect("known");
    // Crr of the plan is that of the middle of the day, the mean moment of an even order.
    assert!((mean(&moving) - 0.0045).abs() < 3.0 * se / 8f64.sqrt() + 0.00003, "{} ± {se}", mean(&moving));
    let drift = moving[0].crr_drift.as_ref().expect("a drift was fitted");
    // Three pauses of 900 s and four runs of some 840 s: 6060 s in all, half of it is 3030 s; starts are on whole minutes.
    assert!((drift.reference_s - 3030.0).abs() < 150.0, "{}", drift.reference_s);
    assert!(drift.reference_time.as_deref().is_some_and(|t| t.starts_with("2031-05-03T09:")), "{drift:?}");
}

#[test]
fn one_lap_of_each_set_up_is_refused_with_an_order_that_would_do() {
    let day = simulate(&plan("[\"a\", \"b\"]", DRIFT_PER_H), 7200).expect("the plan can be ridden");
    let mut few = inputs(&day, true);
    few.session.runs.iter_mut().for_each(|run| run.leave_out = vec![2, 3, 4, 5, 6]);
    match solve(&few) {
        Err(e @ Error::DriftUndetermined { .. }) => assert!(e.to_string().contains("ride a b b a"), "{e}"),
        Err(e) => panic!("{e}"),
        Ok(a) => panic!("{:?} {:?}", a.solution.contrasts[0].crr, a.solution.findings),
    }
}

#[test]
fn runs_without_a_time_of_day_are_refused() {
    let day = simulate(&plan(THERE_AND_BACK, 0.0), 7300).expect("the plan can be ridden");
    let mut unset = inputs(&day, true);
    unset.recordings[2].findings.push(What::ClockNotSet);
    match solve(&unset) {
        Err(Error::Inconsistent { file, message, .. }) => {
            assert_eq!(file, "run-3.fit");
            assert!(message.contains("time of day"), "{message}");
        }
        Err(e) => panic!("{e}"),
        Ok(_) => panic!("a drift without times"),
    }
}

#[test]
fn a_drift_on_rollers_alone_is_refused_where_it_is_stated() {
    let text = "[rider_and_bike]\nmass_kg = 80.0\n[loop]\nkind = \"rollers\"\n[solve]\ncrr_drift = true\n[[setup]]\nid = \"a\"\n\
                [[run]]\nfile = \"a.fit\"\nsetup = \"a\"\n";
    let error = loopwright::session::Session::from_toml(text, "session.toml").expect_err("refused").to_string();
    assert!(error.contains("session.toml:6") && error.contains("crr_drift"), "{error}");
}
