//! The verdict of invented results, word by word.

use super::*;
use crate::solution::{Contrast, Estimate, SetupResult};

fn estimate(value: f64, half: f64) -> Estimate {
    Estimate { value: Some(value), low: Some(value - half), high: Some(value + half), ..Estimate::default() }
}

fn contrast(setup: &str, baseline: &str, watts: f64, verdict: &str) -> Contrast {
    Contrast {
        setup: setup.into(),
        baseline: baseline.into(),
        power_w: estimate(watts, 2.4),
        p_holm: Some(if verdict == "separated" { 0.004 } else { 0.4 }),
        detectable_power_w: Some(3.12),
        verdict: verdict.into(),
        ..Contrast::default()
    }
}

fn day(contrasts: Vec<Contrast>) -> Solution {
    let setup = |id: &str, label: &str| SetupResult { id: id.into(), label: label.into(), ..SetupResult::default() };
    let mut solution = Solution { separable: true, confidence: 0.95, baseline: "a".into(), ..Solution::default() };
    solution.reference.speed_km_h = 40.0;
    solution.setups = vec![setup("a", "butyl"), setup("b", "latex"), setup("c", "sealed")];
    solution.setups.truncate(contrasts.len() + 1);
    solution.all_pairs = contrasts.clone();
    solution.contrasts = contrasts;
    solution
}

fn verdict(solution: &Solution) -> Verdict {
    Verdict::of(solution, Units::Metric)
}

#[test]
fn the_fastest_of_two_is_told_in_watts_with_their_interval() {
    let one = verdict(&day(vec![contrast("b", "a", -6.1, "separated")]));
    assert_eq!(
        one.headline,
        "latex is faster than butyl: at 40 km/h it needs 6.1 ± 2.4 W less, and that is real (p 0.004)."
    );
    assert!(one.also.is_empty() && one.not_shown.is_empty(), "{one:?}");
}

#[test]
fn a_difference_is_not_called_real_before_what_must_be_checked_is_checked() {
    let mut solution = day(vec![contrast("b", "a", -6.1, "separated")]);
    let finding = |code: &str| FindingResult { code: code.into(), run: Some(1), message: "Odd.".into() };
    solution.findings = vec![finding("mass-odd")];
    assert_eq!(
        verdict(&solution).headline,
        "Check first, see the findings: a mass that is hard to believe. latex is faster than butyl: at 40 km/h it needs \
         6.1 ± 2.4 W less, and that would be real (p 0.004)."
    );
    solution.findings = vec![finding("humidity-assumed")];
    assert!(verdict(&solution).headline.ends_with("and that is real (p 0.004)."));
}

#[test]
fn the_best_is_set_beside_the_next_best_and_what_may_be_chance_says_so() {
    let mut solution = day(vec![contrast("b", "a", -6.1, "separated"), contrast("c", "a", -5.0, "separated")]);
    solution.all_pairs.push(contrast("c", "b", 1.1, "not separated"));
    let one = verdict(&solution);
    assert_eq!(
        one.headline,
        "latex is the fastest of 3: at 40 km/h it needs 6.1 ± 2.4 W less than butyl, and that is real (p 0.004)."
    );
    assert_eq!(one.also[0], "Against the next best, sealed, it needs 1.1 ± 2.4 W less, which may be chance.");
    assert_eq!(one.also[1], "sealed needs 5.0 ± 2.4 W less than butyl, which is real (p 0.004).");
    assert_eq!(
        one.not_shown,
        ["Whether latex differs from sealed; such a test finds 3.1 W or more in four of five repeats."]
    );
}

#[test]
fn a_baseline_that_is_fastest_is_told_so() {
    let one = verdict(&day(vec![contrast("b", "a", 6.1, "separated"), contrast("c", "a", 5.0, "separated")]));
    assert_eq!(
        one.headline,
        "butyl, the baseline, is the fastest of 3: at 40 km/h it needs 5.0 ± 2.4 W less than sealed, the next best, and that \
         is real (p 0.004)."
    );
}

#[test]
fn where_nothing_is_shown_the_first_words_say_so() {
    let solution = day(vec![contrast("b", "a", 0.8, "not separated")]);
    let text = Verdict::of(&solution, Units::Imperial).answer();
    assert_eq!(
        text,
        "No set-up is shown to be faster: at 24.9 mph butyl came out 0.8 ± 2.4 W below latex, which may be chance."
    );
    let alike = verdict(&day(vec![contrast("b", "a", 0.8, "equivalent")]));
    assert!(alike.headline.starts_with("butyl and latex are as fast as each other"), "{alike:?}");
}

#[test]
fn an_inseparable_ride_never_shows_two_numbers() {
    let mut solution = day(vec![contrast("b", "a", -6.1, "separated")]);
    solution.separable = false;
    solution.setups[0].drag_at_mean_speed_n = Some(estimate(19.4, 0.5));
    solution.setups[0].mean_speed_m_s = Some(10.0);
    // With neither value shared the solver knows no difference.
    solution.contrasts[0].power_w = Estimate::default();
    let text = verdict(&solution).paragraph(&solution);
    assert!(
        text.contains("cannot be told apart") && text.contains("butyl 19.40 ± 0.50 N (194 W at the road) at 36.0 km/h"),
        "{text}"
    );
    assert!(!text.contains("latex"), "{text}");
}

#[test]
fn a_difference_that_is_known_without_the_values_is_the_verdict_all_the_same() {
    let mut solution = day(vec![contrast("b", "a", -6.1, "separated")]);
    solution.separable = false;
    let one = verdict(&solution);
    assert!(one.headline.contains("6.1 ± 2.4 W less"), "{one:?}");
    assert!(one.not_shown[0].starts_with("CdA and Crr cannot be told apart"), "{one:?}");
}
