//! The plan of the next day that stands among the results: a sound plan, with the values that were found.

use crate::sample_folder;
use loopwright::forecast::{forecast, predict_plan};
use loopwright::plan::Plan;
use loopwright::report::next_plan::next_plan;
use loopwright::simulate::simulate;

#[test]
fn every_sample_day_gives_a_plan_of_the_next_one() {
    for name in
        ["three-tyres", "two-positions", "pressure-sweep", "tyres-on-rollers", "road-and-rollers", "track-and-rollers"]
    {
        let inputs = sample_folder::inputs(name);
        let solution = sample_folder::solved(&inputs);
        let text = next_plan(&inputs.session, &solution).unwrap_or_else(|| panic!("{name}: no plan"));
        let plan = Plan::from_toml(&text, "next-plan.toml").unwrap_or_else(|e| panic!("{name}: {e}\n{text}"));
        plan.check().unwrap_or_else(|e| panic!("{name}: {e}\n{text}"));
        assert_eq!(plan.setups.len(), solution.setups.len(), "{name}");
        for (planned, found) in plan.setups.iter().zip(&solution.setups) {
            assert_eq!(planned.id, found.id, "{name}");
            for (planned, found) in [(planned.crr, found.crr.value), (planned.cda_m2, found.cda_m2.value)] {
                assert!(found.is_none_or(|v| (planned / v - 1.0).abs() < 1e-3), "{name}: {planned} for {found:?}");
            }
        }
        assert_eq!(plan.solve.cda, inputs.session.solve.cda, "{name}");
        // Every set-up is ridden twice on each venue, there and back.
        let venues = if plan.on.is_empty() { 1 } else { 2 };
        assert_eq!(plan.order.len(), 2 * venues * plan.setups.len(), "{name}");
        let half = &plan.order[..2 * plan.setups.len()];
        assert!(half.iter().eq(half.iter().rev()), "{name}: {half:?}");
        if name == "three-tyres" {
            assert_eq!(plan.speeds_km_h.len(), 2, "{:?}", plan.speeds_km_h);
            let found = predict_plan(&plan).unwrap_or_else(|e| panic!("{name}: {e}"));
            assert!(found.differences.iter().all(|d| d.power_w.is_some_and(|p| p.detectable.is_some())));
        }
    }
}

/// Ten minutes on rollers whose warm-up takes twelve, and a track.
const SHORT: &str = "order = [\"a\", \"b\", \"a\", \"b\"]\non = [\"rollers\", \"rollers\", \"track\", \"track\"]\n\
    laps_per_run = 8\nspeeds_km_h = [40.0]\nrollers_speed_km_h = 45.0\nrun_duration_s = 600.0\nrider_and_bike.mass_kg = 82.0\n\
    solve.cda = \"common\"\n[loop]\nkind = \"track\"\nlength_m = 450.0\nbend_radius_m = 42.0\npositions = true\n\
    [[setup]]\nid = \"a\"\ncda_m2 = 0.265\ncrr = 0.0048\n[[setup]]\nid = \"b\"\ncda_m2 = 0.265\ncrr = 0.0039\n";

#[test]
fn runs_on_rollers_that_are_too_short_are_foreseen_and_longer_in_the_next_plan() {
    let plan = Plan::from_toml(SHORT, "plan.toml").expect("a sound plan");
    let caveats = forecast(&plan).expect("a forecast").caveats;
    assert!(caveats[0].contains("10 min are short") && caveats[0].contains("run_duration_s = 1140"), "{caveats:?}");
    let longer = Plan::from_toml(&SHORT.replace("600.0", "1500.0"), "plan.toml").expect("a sound plan");
    let caveats = forecast(&longer).expect("a forecast").caveats;
    assert!(!caveats.iter().any(|c| c.contains("are short for a warm-up")), "{caveats:?}");
    // A day of 13 minutes has windows that show the warm-up, and a next plan that is long enough for it.
    let day = simulate(&Plan::from_toml(&SHORT.replace("600.0", "780.0"), "plan.toml").expect("a sound plan"), 5)
        .expect("a day");
    let recordings = day.rides.iter().map(|r| r.to_recording()).collect();
    let inputs = loopwright::analysis::RiddenSession { session: day.session, recordings, weather: None, survey: None };
    let solution = sample_folder::solved(&inputs);
    let seen_s = solution.runs.iter().filter_map(|r| r.window.as_ref()?.time_constant_s).fold(0.0, f64::max);
    let text = next_plan(&inputs.session, &solution).expect("a plan");
    let next = Plan::from_toml(&text, "next-plan.toml").expect("a sound plan");
    assert!(seen_s > 100.0 && next.run_duration_s >= 4.0 * seen_s + 300.0, "{seen_s} {}", next.run_duration_s);
}
