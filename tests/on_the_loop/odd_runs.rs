//! Runs that cannot be used among others: named with the reason, left out, and the rest solved.

use super::days::{NOISE, day, has_said, moved, refusal, road, said, solved};
use loopwright::analysis::RiddenSession;

/// The day with one run spoiled, and the same day with that run not there.
fn with_and_without(run: usize, spoil: impl Fn(&mut RiddenSession)) -> (RiddenSession, RiddenSession) {
    let sound = road(21);
    let mut spoiled = sound.clone();
    spoil(&mut spoiled);
    let mut without = sound;
    without.session.runs.remove(run);
    without.recordings.remove(run);
    (spoiled, without)
}

fn is_left_out(run: usize, words: &str, spoil: impl Fn(&mut RiddenSession)) {
    let (spoiled, without) = with_and_without(run, spoil);
    let (now, expected) = (solved(&spoiled), solved(&without));
    assert_eq!(now.findings[0].code, "run-left-out", "{words}: it comes first");
    assert_eq!(now.findings[0].run, Some(run + 1));
    assert!(now.findings[0].message.contains(words), "{}", now.findings[0].message);
    assert_eq!((&now.setups, &now.contrasts), (&expected.setups, &expected.contrasts), "{words}");
    assert_eq!(now.runs.len(), 4);
    assert_eq!(now.runs[run].laps.iter().filter(|l| l.used).count(), 0);
    assert_eq!(now.runs[(run + 1) % 4].laps, expected.runs[if run == 3 { 0 } else { run }].laps);
}

#[test]
fn a_run_with_the_meter_off_is_left_out_by_name() {
    for run in [0, 2] {
        is_left_out(run, "run-", |day| day.recordings[run].power_w.fill(0.0));
        is_left_out(run, "no power", |day| day.recordings[run].power_w.fill(f64::NAN));
    }
    let nearly = |day: &mut RiddenSession| {
        day.recordings[1].power_w.iter_mut().enumerate().for_each(|(i, p)| *p = 2.0 + (i % 3) as f64)
    };
    is_left_out(1, "mean power over its laps is 3 W", nearly);
}

#[test]
fn a_run_on_another_loop_is_left_out_by_name() {
    for by_deg in [0.02, 1.0] {
        is_left_out(1, "another loop", |day| day.recordings[1].latitude_deg.iter_mut().for_each(|l| *l += by_deg));
        // The first run gives the plane, and the longest the gate.
        is_left_out(0, "another loop", |day| day.recordings[0].latitude_deg.iter_mut().for_each(|l| *l += by_deg));
    }
}

#[test]
fn a_run_the_other_way_round_is_left_out_by_name() {
    is_left_out(2, "against the direction", |day| {
        day.recordings[2].latitude_deg.reverse();
        day.recordings[2].longitude_deg.reverse();
    });
}

#[test]
fn a_run_that_stops_all_the_time_is_left_out_by_name_and_one_that_stops_now_and_then_costs_its_steps() {
    let stops = |every_s: usize| {
        move |day: &mut RiddenSession| {
            let speed = &mut day.recordings[3].speed_m_s;
            (0..speed.len()).step_by(every_s).for_each(|i| speed[i] = 0.5);
        }
    };
    is_left_out(3, "stop", stops(15));
    let (spoiled, without) = with_and_without(3, stops(60));
    let now = solved(&spoiled);
    assert!(now.runs[3].laps.iter().any(|l| l.used && l.share_used < 0.95), "{:?}", now.runs[3].laps);
    assert!(moved(&now, &solved(&without)) < 1.0);
}

#[test]
fn where_no_run_can_be_used_the_day_is_refused_for_its_own_reason() {
    let mut all = road(22);
    all.recordings.iter_mut().for_each(|r| r.power_w.fill(0.0));
    assert!(refusal(&all).contains("mean power over its laps is 0 W"), "{}", refusal(&all));
    let mut one = road(23);
    one.session.setups.truncate(1);
    one.session.runs.truncate(1);
    one.recordings.truncate(1);
    one.recordings[0].power_w.fill(f64::NAN);
    assert!(refusal(&one).contains("no power"), "{}", refusal(&one));
}

#[test]
fn a_set_up_without_a_run_that_can_be_used_keeps_its_row_without_values() {
    let mut day = road(24);
    // Both runs of b.
    day.recordings[1].power_w.fill(0.0);
    day.recordings[2].power_w.fill(0.0);
    let solution = solved(&day);
    assert_eq!(solution.setups.len(), 2);
    assert!(solution.setups[0].crr.value.is_some() && solution.setups[1].crr.value.is_none());
    assert_eq!(said(&solution, "run-left-out").len(), 2);
    assert!(solution.contrasts.is_empty());
}

#[test]
fn a_lap_mark_too_many_or_too_few_is_named() {
    let track = "kind = \"track\"\nlength_m = 333.0\nbend_radius_m = 27.0\ntransition_m = 12.0";
    let sound =
        day("order = [\"a\", \"b\", \"b\", \"a\"]\nlaps_per_run = 12\nspeeds_km_h = [30.0, 42.0]", track, NOISE, 25);
    assert!(!has_said(&solved(&sound), "lap-marks-odd"));
    let marks = &sound.recordings[1].lap_marks_s;
    for share in [0.1, 0.5, 0.85] {
        let mut odd = sound.clone();
        odd.recordings[1].lap_marks_s.insert(5, marks[4] + share * (marks[5] - marks[4]));
        let told = said(&solved(&odd), "lap-marks-odd");
        assert!(told.len() == 1 && told[0].contains("mark 6 is pressed"), "{share}: {told:?}");
    }
    let mut odd = sound.clone();
    odd.recordings[1].lap_marks_s.remove(6);
    let told = said(&solved(&odd), "lap-marks-odd");
    assert!(told.len() == 1 && told[0].contains("after mark 6 one is missing"), "{told:?}");
}
