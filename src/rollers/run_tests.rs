//! Tests of a whole roller run on rides made by a generator that integrates in fine steps and shares no formula with
//! the account: forces act on a rotating mass, power is what the rider must add.

use super::*;
use crate::rollers::{Reach, sensitivities};
use crate::session::{BearingFriction, Uncertainty};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

struct Truth {
    seconds: usize,
    crr_flat: f64,
    warm_up_share: f64,
    time_constant_s: f64,
    power_noise_w: f64,
    power_delay_s: usize,
}

const USUAL: Truth = Truth {
    seconds: 1200,
    crr_flat: 0.0034,
    warm_up_share: 0.13,
    time_constant_s: 200.0,
    power_noise_w: 4.0,
    power_delay_s: 0,
};

fn rider() -> RiderAndBike {
    RiderAndBike {
        bearing_friction: BearingFriction { constant_n: 0.0, linear_n_s_per_m: 0.0 },
        ..RiderAndBike::of_mass(84.0)
    }
}

fn rollers() -> Rollers {
    Rollers {
        drum_diameter_m: 0.111,
        drum_spacing_m: 0.28,
        no_load_power_w_at_40_km_h: Some(9.0),
        ..Rollers::default()
    }
}

/// Rides up to 11 m/s in twenty seconds and holds it with a wandering speed.
fn ride(truth: &Truth, seed: u64) -> Recording {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    // Loads by hand: the rear wheel's centre stands 0.3905 m from each drum's, 0.14 m to the side.
    let upright = (0.3905f64.powi(2) - 0.14f64.powi(2)).sqrt() / 0.3905;
    let load_n = 84.0 * 9.806_65 * (0.55 / upright + 0.45);
    let crr_drum = truth.crr_flat * ((0.0555 + 0.335) / 0.0555f64).sqrt();
    let rotating_kg = 4.0;
    let fine = 100;
    let (mut wander, mut speed) = (0.0, 2.0);
    let (mut power_w, mut speed_m_s) = (Vec::new(), Vec::new());
    for second in 0..truth.seconds {
        wander = 0.97 * wander + 0.05 * normal();
        let target = if second < 20 { 2.0 + 9.0 * second as f64 / 20.0 } else { 11.0 + wander };
        let slope = (target - speed) / fine as f64;
        let mut work = 0.0;
        for part in 0..fine {
            let t = second as f64 + part as f64 / fine as f64;
            let crr = crr_drum * (1.0 + truth.warm_up_share * (-t / truth.time_constant_s).exp());
            let force = crr * load_n + 9.0 * 3.6 / 40.0 + rotating_kg * slope * fine as f64;
            work += force * (speed + 0.5 * slope) / 0.976;
            speed += slope;
        }
        power_w.push((work / fine as f64 + truth.power_noise_w * normal()).round().max(0.0));
        speed_m_s.push((speed * 1000.0).round() / 1000.0);
    }
    power_w.rotate_right(truth.power_delay_s);
    Recording {
        time_s: (0..truth.seconds).map(|i| 1.78e9 + i as f64).collect(),
        cadence_rpm: vec![90.0; truth.seconds],
        temperature_c: vec![21.0; truth.seconds],
        power_w,
        speed_m_s,
        ..Recording::default()
    }
}

fn analysed(truth: &Truth, seed: u64) -> RollerRun {
    analyse(&ride(truth, seed), &rider(), &rollers(), &Choice::default()).unwrap()
}

fn error(run: &RollerRun) -> f64 {
    run.se_scatter.hypot(run.se_warm_up)
}

#[test]
fn crr_comes_back_from_simulated_rides_with_honest_errors() {
    // Forty rides with known truth. Errors in units of their standard error must have a root mean square near one:
    // between 0.7 and 1.3, which forty draws of a sound error pass in more than 99 % of cases (χ², 40 degrees).
    let (mut squares, mut worst) = (0.0f64, 0.0f64);
    for seed in 0..40 {
        let run = analysed(&USUAL, seed);
        let off = run.crr_flat - USUAL.crr_flat;
        squares += (off / error(&run)).powi(2);
        worst = worst.max(off.abs());
        let start = run.window_from_s / USUAL.time_constant_s;
        assert!((1.5..=5.0).contains(&start), "seed {seed}: window opens after {start:.1} time constants");
    }
    let rms = (squares / 40.0).sqrt();
    assert!((0.7..1.3).contains(&rms), "root mean square of errors over standard errors {rms}");
    assert!(worst < 4e-5, "{worst}");
}

#[test]
fn the_time_constant_of_the_warm_up_is_found() {
    let quiet = Truth { power_noise_w: 1.0, ..USUAL };
    let found = analysed(&quiet, 7).time_constant_s.unwrap();
    // Noise of 1 W moves it by about 4 % (standard error of the fit); three of them.
    assert!((found / USUAL.time_constant_s - 1.0).abs() < 0.12, "{found}");
}

#[test]
fn a_delay_between_power_and_speed_does_not_matter() {
    // The same ride with power two seconds late: the few seconds swapped at the ends carry noise only.
    let late = Truth { power_delay_s: 2, ..USUAL };
    let window = Choice { window: Some(StatedWindow { from_s: 800.0, to_s: 1190.0 }), ..Choice::default() };
    let value = |truth| analyse(&ride(truth, 3), &rider(), &rollers(), &window).unwrap().crr_flat;
    assert!((value(&USUAL) - value(&late)).abs() < 2e-6);
}

#[test]
fn a_ride_that_never_settles_has_no_value() {
    let short = Truth { seconds: 400, time_constant_s: 300.0, warm_up_share: 0.2, ..USUAL };
    let error = analyse(&ride(&short, 1), &rider(), &rollers(), &Choice::default()).unwrap_err();
    assert_eq!(error.code(), "no-steady-window");
    let brief = Truth { seconds: 150, ..USUAL };
    let message = analyse(&ride(&brief, 1), &rider(), &rollers(), &Choice::default()).unwrap_err().to_string();
    assert!(message.contains("ridden at one speed"), "{message}");
}

#[test]
fn a_stated_window_is_used_as_it_is_and_refused_outside_the_ride() {
    let recording = ride(&USUAL, 5);
    let with = |from_s, to_s| {
        let choice = Choice { window: Some(StatedWindow { from_s, to_s }), ..Choice::default() };
        analyse(&recording, &rider(), &rollers(), &choice)
    };
    let run = with(700.0, 1000.0).unwrap();
    assert_eq!((run.window_from_s, run.window_to_s), (700.0, 1000.0));
    assert!((run.sums.duration_s - 300.0).abs() < 1e-9);
    // What is left of the warm-up is carried whether or not the window was found: here Crr·0.13·e^(−4.25) or so.
    assert!(run.se_warm_up > 0.0 && run.se_warm_up < 2e-5);
    for (from_s, to_s) in [(2000.0, 3000.0), (900.0, 700.0), (f64::NAN, 900.0), (700.0, 710.0)] {
        assert_eq!(with(from_s, to_s).unwrap_err().code(), "inconsistent");
    }
}

#[test]
fn a_stop_splits_the_ride_and_the_longer_part_is_used() {
    let mut recording = ride(&Truth { seconds: 1500, ..USUAL }, 11);
    for i in 300..340 {
        recording.speed_m_s[i] = 0.0;
        recording.power_w[i] = 0.0;
    }
    let run = analyse(&recording, &rider(), &rollers(), &Choice::default()).unwrap();
    assert!(run.window_from_s > 340.0);
    assert!((run.crr_flat - USUAL.crr_flat).abs() < 3.0 * error(&run));
}

#[test]
fn unstated_drum_drag_is_told_and_raises_crr_by_it() {
    let bare = Rollers { no_load_power_w_at_40_km_h: None, ..rollers() };
    let recording = ride(&USUAL, 2);
    let run = analyse(&recording, &rider(), &bare, &Choice::default()).unwrap();
    assert!(run.findings.contains(&What::NoLoadDragAssumed));
    let known = analyse(&recording, &rider(), &rollers(), &Choice::default()).unwrap();
    // 9 W at 40 km/h is 0.81 N; over a load of about 856 N that is 0.000946 on the drums, by hand.
    let expected = 0.81 / known.inputs.load_sum_n().unwrap();
    let wide = known.inputs.crr_drum(&run.sums).unwrap();
    assert!((run.crr_drum - wide - expected).abs() < 1e-9);
}

#[test]
fn sensitivities_have_their_size_by_hand() {
    let run = analysed(&USUAL, 4);
    let lines = sensitivities(&run, &Uncertainty::default()).unwrap();
    let of = |source: &str| *lines.iter().find(|l| l.source == source).expect("a line");
    // 0.1 kg in 84 kg divides Crr by 1.00119.
    assert!((of("mass").crr / run.crr_flat + 0.1 / 84.0).abs() < 1e-6);
    // Power and efficiency scale input, of which the drums take a constant part.
    let input_over_tyres = 0.976 * run.sums.energy_j / run.inputs.tyre_energy_j(&run.sums);
    assert!((of("power scale").crr / run.crr_flat - 0.02 * input_over_tyres).abs() < 1e-9);
    assert!((of("drivetrain efficiency").crr / run.crr_flat - 0.005 / 0.976 * input_over_tyres).abs() < 1e-9);
    // √(R/(R + r)) goes with the square root of a drum that is small beside the wheel: about ½ · 0.5/111 · 0.858.
    assert!((of("drum diameter").crr / run.crr_flat - 0.5 * 0.0005 / 0.111 * 0.858).abs() < 2e-4);
    assert_eq!(of("mass").reach, Reach::Run);
    assert_eq!(of("power scale").reach, Reach::Session);
    // The unknown mass of the drums, 4 kg, counts with the difference of the end speeds alone, which trimming keeps so
    // small that it adds less than 3 % to the scatter.
    let by_hand = -4.0 * run.sums.half_speed_square_m2_s2 / (run.inputs.load_sum_n().unwrap() * run.sums.distance_m);
    let mass = of("turning mass of the drums").crr;
    assert!((mass - by_hand * run.inputs.flat_over_drum()).abs() < 1e-12);
    assert!(mass.abs() < 0.25 * run.se_scatter, "{mass}");
}
