//! Laps that do not go with the others: a gate where speed is not changed, one lap that carries the answer.

use crate::day::{codes, scale, solved, told, tyres};
use loopwright::analysis::RiddenSession;
use loopwright::session::Position;
use loopwright::solution::{Contrast, Solution};

fn watts(solution: &Solution) -> (f64, f64) {
    let Contrast { power_w, .. } = &solution.contrasts[0];
    (power_w.value.unwrap(), power_w.se.unwrap())
}

/// Where the rider of the first run is at a share of its third lap.
fn place_at(day: &RiddenSession, solution: &Solution, share: f64) -> Position {
    let lap = &solution.runs[0].laps[2];
    let second = (lap.start_s + share * lap.duration_s) as usize;
    let ride = &day.recordings[0];
    Position { lat_deg: ride.latitude_deg[second], lon_deg: ride.longitude_deg[second] }
}

#[test]
fn a_gate_far_from_where_speed_is_changed_is_told_and_moves_no_difference() {
    let day = tyres(70);
    let as_ridden = solved(&day);
    assert!(told(&as_ridden, "speed-changes-within").is_empty(), "{:?}", codes(&as_ridden));
    for share in [0.35, 0.5, 0.62] {
        let mut other = day.clone();
        other.session.circuit.gate = Some(place_at(&day, &as_ridden, share));
        let solution = solved(&other);
        assert_eq!(told(&solution, "speed-changes-within").len(), 1, "{share}: {:?}", codes(&solution));
        // Five laps of a run instead of six, and other ones: the difference stays within its error.
        let ((was, _), (is, se)) = (watts(&as_ridden), watts(&solution));
        assert!((is - was).abs() < se, "{share}: {was} {is} ± {se}");
    }
}

#[test]
fn the_answer_without_a_lap_is_that_of_a_session_that_leaves_it_out() {
    let day = tyres(71);
    let solution = solved(&day);
    // The baseline is the second fastest, so that no pair is added to those with it.
    assert_eq!(solution.leave_one_out.len(), solution.contrasts.len());
    let first = &solution.leave_one_out[0];
    let (value, se) = watts(&solution);
    let lap = first.lap.as_ref().expect("a lap that moves it most");
    let mut without = day.clone();
    without.session.runs[lap.run - 1].leave_out = vec![lap.lap.unwrap()];
    let (anew, _) = watts(&solved(&without));
    // One step with the weights and the wind's scale as they were, against a whole solution.
    assert!((lap.power_w - anew).abs() < 0.15 * se, "{value} {lap:?} {anew} ± {se}");
    assert!((lap.power_w - value).abs() > 0.15 * se, "{value} {lap:?} ± {se}");
    let run = first.run.as_ref().expect("a run that moves it most");
    let mut without = day.clone();
    let laps = solution.runs[run.run - 1].laps.len();
    without.session.runs[run.run - 1].leave_out = (1..=laps).collect();
    let (anew, _) = watts(&solved(&without));
    assert!((run.power_w - anew).abs() < 0.5 * se, "{value} {run:?} {anew} ± {se}");
}

#[test]
fn a_lap_with_more_power_than_the_meter_should_have_shown_is_the_one_that_is_named() {
    let mut day = tyres(72);
    let lap = solved(&day).runs[1].laps[2].clone();
    let seconds = lap.start_s as usize..(lap.start_s + lap.duration_s) as usize;
    // A slow lap; 5 % of its power are some 7 W, which screening lets pass.
    scale(&mut day.recordings[1].power_w[seconds], 1.05);
    let solution = solved(&day);
    assert!(solution.runs[1].laps[2].used, "{:?}", solution.runs[1].laps[2]);
    let of_b = solution.leave_one_out.iter().find(|l| l.setup == "b" && l.baseline == "a").unwrap();
    let named = of_b.lap.as_ref().unwrap();
    assert_eq!((named.run, named.lap), (2, Some(lap.lap)), "{named:?}");
}
