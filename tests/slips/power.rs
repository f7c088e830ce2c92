//! Power that drops out for single seconds, and riders who stop pedalling.

use crate::day::{Dice, codes, drums, each, given, solved, told, tyres, warns_first};
use loopwright::analysis::RiddenSession;
use loopwright::record::Recording;
use loopwright::sample::align;

/// Zeros in a share of the seconds of some runs.
fn drop_out(inputs: &mut RiddenSession, share: f64, runs: impl Fn(usize) -> bool, seed: u64) {
    let mut dice = Dice(seed);
    for (k, recording) in inputs.recordings.iter_mut().enumerate() {
        for power in recording.power_w.iter_mut() {
            let lost = dice.next() < share;
            if lost && runs(k) {
                *power = 0.0;
            }
        }
    }
}

/// Zeros of two or three seconds in a share of the seconds of some runs.
fn drop_out_in_blocks(inputs: &mut RiddenSession, share: f64, runs: impl Fn(usize) -> bool, seed: u64) {
    let mut dice = Dice(seed);
    for (_, recording) in inputs.recordings.iter_mut().enumerate().filter(|(k, _)| runs(*k)) {
        let mut at = 0;
        while at + 4 < recording.len() {
            // Blocks of 2.5 s on average; none touches the next.
            if dice.next() < share / 2.5 {
                let length = if dice.next() < 0.5 { 2 } else { 3 };
                recording.power_w[at..at + length].fill(0.0);
                at += length;
            }
            at += 1;
        }
    }
}

/// What `count` seconds without pedalling do to power and speed, and how speed comes back over ten seconds.
fn coast(recording: &mut Recording, at: usize, count: usize) {
    let (power_w, speed_m_s) = (recording.power_w[at - 1], recording.speed_m_s[at - 1]);
    // The power that is missing slows 86 kg: P/(m v).
    let fall_m_s = power_w * count as f64 / (86.0 * speed_m_s);
    for i in at..at + count {
        recording.power_w[i] = 0.0;
        recording.speed_m_s[i] -= fall_m_s * (i + 1 - at) as f64 / count as f64;
    }
    for i in 0..10 {
        recording.speed_m_s[at + count + i] -= fall_m_s * (1.0 - (i + 1) as f64 / 11.0);
    }
}

#[test]
fn coasting_for_seconds_is_never_a_drop_out_where_there_is_cadence_and_hardly_ever_by_speed_alone() {
    for cadence in [false, true] {
        let (mut called, mut coasts) = (0, 0);
        for seed in 60..63 {
            let mut day = tyres(seed);
            for recording in &mut day.recordings {
                let n = recording.len();
                if cadence {
                    recording.cadence_rpm = vec![90.0; n];
                }
                for (k, at) in (60..n - 60).step_by(60).enumerate() {
                    let count = 2 + k % 3;
                    coast(recording, at, count);
                    if cadence {
                        recording.cadence_rpm[at..at + count].fill(0.0);
                    }
                    coasts += 1;
                }
                called += align(recording).0.drop_outs.count();
            }
        }
        println!("cadence {cadence}: {called} records in {coasts} coasts");
        // Without cadence speed alone tells, and a rider who at once pushes back to his speed hides some of its fall.
        let allowed = if cadence { 0 } else { 3 * coasts / 20 };
        assert!(coasts > 200 && called <= allowed, "cadence {cadence}: {called} records in {coasts} coasts");
    }
}

#[test]
fn drop_outs_of_two_and_three_seconds_are_told_and_with_cadence_do_not_move_the_difference() {
    for (cadence, share, code) in
        [(true, 0.05, "power-drop-outs"), (false, 0.05, "power-drop-outs"), (true, 0.2, "power-unreliable")]
    {
        let mut squares = 0.0;
        for seed in [1, 2, 4] {
            let mut sound = tyres(seed);
            if cadence {
                each(&mut sound, |r| r.cadence_rpm = vec![90.0; r.len()]);
            }
            let mut faulty = sound.clone();
            let of_b: Vec<bool> = sound.session.runs.iter().map(|r| r.setup == "b").collect();
            drop_out_in_blocks(&mut faulty, share, |k| of_b[k], 700 + seed);
            let (before, after) = (solved(&sound), solved(&faulty));
            let (a, b) = (before.contrasts[0].power_w, after.contrasts[0].power_w);
            squares += ((a.value.unwrap() - b.value.unwrap()) / a.se.unwrap()).powi(2);
            assert_eq!(told(&after, code).len(), 2, "{cadence} {share}: {:?}", codes(&after));
            assert_eq!(warns_first(&after), share > 0.1);
        }
        let moved = (squares / 3.0).sqrt();
        println!("cadence {cadence}, {share}: {moved:.2} standard errors");
        // Without cadence speed alone tells a drop-out, and some stay zeros; told they are all the same.
        let most = if cadence && share < 0.1 { 1.0 / 3.0 } else { 1.0 };
        assert!(moved < most, "cadence {cadence}, {share}: {moved}");
    }
}

#[test]
fn a_sound_day_has_no_drop_outs() {
    for seed in 0..2 {
        let day = tyres(seed);
        assert!(day.recordings.iter().all(|r| align(r).0.drop_outs.count() == 0), "seed {seed}");
        assert!(told(&solved(&day), "power-drop-outs").is_empty());
    }
}

#[test]
fn drop_outs_in_one_set_up_do_not_move_its_difference() {
    let mut squares = 0.0;
    for (seed, share) in [(1, 0.02), (2, 0.05), (4, 0.05)] {
        let sound = tyres(seed);
        let mut faulty = sound.clone();
        let of_b: Vec<bool> = sound.session.runs.iter().map(|r| r.setup == "b").collect();
        drop_out(&mut faulty, share, |k| of_b[k], 900 + seed);
        let (before, after) = (solved(&sound), solved(&faulty));
        let (a, b) = (before.contrasts[0].power_w, after.contrasts[0].power_w);
        let moved = (a.value.unwrap() - b.value.unwrap()).abs() / a.se.unwrap();
        // A bridged second is a guess of its power: chance moves one day by some of a third.
        assert!(moved < 0.5, "{share} of seed {seed}: moved by {moved} standard errors");
        squares += moved * moved;
        let findings = told(&after, "power-drop-outs");
        assert_eq!(findings.len(), 2, "the two runs of the set-up: {:?}", codes(&after));
        assert!(findings.iter().all(|f| f.run.is_some_and(|r| of_b[r - 1])));
    }
    assert!((squares / 3.0).sqrt() < 1.0 / 3.0, "{squares}");
}

#[test]
fn a_fifth_of_all_power_lost_is_told_before_any_number_and_does_not_move_cda() {
    let seed = 5;
    let sound = tyres(seed);
    let mut faulty = sound.clone();
    drop_out(&mut faulty, 0.2, |_| true, seed);
    let (before, after) = (solved(&sound), solved(&faulty));
    assert!(warns_first(&after) && told(&after, "power-unreliable").len() == 6, "{:?}", codes(&after));
    let (a, b) = (given(&before, 0), given(&after, 0));
    assert!((a.cda_m2 - b.cda_m2).abs() < a.cda_se, "{} and {}", a.cda_m2, b.cda_m2);
}

#[test]
fn bridged_seconds_keep_their_zero_and_gain_a_reason_in_the_table_of_samples() {
    let mut faulty = tyres(7);
    drop_out(&mut faulty, 0.05, |_| true, 7);
    let samples = loopwright::analysis::analyse(&faulty, Default::default()).expect("a solution").samples;
    let why = samples.column("left_out_because").expect("a column").str().expect("text");
    let power = samples.column("power_w").expect("a column").f64().expect("numbers");
    let bridged: Vec<f64> = why
        .iter()
        .zip(power.iter())
        .filter(|(w, _)| *w == Some("power drop-out, bridged"))
        .filter_map(|(_, p)| p)
        .collect();
    assert!(bridged.len() > 100 && bridged.iter().all(|p| *p == 0.0), "{}", bridged.len());
}

#[test]
fn a_rider_who_freewheels_keeps_the_zeros_whatever_they_cost() {
    let mut day = tyres(8);
    for recording in &mut day.recordings {
        let n = recording.len();
        recording.cadence_rpm = vec![90.0; n];
        // Four seconds without pedalling every two minutes, the crank at rest.
        for i in (0..n).filter(|i| i % 120 >= 116) {
            (recording.power_w[i], recording.cadence_rpm[i]) = (0.0, 0.0);
        }
        assert_eq!(align(recording).0.drop_outs.count(), 0);
    }
}

#[test]
fn drop_outs_on_rollers_are_bridged_too() {
    let sound = drums(9);
    let mut faulty = sound.clone();
    drop_out(&mut faulty, 0.05, |k| k == 1, 9);
    let (before, after) = (solved(&sound), solved(&faulty));
    let (a, b) = (given(&before, 1), given(&after, 1));
    assert!((a.crr - b.crr).abs() < a.crr_se / 3.0, "{} and {}", a.crr, b.crr);
    assert_eq!(told(&after, "power-drop-outs").len(), 1);
}
