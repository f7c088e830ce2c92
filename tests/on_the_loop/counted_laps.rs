//! Laps counted by distance on a track of stated bends: the length by which they are counted is a line of the budget of the
//! size that solving with another length shows, and after a hole in the distance no lap is placed by chance.

use super::days::{NOISE, day, has_said, moved, said, solved};
use loopwright::analysis::RiddenSession;
use loopwright::record::Recording;
use loopwright::solution::{BudgetLine, Solution};
use std::f64::consts::TAU;

const RUNS: &str = "order = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 16\nspeeds_km_h = [30.0, 42.0]";
/// Of a length at which a metre more or less keeps the number of steps.
const TRACK: &str =
    "kind = \"track\"\nlength_m = 410.0\nbend_radius_m = 32.0\ntransition_m = 15.0\nhome_straight_bearing_deg = 65.0";

/// Timed at the line, and no positions.
fn timed(seed: u64) -> RiddenSession {
    day(RUNS, &format!("{TRACK}\npositions = false"), NOISE, seed)
}

/// The same day begun at the line, and no lap mark.
fn counted(seed: u64) -> RiddenSession {
    let mut out = timed(seed);
    for r in &mut out.recordings {
        let line_s = r.lap_marks_s[0];
        keep(r, |t| t >= line_s);
        r.lap_marks_s.clear();
    }
    out
}

/// The record without some of its instants.
fn keep(r: &mut Recording, wanted: impl Fn(f64) -> bool) {
    let kept: Vec<bool> = r.time_s.iter().map(|t| wanted(*t)).collect();
    r.keep_rows(&kept);
}

/// The same loop ridden further out, by so much in a lap.
fn longer(inputs: &RiddenSession, by_m: f64) -> RiddenSession {
    let mut out = inputs.clone();
    let c = &mut out.session.circuit;
    (c.length_m, c.bend_radius_m) = (c.length_m.map(|l| l + by_m), c.bend_radius_m.map(|r| r + by_m / TAU));
    out
}

fn line_of(solution: &Solution) -> Option<&BudgetLine> {
    solution.budget.iter().find(|l| l.source == "length of the lap")
}

/// By how much Crr, CdA and the difference of Crr move when the lap is longer, and shorter, by so much.
fn moves(inputs: &RiddenSession, by_m: f64) -> [[f64; 2]; 3] {
    let base = solved(inputs);
    let [plus, minus] = [by_m, -by_m].map(|by| solved(&longer(inputs, by)));
    let of = |value: &dyn Fn(&Solution) -> f64| [&plus, &minus].map(|s| value(s) - value(&base));
    [
        of(&|s| s.setups[0].crr.value.expect("told apart")),
        of(&|s| s.setups[0].cda_m2.value.expect("told apart")),
        of(&|s| s.contrasts[0].crr.value.expect("told apart")),
    ]
}

#[test]
fn the_length_of_counted_laps_is_a_line_of_the_size_that_other_lengths_show() {
    for (seed, sd_m) in [(71, 0.2), (72, 0.2), (72, 1.0)] {
        let mut inputs = counted(seed);
        inputs.session.circuit.length_sd_m = Some(sd_m);
        let solution = solved(&inputs);
        let line = line_of(&solution).expect("its line");
        assert_eq!((line.standard_uncertainty, line.unit.as_str()), (sd_m, "m"));
        let told = [line.crr, line.cda_m2, line.contrasts[0].crr].map(|c| c.expect("a contribution"));
        for (told, [plus, minus]) in told.into_iter().zip(moves(&inputs, sd_m)) {
            // Of a parabola through both.
            let seen = (0.5 * (plus - minus)).hypot(3f64.sqrt() * 0.5 * (plus + minus));
            // Other laps at the ends of runs, and other weights, move a little too.
            assert!((told - seen).abs() < 0.25 * told.max(seen), "{seed} {sd_m}: {told} {seen}, {plus} {minus}");
        }
    }
}

#[test]
fn without_a_statement_the_usual_error_of_the_length_stands() {
    let solution = solved(&counted(73));
    assert_eq!(line_of(&solution).expect("its line").standard_uncertainty, 1.5);
}

#[test]
fn laps_that_are_seen_have_no_such_line() {
    let mut marked = timed(74);
    marked.session.circuit.length_sd_m = Some(2.0);
    assert!(line_of(&solved(&marked)).is_none());
    let mut placed = day(RUNS, &format!("{TRACK}\npositions = true"), NOISE, 75);
    placed.session.circuit.length_sd_m = Some(2.0);
    assert!(line_of(&solved(&placed)).is_none());
}

#[test]
fn after_a_hole_ridden_through_counted_laps_are_told_and_not_used() {
    let sound = counted(76);
    let before = solved(&sound);
    assert!(!has_said(&before, "way-unknown"));
    for lost_s in [8.0, 25.0, 70.0] {
        let mut broken = sound.clone();
        let r = &mut broken.recordings[1];
        let from_s = r.time_s[0] + 0.5 * (r.time_s[r.time_s.len() - 1] - r.time_s[0]);
        let hole_s = from_s - r.time_s[0];
        keep(r, |t| !(from_s..from_s + lost_s).contains(&t));
        let solution = solved(&broken);
        let told = said(&solution, "way-unknown");
        assert!(told.len() == 1 && told[0].contains("A lap mark at the line"), "{lost_s}: {told:?}");
        let laps = &solution.runs[1].laps;
        let (early, late): (Vec<_>, Vec<_>) = laps.iter().partition(|l| l.start_s + l.duration_s < hole_s - 1.0);
        assert!(early.iter().filter(|l| l.used).count() >= 5, "{lost_s}: {laps:?}");
        assert!(late.len() >= 5 && late.iter().all(|l| !l.used && l.reason.is_some()), "{lost_s}: {laps:?}");
        assert!(moved(&solution, &before) < 1.0, "{lost_s}: {}", moved(&solution, &before));
    }
}

#[test]
fn a_lap_mark_after_a_hole_begins_the_count_anew() {
    let timed = timed(77);
    let mut broken = counted(77);
    let before = solved(&broken);
    // The record of run 2 stops for 30 s after its seventh pass, and the rider presses the button at the tenth.
    let marks = &timed.recordings[1].lap_marks_s;
    let r = &mut broken.recordings[1];
    keep(r, |t| !(marks[6] + 10.0..marks[6] + 40.0).contains(&t));
    let start_s = r.time_s[0];
    r.lap_marks_s = vec![marks[9]];
    let solution = solved(&broken);
    assert!(has_said(&solution, "way-unknown"));
    let laps = &solution.runs[1].laps;
    let after: Vec<_> = laps.iter().filter(|l| l.start_s > marks[9] - start_s - 8.0).collect();
    assert!(after.len() >= 5 && after.iter().filter(|l| l.used).count() + 1 >= after.len(), "{laps:?}");
    for lap in after.iter().filter(|l| l.used) {
        let off_m =
            marks.iter().map(|m| (m - start_s - lap.start_s).abs() * lap.mean_speed_m_s).fold(f64::MAX, f64::min);
        assert!(off_m < 45.0, "lap {}: {off_m} m from the line", lap.lap);
    }
    assert!(moved(&solution, &before) < 1.0, "{}", moved(&solution, &before));
}
