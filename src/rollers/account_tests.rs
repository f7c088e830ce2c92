//! Tests of the energy account on recordings made by hand.

use super::*;
use crate::session::BearingFriction;

fn rider() -> RiderAndBike {
    RiderAndBike {
        bearing_friction: BearingFriction { constant_n: 0.2, linear_n_s_per_m: 0.01 },
        ..RiderAndBike::of_mass(80.0)
    }
}

fn rollers() -> Rollers {
    Rollers { no_load_power_w_at_40_km_h: Some(10.0), ..Rollers::default() }
}

/// A ride whose power is exactly what the balance asks for at a Crr on the drums, from mean forces over each second.
fn ride(speeds: &[f64], crr_drum: f64) -> Recording {
    let inputs = DrumInputs::new(&rider(), &rollers(), None);
    let load = inputs.load_sum_n().unwrap();
    let rotating = 0.14 / (0.335 * 0.335);
    let mut power_w = vec![0.0];
    for pair in speeds.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let mean = 0.5 * (a + b);
        // Mean of v² over a second of linear change, as mean² + variance.
        let mean_square = mean * mean + (b - a) * (b - a) / 12.0;
        let road = crr_drum * load * mean
            + 10.0 * mean / (40.0 / 3.6)
            + 0.2 * mean
            + 0.01 * mean_square
            + rotating * mean * (b - a);
        power_w.push(road / 0.976);
    }
    let time_s = (0..speeds.len()).map(|i| 1e9 + i as f64).collect();
    Recording { time_s, power_w, speed_m_s: speeds.to_vec(), ..Recording::default() }
}

fn total(steps: &[Step]) -> WindowSums {
    let mut sums = WindowSums::default();
    steps.iter().for_each(|s| sums.add(&s.sums));
    sums
}

#[test]
fn the_balance_gives_back_the_crr_that_made_the_power() {
    // Forces and power were put together term by term above; agreement is to rounding.
    let speeds: Vec<f64> = (0..200).map(|i| 10.0 + 2.0 * (f64::from(i) / 9.0).sin()).collect();
    let sums = total(&steps(&ride(&speeds, 0.0091)).unwrap());
    let inputs = DrumInputs::new(&rider(), &rollers(), None);
    assert!((inputs.crr_drum(&sums).unwrap() - 0.0091).abs() < 1e-12);
    // r 0.335 m on a drum of 0.055 m radius: √(0.055/0.39), by hand.
    assert!((inputs.crr_flat(&sums).unwrap() - 0.0091 * (0.055f64 / 0.39).sqrt()).abs() < 1e-12);
}

#[test]
fn between_like_speeds_no_inertia_and_no_lag_matters() {
    // A whole number of swings: the window begins and ends at one speed.
    let swing = |i: i32| 10.0 + 1.5 * (2.0 * std::f64::consts::PI * f64::from(i) / 50.0).sin();
    let speeds: Vec<f64> = (-5..=305).map(swing).collect();
    let mut recording = ride(&speeds, 0.0091);
    let window = |recording: &Recording| total(&steps(recording).unwrap()[5..305]);
    let inputs = DrumInputs::new(&rider(), &rollers(), None);
    let known = inputs.crr_drum(&window(&recording)).unwrap();
    let heavy = DrumInputs { drum_rotating_mass_kg: 5.0, ..inputs.clone() };
    assert!((heavy.crr_drum(&window(&recording)).unwrap() - known).abs() < 1e-12);
    recording.power_w.rotate_right(2);
    // Power two seconds late swaps the power of two seconds at one end for two at the other, which are alike here.
    assert!((inputs.crr_drum(&window(&recording)).unwrap() - known).abs() < 1e-6);
}

#[test]
fn gaps_and_missing_values_leave_steps_out() {
    let mut recording = ride(&[10.0; 20], 0.009);
    recording.power_w[4] = f64::NAN;
    recording.speed_m_s[8] = f64::NAN;
    recording.time_s.iter_mut().skip(15).for_each(|t| *t += 60.0);
    let steps = steps(&recording).unwrap();
    // Of 19 steps: one without power, two beside the missing speed, one across the gap.
    assert_eq!(steps.len(), 15);
    let inputs = DrumInputs::new(&rider(), &rollers(), None);
    assert!((inputs.crr_drum(&total(&steps)).unwrap() - 0.009).abs() < 1e-12);
}

#[test]
fn a_recording_without_power_or_speed_is_refused() {
    let ride = ride(&[10.0; 20], 0.009);
    let none = vec![f64::NAN; 20];
    let said = |r: &Recording| steps(r).unwrap_err().to_string();
    assert!(said(&Recording { power_w: none.clone(), ..ride.clone() }).contains("no power"));
    assert!(said(&Recording { speed_m_s: none, ..ride }).contains("no speed"));
    assert!(steps(&Recording::default()).is_err());
}

#[test]
fn temperature_brings_crr_to_the_reference_only_when_both_are_stated() {
    let sums = total(&steps(&ride(&[10.0; 50], 0.009)).unwrap());
    let stated = Rollers { temperature_coefficient_per_c: 0.008, reference_temperature_c: 25.0, ..rollers() };
    let flat = |rollers: &Rollers, t| DrumInputs::new(&rider(), rollers, t).crr_flat(&sums).unwrap();
    let plain = flat(&rollers(), Some(20.0));
    // UN R117: ×0.96 from 20 to 25 °C with K 0.008.
    assert!((flat(&stated, Some(20.0)) / plain - 0.96).abs() < 1e-12);
    assert_eq!(flat(&stated, None), plain);
}
