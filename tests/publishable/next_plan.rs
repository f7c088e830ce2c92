//! The plan of the next day that stands among the results: a sound plan, with the values that were found.

use crate::sample_folder;
use loopwright::forecast::predict_plan;
use loopwright::plan::Plan;
use loopwright::report::next_plan::next_plan;

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
