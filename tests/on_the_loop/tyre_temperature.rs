//! Crr brought to a reference temperature: tyres at different temperatures become comparable, and what is not known of the
//! rule shows in the interval.

use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::plan::Plan;
use loopwright::simulate::{Rehearsal, simulate};
use loopwright::solution::Solution;
use rayon::prelude::*;

const COEFFICIENT_PER_C: f64 = 0.008;
/// True difference of the tyres at 20 °C.
const TRUTH: f64 = -0.0003;

/// Set-up a is ridden on tyres of 30 °C, b on tyres of 20 °C.
fn plan(uncertainty: &str) -> Plan {
    let text = format!(
        "order = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 6\nspeeds_km_h = [29.0, 41.0]\n\
         run_tyre_temperature_c = [30.0, 20.0, 20.0, 30.0]\nrider_and_bike.mass_kg = 86.0\n\
         [loop]\nlength_m = 1250.0\nshape = \"bean\"\nelevation_amplitude_m = 1.5\n\
         temperature_coefficient_per_c = {COEFFICIENT_PER_C}\n\
         [wind]\nspeed_m_s = 0.8\nfrom_deg = 200.0\n[solve]\ncda = \"common\"\n[uncertainty]\n{uncertainty}\n\
         [noise]\ngust_sd_m_s = 0.12\ninstrument_errors = \"none\"\n\
         [[setup]]\nid = \"a\"\ncda_m2 = 0.262\ncrr = 0.0045\n[[setup]]\nid = \"b\"\ncda_m2 = 0.262\ncrr = 0.0042\n"
    );
    Plan::from_toml(&text, "temperature").expect("the plan is valid")
}

fn inputs(day: &Rehearsal) -> RiddenSession {
    let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
    RiddenSession { session: day.session.clone(), recordings, weather: None, survey: None }
}

fn solve(inputs: &RiddenSession, budget: bool) -> Solution {
    analyse(inputs, Depth { budget, draws: 0 }).expect("the day can be solved").solution
}

/// Mean error of the difference over days, and its standard error.
fn mean_error(solved: &[Solution]) -> [f64; 2] {
    let n = solved.len() as f64;
    let of = |s: &Solution| s.contrasts[0].crr;
    let mean = solved.iter().map(|s| of(s).value.expect("known") - TRUTH).sum::<f64>() / n;
    [mean, solved.iter().map(|s| of(s).se.expect("known")).sum::<f64>() / n / n.sqrt()]
}

#[test]
fn ten_degrees_between_set_ups_bias_the_difference_unless_crr_is_brought_to_one_temperature() {
    let plan = plan("");
    let both: Vec<[Solution; 2]> = (0..6)
        .into_par_iter()
        .map(|d| {
            let stated = inputs(&simulate(&plan, 8100 + d).expect("the plan can be ridden"));
            let mut unstated = stated.clone();
            unstated.session.circuit.temperature_coefficient_per_c = Some(0.0);
            [solve(&stated, false), solve(&unstated, false)]
        })
        .collect();
    let [stated, unstated] = [0, 1].map(|i| both.iter().map(|pair| pair[i].clone()).collect::<Vec<_>>());
    let [error, se] = mean_error(&stated);
    assert!(error.abs() < 3.0 * se, "{error} ± {se}");
    // Arithmetic: a rolls at 0.0045/1.08, 0.00033 lower, so that b less a comes out that much higher.
    let [error, se] = mean_error(&unstated);
    let expected = 0.0045 * (1.0 - 1.0 / 1.08);
    assert!((error - expected).abs() < 3.0 * se && error > 5.0 * se, "{error} ± {se} for {expected}");
}

#[test]
fn without_a_rule_that_of_bicycle_tyres_is_supposed_and_its_width_is_in_the_interval() {
    let day = simulate(&plan(""), 8150).expect("the plan can be ridden");
    let mut unstated = inputs(&day);
    unstated.session.circuit.temperature_coefficient_per_c = None;
    let solution = solve(&unstated, true);
    let rule = solution.circuit.tyre_rule.expect("a rule");
    assert!(rule.is_supposed && rule.reference_c == 25.0, "{rule:?}");
    let told = solution.findings.iter().find(|f| f.code == "tyre-temperature-rule").expect("told");
    assert!(told.message.contains("10.0 °C apart") && told.message.contains("1.5 ± 0.8 % per °C"), "{}", told.message);
    // Arithmetic: 0.008 per °C on 10 °C between the set-ups is 0.08 of Crr, 0.00035.
    let line = solution.budget.iter().find(|b| b.source == "temperature coefficient of Crr").expect("its line");
    let apart = line.contrasts[0].crr.expect("a difference").abs();
    assert!((apart / 0.00035 - 1.0).abs() < 0.15, "{apart}");
    // The tyres of the day fall by 0.008 per °C, one standard uncertainty from what is supposed.
    let difference = &solution.contrasts[0].crr;
    assert!(difference.low.unwrap() < TRUTH && TRUTH < difference.high.unwrap(), "{difference:?}");
    // In the order A B B A with the run's temperatures the same way round, it cancels.
    let mut balanced = unstated.clone();
    for (run, read_c) in balanced.session.runs.iter_mut().zip([20.0, 30.0, 20.0, 30.0]) {
        run.tyre_temperature_c = Some(read_c);
    }
    let line =
        |s: &Solution| s.budget.iter().find(|b| b.source == "temperature coefficient of Crr").unwrap().contrasts[0].crr;
    assert!(line(&solve(&balanced, true)).unwrap().abs() < 0.1 * apart);
}

#[test]
fn runs_at_one_temperature_are_left_as_they_are_and_devices_far_apart_are_told() {
    let day = simulate(&plan(""), 8160).expect("the plan can be ridden");
    let mut alike = inputs(&day);
    alike.session.circuit.temperature_coefficient_per_c = None;
    alike.session.runs.iter_mut().for_each(|run| run.tyre_temperature_c = Some(24.0));
    let solution = solve(&alike, false);
    assert!(solution.circuit.tyre_rule.is_none() && solution.runs.iter().all(|r| r.crr_over_reference.is_none()));
    let mut devices = alike.clone();
    devices.session.air.temperature_c = None;
    for (k, run) in devices.session.runs.iter_mut().enumerate() {
        (run.tyre_temperature_c, run.air) = (None, None);
        devices.recordings[k].temperature_c.fill(if k < 2 { 18.0 } else { 26.0 });
    }
    let solution = solve(&devices, false);
    assert!(solution.circuit.tyre_rule.is_none());
    assert!(solution.findings.iter().any(|f| f.code == "tyre-temperature-unknown"));
}

#[test]
fn temperatures_and_factors_are_in_the_results_and_in_the_words() {
    let solution_of = |day: &Rehearsal| solve(&inputs(day), false);
    let day = simulate(&plan(""), 8200).expect("the plan can be ridden");
    let solution = solution_of(&day);
    let read: Vec<Option<f64>> = solution.runs.iter().map(|r| r.tyre_temperature_c).collect();
    assert_eq!(read, [Some(30.0), Some(20.0), Some(20.0), Some(30.0)]);
    // Arithmetic: 1/(1 + 0.008 · 10) and 1.
    let factor = |run: usize| solution.runs[run].crr_over_reference.expect("a rule was stated");
    assert!((factor(0) - 1.0 / 1.08).abs() < 1e-12 && factor(1) == 1.0);
    assert!((day.truth.runs[0].crr.expect("moved") - 0.0045 / 1.08).abs() < 1e-12);
    assert_eq!(day.truth.runs[1].crr, None);
    let words = loopwright::report::methods::plain_text(&day.session, &solution, loopwright::report::Units::Metric);
    assert!(words.contains("Crr is brought to 20 °C with 0.008 per °C, as stated"), "{words}");
    assert!(words.contains("the temperature read at the tyres"), "{words}");
}

#[test]
fn an_uncertain_coefficient_shows_in_the_difference_of_set_ups_ridden_at_different_temperatures() {
    let day = simulate(&plan("temperature_coefficient_per_c = 0.003"), 8300).expect("the plan can be ridden");
    let solution = solve(&inputs(&day), true);
    let line = |source: &str| solution.budget.iter().find(|b| b.source == source).unwrap_or_else(|| panic!("{source}"));
    // Arithmetic: Crr at the reference is Crr as ridden times 1 + K·10 °C; 0.003 moves that of a by 10 · 0.003 · 0.0045/1.08,
    // that of b, ridden at the reference, not at all.
    let moved = 10.0 * 0.003 * 0.0045 / 1.08;
    let coefficient = line("temperature coefficient of Crr");
    let of_a = coefficient.setups.iter().find(|c| c.setup == "a").and_then(|c| c.crr).expect("a");
    let of_b = coefficient.setups.iter().find(|c| c.setup == "b").and_then(|c| c.crr).expect("b");
    assert!((of_a.abs() / moved - 1.0).abs() < 0.1, "{of_a} for {moved}");
    assert!(of_b.abs() < 0.05 * moved, "{of_b}");
    let apart = coefficient.contrasts[0].crr.expect("a difference");
    assert!((apart.abs() / moved - 1.0).abs() < 0.1, "{apart} for {moved}");
    // Readings of 0.5 °C, one for each of four runs: K · 0.5 · Crr for each, averaged over two runs, of both set-ups.
    let reading = line("tyre temperature").contrasts[0].crr.expect("a difference");
    let expected = COEFFICIENT_PER_C * 0.5 * ((0.0045f64 / 1.08).powi(2) / 2.0 + 0.0042f64.powi(2) / 2.0).sqrt();
    assert!((reading / expected - 1.0).abs() < 0.15, "{reading} for {expected}");
}

#[test]
fn without_a_reading_the_temperature_of_the_air_stands_for_that_of_the_tyres() {
    let day = simulate(&plan(""), 8400).expect("the plan can be ridden");
    let mut of_air = inputs(&day);
    of_air.session.air.temperature_c = Some(26.0);
    of_air.session.runs.iter_mut().for_each(|r| r.tyre_temperature_c = None);
    let mut read = of_air.clone();
    read.session.runs.iter_mut().for_each(|r| r.tyre_temperature_c = Some(26.0));
    let (of_air, read) = (solve(&of_air, false), solve(&read, false));
    assert_eq!(of_air.setups, read.setups);
    assert_eq!((of_air.runs[0].tyre_temperature_c, read.runs[0].tyre_temperature_c), (None, Some(26.0)));
}

#[test]
fn a_rule_far_outside_its_range_is_refused() {
    let day = simulate(&plan(""), 8500).expect("the plan can be ridden");
    let mut far = inputs(&day);
    far.session.circuit.temperature_coefficient_per_c = Some(0.05);
    far.session.circuit.reference_temperature_c = Some(50.0);
    let error = analyse(&far, Depth { budget: false, draws: 0 }).err().expect("refused").to_string();
    assert!(error.contains("run-1.fit") || error.contains("run-2.fit"), "{error}");
    assert!(error.contains("linear rule"), "{error}");
}

#[test]
fn on_rollers_the_temperature_read_at_the_tyres_counts_before_that_of_the_air() {
    let text = "order = [\"a\"]\nspeeds_km_h = [32.0]\nrun_duration_s = 1500.0\nrider_and_bike.mass_kg = 80.0\nloop.kind = \"rollers\"\n\
                [rollers]\nno_load_power_w_at_40_km_h = 9.0\n[noise]\ninstrument_errors = \"none\"\n\
                [[setup]]\nid = \"a\"\ncda_m2 = 0.3\ncrr = 0.004\n";
    let day = simulate(&Plan::from_toml(text, "rollers").expect("the plan is valid"), 8600).expect("ridden");
    let mut stated = inputs(&day);
    stated.session.rollers.temperature_coefficient_per_c = COEFFICIENT_PER_C;
    let mut read = stated.clone();
    read.session.runs[0].tyre_temperature_c = Some(33.0);
    let value = |inputs: &RiddenSession| solve(inputs, false).setups[0].crr.value.expect("known");
    // The air is at 18 °C: (1 + 0.008 · 13)/(1 − 0.008 · 2).
    let ratio = value(&read) / value(&stated);
    assert!((ratio - 1.104 / 0.984).abs() < 1e-9, "{ratio}");
}
