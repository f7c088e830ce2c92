//! Days on which laps lack steps, solved: a stop costs its steps and not the lap.

use super::days::{NOISE, ROAD, THREE, analysed, day, has_said, said, solved};
use loopwright::solution::Solution;

/// A day whose riders stop at a junction in this share of the laps.
fn junction(stops: f64, seed: u64) -> Solution {
    let noise = format!("{NOISE}\n[day]\njunction_at = 0.37\njunction_stops = {stops:?}");
    solved(&day(THREE, ROAD, &noise, seed))
}

fn laps_used(solution: &Solution) -> (usize, usize) {
    let laps = solution.runs.iter().flat_map(|run| &run.laps);
    laps.fold((0, 0), |(used, partly), lap| {
        (used + usize::from(lap.used), partly + usize::from(lap.used && lap.share_used < 1.0))
    })
}

#[test]
fn laps_with_a_stop_at_a_junction_count_with_the_rest_of_their_steps() {
    for seed in 71..74 {
        let s = junction(0.3, seed);
        let (used, partly) = laps_used(&s);
        assert!(used >= 22 && partly >= 3, "{used} laps, {partly} of them partly");
        let [crr, cda] = [s.setups[0].crr.se, s.setups[0].cda_m2.se].map(|se| se.expect("a standard error"));
        assert!((s.setups[0].crr.value.unwrap() - 0.0045).abs() < 3.0 * crr);
        assert!((s.setups[0].cda_m2.value.unwrap() - 0.26).abs() < 3.0 * cda);
        // Some lap shows every step, so that nothing of the height is open.
        assert!(!has_said(&s, "steps-unshown"));
        assert!(s.budget.iter().filter(|b| b.source == "height that no lap shows").all(|b| b.crr.unwrap() < 1e-5));
    }
}

#[test]
fn where_every_lap_stops_crr_is_open_and_drag_and_differences_are_not() {
    for seed in 81..84 {
        let s = junction(1.0, seed);
        let (used, partly) = laps_used(&s);
        assert!(used >= 22 && partly == used, "{used} laps, {partly} of them partly");
        let open = s.budget.iter().find(|b| b.source == "height that no lap shows").expect("its line");
        // A slope of 0.02 over some 100 m is 2 m of height, of which what is expected of Crr takes back a part.
        assert!((1.0..4.0).contains(&open.standard_uncertainty) && open.crr.unwrap() > 2e-4, "{open:?}");
        assert!(open.contrasts.iter().all(|c| c.crr.unwrap().abs() < 2e-5), "{open:?}");
        let difference = &s.contrasts[0].crr;
        let (value, se) = (difference.value.unwrap(), difference.se.unwrap());
        assert!((value + 0.0005).abs() < 3.0 * se && se < 0.0003, "{value} ± {se}");
        assert!(s.setups[0].crr.se.unwrap() > 5e-4);
        assert!((s.setups[0].cda_m2.value.unwrap() - 0.26).abs() < 3.0 * s.setups[0].cda_m2.se.unwrap());
        assert!(has_said(&s, "rests-on-expectation"));
        let told = said(&s, "steps-unshown");
        assert!(told.len() == 1 && told[0].contains("Ride one lap through"), "{told:?}");
    }
}

#[test]
fn a_meter_that_is_lost_for_seconds_moves_the_answer_by_less_than_a_third_of_its_error() {
    let sound = day(THREE, ROAD, NOISE, 91);
    let mut lost = sound.clone();
    for (k, at) in [(0, 200), (1, 400), (2, 610), (3, 333)] {
        lost.recordings[k].power_w[at..at + 12].fill(f64::NAN);
    }
    let [before, after] = [&sound, &lost].map(solved);
    assert_eq!(laps_used(&after).0, laps_used(&before).0);
    assert!(laps_used(&after).1 >= 4);
    for (a, b) in before.setups.iter().zip(&after.setups) {
        let moved = (a.crr.value.unwrap() - b.crr.value.unwrap()).abs() / a.crr.se.unwrap();
        assert!(moved < 0.34, "{moved}");
    }
}

#[test]
fn figures_show_the_misclosures_of_the_tables_where_every_lap_stops() {
    let noise = format!("{NOISE}\n[day]\njunction_at = 0.37\njunction_stops = 1.0");
    let analysis = analysed(&day(THREE, ROAD, &noise, 82)).unwrap_or_else(|e| panic!("{e}"));
    let drawn = analysis.evidence.runs.iter().flat_map(|run| run.laps.iter().filter(|lap| lap.used));
    let told = analysis.solution.runs.iter().flat_map(|run| run.laps.iter().filter(|lap| lap.used));
    let both: Vec<(f64, f64)> = drawn.map(|l| l.misclosure_m).zip(told.map(|l| l.misclosure_m.unwrap())).collect();
    assert!(both.len() >= 22 && both.iter().all(|(drawn, told)| (drawn - told).abs() < 1e-9), "{both:?}");
}
