//! Pooled effects on made-up days of known error.

use super::super::choose::{Choice, Instruments};
use super::*;
use crate::factor::{Curve, Effects, FactorResult, LevelEffect};
use crate::pool::made_up_day::made_up_day;
use crate::pool::told::DayPair;
use crate::solution::Quantities;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

const Z_95: f64 = 1.959_963_985;

fn interval(value: f64, se: f64) -> Interval {
    Interval { value, se, low: value - Z_95 * se, high: value + Z_95 * se, dof: None, p_value: None }
}

/// A day with one kind of two levels and a straight curve, and one pair of which the instruments have `share` of the variance.
fn day(place: usize, effect: Interval, slope: Interval, share: f64) -> Day {
    let measured = Told::Measured(Measure {
        value: 1.0,
        se: 1.0,
        dof: f64::INFINITY,
        scatter_se: None,
        prior_se: None,
        run_to_run_se: None,
        instrument_se: Some(share.sqrt()),
        loadings: None,
    });
    let level = LevelEffect { level: "deep".into(), effect, p_holm: None };
    let output = FactorOutput {
        output: "power_w".into(),
        effects: vec![Effects {
            factor: "wheel".into(),
            reference: "low".into(),
            levels: vec![level],
            ..Effects::default()
        }],
        curves: vec![Curve { factor: "pressure_kpa".into(), shape: "straight".into(), slope, ..Curve::default() }],
        ..FactorOutput::default()
    };
    let pair = DayPair {
        setup: "b".into(),
        baseline: "a".into(),
        told: Quantities { crr: Told::Unknown, cda_m2: Told::Unknown, power_w: measured },
    };
    let factors = FactorResult { factors: Vec::new(), outputs: vec![Answer::Told(output)] };
    made_up_day(place, &["a".into(), "b".into()], vec![pair], factors)
}

fn pooled(days: &[Day], instruments: Instruments) -> Vec<PooledEffect> {
    let agreed = Agreed::of(days, &Choice { instruments, ..Choice::default() }).expect("days that go together");
    effects(days, &agreed).expect("a finite mean")
}

#[test]
fn two_days_give_the_weighted_mean_and_a_shared_part_stays() {
    // Weights 1/0.09 and 1/0.36: 4 to 1; standard error 1/√(1/0.09 + 1/0.36).
    let days = [
        day(1, interval(-4.0, 0.3), interval(0.01, 0.002), 0.0),
        day(2, interval(-5.0, 0.6), interval(0.02, 0.004), 0.0),
    ];
    let all = pooled(&days, Instruments::Shared);
    assert_eq!(all.iter().map(|e| e.factor.as_str()).collect::<Vec<_>>(), ["wheel"]);
    let e = all[0].effect.together;
    assert!((e.value.unwrap() + 4.2).abs() < 1e-9, "{e:?}");
    assert!((e.se.unwrap() - (1.0 / 0.09_f64 + 1.0 / 0.36).sqrt().recip()).abs() < 1e-9, "{e:?}");
    // Three quarters of the variance of both days from one meter: that part does not average out.
    let days =
        [day(1, interval(-4.0, 0.4), interval(0.0, 1.0), 0.75), day(2, interval(-4.0, 0.4), interval(0.0, 1.0), 0.75)];
    let se = |i| pooled(&days, i)[0].effect.together.se.unwrap();
    assert!((se(Instruments::Shared) - (0.12_f64 + 0.02).sqrt()).abs() < 1e-9);
    assert!((se(Instruments::Separate) - 0.08_f64.sqrt()).abs() < 1e-9);
}

#[test]
fn a_day_that_counts_from_the_other_level_is_turned_and_a_bent_curve_has_no_slope() {
    let first = day(1, interval(-4.0, 0.3), interval(0.01, 0.002), 0.0);
    let mut second = day(2, interval(4.2, 0.3), interval(0.02, 0.002), 0.0);
    if let Some(Answer::Told(output)) = second.factors.as_mut().and_then(|f| f.outputs.first_mut()) {
        output.effects[0].reference = "deep".into();
        output.effects[0].levels[0].level = "low".into();
        output.curves[0].shape = "one bend".into();
    }
    let all = pooled(&[first, second], Instruments::Shared);
    assert_eq!(all.len(), 1, "{all:?}");
    assert_eq!((all[0].level.as_str(), all[0].against.as_str()), ("deep", "low"));
    assert!((all[0].effect.together.value.unwrap() + 4.1).abs() < 1e-9);
}

#[test]
fn intervals_hold_a_known_effect_as_often_as_they_say() {
    // Two days, 4000 times, an error of the meter on both: the binomial deviation of 95 % is 0.34 %, and the test of agreement
    // lifts the share by up to a point.
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(11);
    let mut normal = || -> f64 { StandardNormal.sample(&mut generator) };
    let mut held = 0;
    for _ in 0..4000 {
        let meter = normal();
        let mut one = |place| {
            let value = -3.0 + meter + normal();
            day(place, interval(value, 2.0_f64.sqrt()), interval(0.0, 1.0), 0.5)
        };
        let days = [one(1), one(2)];
        let e = pooled(&days, Instruments::Shared)[0].effect.together;
        held += usize::from(e.low.unwrap() <= -3.0 && -3.0 <= e.high.unwrap());
    }
    assert!((0.94..0.97).contains(&(held as f64 / 4000.0)), "{held}");
}
