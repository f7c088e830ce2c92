//! What the mean of several days is, which days go into it, and how it is told.

use crate::made_up;
use crate::results::{Told, W_PER_CRR, days, estimate, on_rollers, result};
use loopwright::plot::Style;
use loopwright::pool::{Choice, Day, Instruments, PooledQuantity, PooledResult, pool};
use loopwright::report::Units;
use loopwright::report::pooled::files::files;
use loopwright::report::pooled::{sentence, summary};
use loopwright::solution::Solution;

/// Latex less butyl.
fn latex(crr: f64) -> Told {
    Told { setup: "latex", baseline: "butyl", crr, scatter: 0.00006, scale: 0.00002 }
}

fn pooled(solutions: &[Solution], choice: &Choice) -> PooledResult {
    pool(&days(solutions), choice).unwrap_or_else(|e| panic!("{e}"))
}

fn codes(result: &PooledResult) -> Vec<&str> {
    result.findings.iter().map(|f| f.code.as_str()).collect()
}

fn near(a: Option<f64>, b: f64) -> bool {
    a.is_some_and(|a| (a / b - 1.0).abs() < 1e-9)
}

fn crr(result: &PooledResult) -> &PooledQuantity {
    result.contrasts[0].crr.as_ref().expect("Crr is pooled")
}

#[test]
fn two_days_that_agree_give_their_weighted_mean_and_the_meters_error_stays() {
    let two = [result("May", "butyl", &[latex(-0.0004)]), result("June", "butyl", &[latex(-0.0003)])];
    let found = pooled(&two, &Choice::default());
    let q = crr(&found);
    // By hand: equal weights; own 0.00006/√2, shared 0.00002; Q = (0.0001/0.00006)²/2.
    assert!(q.agree && near(q.together.value, -0.00035), "{q:?}");
    assert!(near(q.together.scatter_se, 0.00006 / 2f64.sqrt()) && near(q.together.instrument_se, 0.00002), "{q:?}");
    assert!(near(q.q, 0.5 * (1.0 / 0.6_f64).powi(2)), "{q:?}");
    let watts = found.contrasts[0].power_w.as_ref().expect("watts are pooled");
    assert!(near(watts.together.value, -0.00035 * W_PER_CRR));
    // A shared CdA was not measured, so nothing of it is pooled.
    assert!(found.contrasts[0].cda_m2.is_none());
    assert_eq!(found.contrasts[0].verdict, "separated");
    assert!(codes(&found).is_empty(), "{:?}", found.findings);
    let separate = pooled(&two, &Choice { instruments: Instruments::Separate, ..Choice::default() });
    assert!(near(crr(&separate).together.se, 0.00006_f64.hypot(0.00002) / 2f64.sqrt()));
}

#[test]
fn another_baseline_is_found_among_all_pairs_with_its_sign_turned() {
    let turned = Told { setup: "butyl", baseline: "latex", ..latex(0.0003) };
    let third = [Told { setup: "butyl", baseline: "foam", ..latex(0.0001) }, turned];
    let found =
        pooled(&[result("May", "butyl", &[latex(-0.0004)]), result("June", "foam", &third)], &Choice::default());
    assert!(near(crr(&found).together.value, -0.00035), "{:?}", crr(&found));
    assert_eq!(found.contrasts[0].days.iter().map(|d| d.turned).collect::<Vec<_>>(), [false, true]);
    // The breakdown by source is that of the turned pair.
    assert!(near(crr(&found).together.instrument_se, 0.00002));
    let text = summary(&found, 80, Units::Metric);
    assert!(text.contains("sign turned"), "{text}");
    // Foam less butyl is in June only.
    assert_eq!(codes(&found), ["one-result-only"]);
    assert_eq!((found.single[0].setup.as_str(), found.single[0].day), ("foam", 2));
    assert!(text.contains("In one result only, not pooled\ntyre foam less tyre butyl: June"), "{text}");
}

#[test]
fn without_a_breakdown_the_whole_instrument_error_is_shared() {
    let mut old = result("May", "butyl", &[latex(-0.0004)]);
    old.budget.clear();
    let found = pooled(&[old, result("June", "butyl", &[latex(-0.0003)])], &Choice::default());
    assert!(near(crr(&found).together.instrument_se, 0.00002));
}

#[test]
fn weighing_is_another_error_on_another_day() {
    let two = ["May", "June"].map(|name| {
        let mut day = result(name, "butyl", &[latex(-0.0004)]);
        day.budget[0].source = "mass".into();
        day
    });
    let found = pooled(&two, &Choice::default());
    assert_eq!(crr(&found).together.instrument_se, Some(0.0));
    assert!(near(crr(&found).together.se, 0.00006_f64.hypot(0.00002) / 2f64.sqrt()));
}

#[test]
fn days_that_disagree_are_told_first_and_have_a_wider_interval() {
    let two = [result("May", "butyl", &[latex(-0.0008)]), result("June", "butyl", &[latex(-0.0002)])];
    let found = pooled(&two, &Choice::default());
    let q = crr(&found);
    // Q = (0.0006/0.00006)²/2 = 50 on one degree of freedom.
    assert!(!q.agree && near(q.q, 50.0), "{q:?}");
    assert!(q.together.se.unwrap() > 5.0 * q.common.se.unwrap(), "{q:?}");
    assert_eq!(found.contrasts[0].verdict, "not separated");
    assert_eq!(codes(&found), ["results-disagree"]);
    assert!(sentence(&found).contains("THEY DISAGREE on tyre latex less tyre butyl"), "{}", sentence(&found));
    assert!(
        summary(&found, 80, Units::Metric).contains("THE RESULTS DISAGREE (Q 50.0 on 1, p < 0.001, Birge ratio 7.07)")
    );
}

#[test]
fn watts_at_another_reference_are_left_out_and_crr_is_not() {
    let mut other = result("June", "butyl", &[latex(-0.0003)]);
    other.reference.speed_km_h = 45.0;
    let found = pooled(&[result("May", "butyl", &[latex(-0.0004)]), other], &Choice::default());
    assert!(found.contrasts[0].power_w.is_none());
    assert_eq!(found.contrasts[0].tested.as_deref(), Some("crr"));
    assert_eq!(codes(&found), ["references-differ"]);
}

#[test]
fn rollers_give_watts_where_air_is_shared_and_not_where_it_differs() {
    let on_drums = on_rollers(result("June", "butyl", &[latex(-0.0003)]));
    let road = result("May", "butyl", &[latex(-0.0004)]);
    let found = pooled(&[road.clone(), on_drums.clone()], &Choice::default());
    assert_eq!(found.contrasts[0].power_w.as_ref().map(|q| q.days.len()), Some(2));
    assert_eq!(found.days[1].name, "June, rollers");
    let mut with_air = road;
    for c in with_air.contrasts.iter_mut().chain(&mut with_air.all_pairs) {
        c.cda_m2 = estimate(0.004, 0.001, 0.0);
    }
    let found = pooled(&[with_air, on_drums], &Choice::default());
    assert!(found.contrasts[0].power_w.is_none());
    assert_eq!(codes(&found), ["rolling-only"]);
}

#[test]
fn labels_that_differ_and_the_margin_for_equivalence_are_heeded() {
    let mut june = result("June", "butyl", &[latex(0.00001)]);
    june.setups[1].label = "another tyre".into();
    let choice = Choice { negligible_power_w: Some(3.0), ..Choice::default() };
    let found = pooled(&[result("May", "butyl", &[latex(0.0)]), june], &choice);
    assert_eq!(found.contrasts[0].verdict, "equivalent");
    assert_eq!(codes(&found), ["labels-differ"]);
}

#[test]
fn a_session_of_two_venues_counts_as_two_results() {
    let mut mixed = made_up::day(made_up::Request { mixed: true, ..made_up::Request::new(3, 6) }).solution;
    let mut road = made_up::day(made_up::Request::new(3, 6)).solution;
    mixed.runs.clear();
    mixed.title = "Another day".into();
    road.runs.truncate(1);
    let all = days(&[mixed, road]);
    assert_eq!(all.iter().map(|d| d.venue.as_str()).collect::<Vec<_>>(), ["road", "rollers", "road"]);
    let found = pool(&all, &Choice::default()).unwrap();
    assert_eq!(found.contrasts.iter().map(|c| c.days.len()).collect::<Vec<_>>(), [3, 3]);
}

/// Ten days of many long names.
fn many() -> Vec<Day> {
    let day = |k: usize| {
        let request = made_up::Request { long_names: true, ..made_up::Request::new(7, 4) };
        let mut solution = made_up::day(request).solution;
        solution.title = format!("Day {k} on the \u{1b}[31mbrickyard circuit with a long name that goes on");
        solution.runs.truncate(1);
        solution.runs[0].sha256 = format!("ride {k}");
        solution
    };
    days(&(0..10).map(day).collect::<Vec<_>>())
}

#[test]
fn every_line_fits_the_width_and_nothing_steers_the_terminal() {
    let found = pool(&many(), &Choice { all_pairs: true, ..Choice::default() }).unwrap();
    for width in [40, 64, 80, 100, 300] {
        let text = summary(&found, width, Units::Imperial);
        assert!(!text.contains('\u{1b}'));
        for line in text.lines() {
            let columns: usize =
                line.chars().map(|c| if c as u32 >= 0x1100 && c != '─' && c != '\u{fffd}' { 2 } else { 1 }).sum();
            assert!(columns <= width.min(100), "{width}: {line}");
        }
    }
}

#[test]
fn the_same_results_give_the_same_bytes_and_sound_figures() {
    let of = || {
        let found = pool(&many(), &Choice::default()).unwrap();
        files(&found, &Style::default(), Units::Metric).unwrap()
    };
    let all = of();
    assert_eq!(all, of());
    let names: Vec<&str> = all.iter().map(|f| f.name.as_str()).collect();
    for name in [
        "pool.json",
        "pool.html",
        "pool.txt",
        "pool.csv",
        "days.csv",
        "captions.txt",
        "forest-1-watts.svg",
        "forest-6-cda.svg",
    ] {
        assert!(names.contains(&name), "{names:?}");
    }
    for file in all.iter().filter(|f| f.name.ends_with(".svg")) {
        let text = String::from_utf8(file.bytes.clone()).expect("text");
        let svg = roxmltree::Document::parse(&text).unwrap_or_else(|e| panic!("{}: {e}", file.name));
        // Ten days with a weight each.
        let weights = svg.descendants().filter(|n| n.text().is_some_and(|t| t.ends_with(" %"))).count();
        assert!(weights >= 10, "{}: {weights}", file.name);
    }
}
