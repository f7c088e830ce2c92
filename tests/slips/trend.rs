//! A power meter whose zero creeps, tyres that lose air: misclosures that go one way through a run.

use crate::day::{codes, told, tyres, tyres_in_long_runs};
use loopwright::analysis::{Depth, RiddenSession, analyse};
use loopwright::solution::{FindingResult, Solution};
use rayon::prelude::*;

/// Adds a power that grows evenly from the start of each run to its end.
fn creep(inputs: &mut RiddenSession, by_w: impl Fn(usize) -> f64) {
    for (k, recording) in inputs.recordings.iter_mut().enumerate() {
        let (start, end) = (recording.time_s[0], recording.time_s[recording.len() - 1]);
        for (power, t) in recording.power_w.iter_mut().zip(&recording.time_s) {
            if *power > 0.0 {
                *power = (*power + by_w(k) * (t - start) / (end - start)).max(1.0);
            }
        }
    }
}

fn solved(inputs: &RiddenSession) -> Solution {
    analyse(inputs, Depth { budget: false, draws: 0 }).expect("a solution").solution
}

fn trends(inputs: &RiddenSession) -> Vec<FindingResult> {
    told(&solved(inputs), "misclosure-trend").into_iter().cloned().collect()
}

/// Days of a creep, of which each tells it or not.
fn days_told(seeds: std::ops::Range<u64>, by_w: f64) -> usize {
    let tells = |seed: u64| {
        let mut day = tyres(seed);
        creep(&mut day, |_| by_w);
        !trends(&day).is_empty()
    };
    seeds.into_par_iter().filter(|seed| tells(*seed)).count()
}

#[test]
fn a_sound_day_has_no_trend() {
    // At a level of 1 % more than two of twenty days have a chance of 0.1 %.
    let count = days_told(3000..3020, 0.0);
    assert!(count <= 2, "{count} of 20");
}

#[test]
fn a_zero_that_creeps_in_every_run_is_told_once_with_its_size() {
    for by_w in [8.0, -8.0] {
        let mut day = tyres(3100);
        creep(&mut day, |_| by_w);
        let solution = solved(&day);
        let findings = told(&solution, "misclosure-trend");
        assert_eq!(findings.len(), 1, "{:?}", codes(&solution));
        let message = &findings[0].message;
        let way = if by_w > 0.0 { "climbs" } else { "falls" };
        assert!(findings[0].run.is_none() && message.contains(way) && message.contains("zero"), "{message}");
    }
}

#[test]
fn one_run_of_many_that_creeps_is_told_by_its_number() {
    let mut day = tyres_in_long_runs(3200);
    creep(&mut day, |run| if run == 3 { 12.0 } else { 0.0 });
    let findings = trends(&day);
    assert_eq!(findings.iter().map(|f| f.run).collect::<Vec<_>>(), [Some(4)], "{findings:?}");
}

/// The table of `README.md`.
#[test]
#[ignore = "a study of minutes"]
fn share_of_days_told_by_size() {
    for (by_w, days) in [(0.0, 100), (2.0, 20), (4.0, 20), (8.0, 20)] {
        println!("{by_w} W: {} of {days}", days_told(4000..4000 + days, by_w));
    }
}
