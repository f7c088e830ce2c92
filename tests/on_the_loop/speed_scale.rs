//! The scale of speed: a wheel size that is off is told, refused or mended by positions, and nothing is said of a sound one.

use super::days::{has_said, moved, refusal, road, said, solved};
use loopwright::analysis::RiddenSession;
use loopwright::session::SpeedScale;

fn times(inputs: &RiddenSession, factor: f64) -> RiddenSession {
    let mut out = inputs.clone();
    for r in &mut out.recordings {
        r.speed_m_s.iter_mut().chain(&mut r.distance_m).for_each(|x| *x *= factor);
    }
    out
}

fn calibrated(mut inputs: RiddenSession) -> RiddenSession {
    inputs.session.solve.speed_scale = SpeedScale::Calibrate;
    inputs
}

#[test]
fn a_wheel_that_is_off_is_told_with_both_lengths() {
    let sound = road(31);
    for factor in [0.9, 0.98, 1.012, 1.02, 1.1] {
        let told = said(&solved(&times(&sound, factor)), "speed-scale-off");
        assert_eq!(told.len(), 1, "{factor}");
        let way = if factor > 1.0 { "too high" } else { "too low" };
        assert!(told[0].contains(way) && told[0].contains("by positions"), "{told:?}");
    }
}

#[test]
fn a_mistaken_unit_is_refused_with_its_likely_cause() {
    let sound = road(32);
    for (factor, cause) in [(3.6, "km/h in a column"), (0.621, "miles an hour are taken for km/h")] {
        let refused = refusal(&times(&sound, factor));
        assert!(refused.contains(cause), "{refused}");
    }
}

#[test]
fn positions_bring_a_wrong_wheel_back_and_their_error_is_in_the_budget() {
    let sound = road(33);
    let right = solved(&sound);
    for factor in [0.9, 0.98, 1.02, 1.1] {
        let wrong = solved(&times(&sound, factor));
        let mended = solved(&calibrated(times(&sound, factor)));
        assert!(moved(&wrong, &right) > 2.0 || (factor - 1.0_f64).abs() < 0.05, "{factor}: {}", moved(&wrong, &right));
        assert!(moved(&mended, &right) < 0.8, "{factor}: {}", moved(&mended, &right));
        assert!(has_said(&mended, "speed-calibrated") && !has_said(&mended, "speed-scale-off"), "{factor}");
        let line = mended.budget.iter().find(|l| l.source == "speed scale").expect("its line");
        assert!((0.0015..0.006).contains(&line.standard_uncertainty), "{}", line.standard_uncertainty);
    }
}

#[test]
fn the_wheel_of_one_run_is_told_from_one_per_cent_on() {
    let sound = road(34);
    for (factor, told) in [(1.0, false), (1.01, true), (0.985, true), (1.025, true)] {
        let mut odd = sound.clone();
        odd.recordings[2].speed_m_s.iter_mut().for_each(|v| *v *= factor);
        odd.recordings[2].distance_m.iter_mut().for_each(|v| *v *= factor);
        let solution = solved(&odd);
        let runs: Vec<_> = solution.findings.iter().filter(|f| f.code == "wheel-differs").map(|f| f.run).collect();
        assert_eq!(runs, if told { vec![Some(3)] } else { vec![] }, "{factor}");
    }
    // Of another size altogether its laps are not those of the loop.
    let mut odd = sound.clone();
    odd.recordings[2].speed_m_s.iter_mut().for_each(|v| *v *= 1.08);
    let solution = solved(&odd);
    assert!(said(&solution, "run-left-out")[0].contains("by its wheel"), "{:?}", said(&solution, "run-left-out"));
}

#[test]
fn calibrating_without_anything_to_calibrate_by_is_refused() {
    let mut day = calibrated(road(35));
    for r in &mut day.recordings {
        r.latitude_deg.fill(f64::NAN);
        r.longitude_deg.fill(f64::NAN);
    }
    day.session.circuit.length_m = Some(1250.0);
    assert!(refusal(&day).contains("calibrate"), "{}", refusal(&day));
}
