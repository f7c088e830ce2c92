//! Meters that read half, speeds in another unit: implausible in every form of answer.

use crate::day::{codes, drums, each, scale, solve, solved, told, tyres, warns_first};
use loopwright::error::Error;
use loopwright::session::Sharing;
use loopwright::solution::Solution;

/// Refused for a reason that is no lap's, or told before any number.
fn not_in_silence(answer: Result<Solution, Error>, what: &str) {
    match answer {
        Ok(solution) => {
            assert!(warns_first(&solution), "{what}: {:?}", codes(&solution));
            assert!(!told(&solution, "implausible").is_empty(), "{what}: {:?}", codes(&solution));
            for setup in &solution.setups {
                assert!(setup.crr.value.is_none_or(|crr| (0.001..=0.02).contains(&crr)), "{what}: {:?}", setup.crr);
            }
        }
        Err(Error::Contradicted { next, .. }) => assert!(next.contains("speed"), "{what}: {next}"),
        // Crr that comes out near zero still drifts by a tenth.
        Err(Error::NoSteadyWindow { .. }) => {}
        Err(error) => panic!("{what}: {error}"),
    }
}

#[test]
fn a_meter_of_half_or_three_quarters_is_implausible_with_its_cause() {
    for factor in [0.5, 0.7] {
        let mut day = tyres(40);
        each(&mut day, |r| scale(&mut r.power_w, factor));
        let solution = solved(&day);
        not_in_silence(Ok(solution.clone()), &format!("{factor}"));
        let message = &told(&solution, "implausible")[0].message;
        assert!(message.contains("power meter"), "{message}");
        for run in &solution.runs {
            let braking = run.laps.iter().filter(|l| l.reason.as_deref() == Some("braking")).count();
            assert!(3 * braking <= run.laps.len(), "{factor}: {braking} of {} laps", run.laps.len());
        }
    }
}

#[test]
fn so_it_is_where_rolling_and_air_cannot_be_told_apart() {
    let mut day = tyres(41);
    day.session.solve.crr = Sharing::PerSetup;
    each(&mut day, |r| scale(&mut r.power_w, 0.5));
    // Half of the laps away leaves one speed.
    for run in &mut day.session.runs {
        run.leave_out = vec![1, 3, 5];
        run.planned_speed_km_h = Vec::new();
    }
    not_in_silence(solve(&day), "one speed");
}

#[test]
fn speed_in_another_unit_is_told_or_refused_and_no_lap_is_blamed() {
    for factor in [3.6, 1.0 / 3.6] {
        let mut day = tyres(42);
        each(&mut day, |r| {
            scale(&mut r.speed_m_s, factor);
            scale(&mut r.distance_m, factor);
        });
        match solve(&day) {
            Ok(solution) => {
                not_in_silence(Ok(solution.clone()), &format!("{factor}"));
                let message = &told(&solution, "implausible")[0].message;
                assert!(message.contains("unit"), "{message}");
            }
            Err(error) => {
                let message = error.to_string();
                assert!(
                    message.contains("unit") || message.contains("wheel") || message.contains("speed"),
                    "{message}"
                );
            }
        }
    }
}

#[test]
fn a_run_whose_meter_failed_is_the_run_and_not_its_laps() {
    for factor in [0.5, 2.0] {
        let mut day = tyres(43);
        scale(&mut day.recordings[3].power_w, factor);
        let solution = solved(&day);
        let about_it = ["run-left-out", "run-unlike", "run-differs", "runs-of-setup-differ"];
        assert!(codes(&solution).iter().any(|c| about_it.contains(c)), "{factor}: {:?}", codes(&solution));
        assert!(warns_first(&solution));
        let reasons: Vec<&str> = solution.runs[3].laps.iter().filter_map(|l| l.reason.as_deref()).collect();
        assert!(reasons.iter().filter(|r| **r == "braking").count() <= 2, "{reasons:?}");
    }
}

#[test]
fn a_crr_beyond_belief_is_never_a_result_on_rollers() {
    for factor in [0.1, 5.5] {
        let mut day = drums(44);
        each(&mut day, |r| scale(&mut r.power_w, factor));
        not_in_silence(solve(&day), &format!("{factor}"));
    }
    let solution = solved(&drums(44));
    assert!(told(&solution, "implausible").is_empty(), "{:?}", codes(&solution));
}

#[test]
fn a_sound_day_is_not_doubted() {
    for seed in 45..48 {
        let solution = solved(&tyres(seed));
        assert!(!warns_first(&solution), "seed {seed}: {:?}", codes(&solution));
    }
}
