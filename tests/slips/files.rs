//! The same ride twice, and clocks that contradict the session.

use crate::day::{codes, solve, solved, told, tyres};

#[test]
fn a_copy_under_another_name_is_refused_and_so_is_a_part_of_it() {
    let day = tyres(20);
    for cut in [0, 30, 200] {
        let mut copied = day.clone();
        let mut copy = day.recordings[0].clone();
        let kept: Vec<bool> = (0..copy.len()).map(|i| (cut..copy.len() - cut).contains(&i)).collect();
        copy.keep_rows(&kept);
        copied.recordings[5] = copy;
        let refused = solve(&copied).expect_err("laps would count twice").to_string();
        assert!(refused.contains("run-6.fit") && refused.contains("run 1 (run-1.fit)"), "{refused}");
        assert!(refused.contains("count twice"), "{refused}");
    }
}

#[test]
fn a_clock_that_is_off_is_told_when_runs_overlap_or_change_places_and_a_month_is_told_as_a_day() {
    let day = tyres(21);
    assert!(!codes(&solved(&day)).iter().any(|c| ["runs-overlap", "order-against-clock", "other-day"].contains(c)));
    let start = |k: usize| day.recordings[k].time_s[0];
    // Minutes into the run before; before that run; a month later.
    for (by_s, code) in [
        (start(0) - start(1) + 300.0, "runs-overlap"),
        (start(0) - start(1) - 5000.0, "order-against-clock"),
        (30.0 * 86_400.0, "other-day"),
        (-2.0 * 86_400.0, "other-day"),
    ] {
        let mut off = day.clone();
        let recording = &mut off.recordings[1];
        recording.time_s.iter_mut().for_each(|t| *t += by_s);
        recording.lap_marks_s.iter_mut().for_each(|t| *t += by_s);
        let solution = solved(&off);
        assert_eq!(told(&solution, code).len(), 1, "{by_s}: {:?}", codes(&solution));
    }
}
