//! Tests of factors: published examples, simulated days and what is refused.

use super::columns::Main;
use super::curve::curves;
use super::model::Joint;
use super::*;
use crate::session::factors::{Factors, Stated};
use nalgebra::{DMatrix, DVector};
use std::collections::BTreeMap;

pub(super) fn quantity(key: &str, levels: &[f64]) -> Vec<BTreeMap<String, Stated>> {
    levels.iter().map(|x| BTreeMap::from([(key.to_string(), Stated::Quantity(*x))])).collect()
}

pub(super) fn crossed(a: (&str, &[&str]), b: (&str, &[&str])) -> Vec<BTreeMap<String, Stated>> {
    let kind = |key: &str, level: &str| (key.to_string(), Stated::Kind(level.to_string()));
    a.1.iter().flat_map(|x| b.1.iter().map(move |y| BTreeMap::from([kind(a.0, x), kind(b.0, y)]))).collect()
}

pub(super) fn factors(stated: &[BTreeMap<String, Stated>]) -> Factors {
    of(stated, None).unwrap().unwrap()
}

fn of(
    stated: &[BTreeMap<String, Stated>],
    curve: Option<&str>,
) -> Result<Option<Factors>, crate::session::factors::Wrong> {
    let ids: Vec<String> = (1..=stated.len()).map(|i| format!("s{i}")).collect();
    let ids: Vec<&str> = ids.iter().map(String::as_str).collect();
    Factors::of(&ids, &stated.iter().collect::<Vec<_>>(), curve)
}

pub(super) fn joint(values: &[f64], variance: f64, dof: f64, runs: usize) -> Joint {
    Joint {
        values: DVector::from_column_slice(values),
        covariance: DMatrix::identity(values.len(), values.len()) * variance,
        dof,
        runs: vec![runs; values.len()],
        day: vec![0; values.len()],
    }
}

pub(super) fn told(answer: Answer) -> FactorOutput {
    match answer {
        Answer::Told(output) => output,
        Answer::NotTold { why, .. } => panic!("{why}"),
    }
}

#[test]
fn the_battery_example_of_a_two_way_analysis_of_variance_is_met() {
    // Montgomery, Design and Analysis of Experiments, table 5.1 and 5.5 (readings from memory; they give its sums of squares,
    // 10683.72, 39118.72, 9613.78 and 18230.75): life of 3 materials at 3 temperatures, 4 readings each; F 7.91, 28.97, 3.56.
    let means = [134.75, 57.25, 57.5, 155.75, 119.75, 49.5, 144.0, 145.75, 85.5];
    let stated = crossed(("material", &["1st", "2nd", "3rd"]), ("oven", &["cold", "warm", "hot"]));
    let joint = joint(&means, 18230.75 / 27.0 / 4.0, 27.0, 4);
    let answer = told(answer("life", &factors(&stated), &joint, 0, 0.95));
    let f: Vec<f64> = answer.effects.iter().map(|e| e.test.f).collect();
    assert!((f[0] - 7.91).abs() < 0.005 && (f[1] - 28.97).abs() < 0.005, "{f:?}");
    let interaction = &answer.interactions[0];
    assert!((interaction.f - 3.56).abs() < 0.005 && interaction.numerator_dof == 4.0, "{interaction:?}");
    // The book's table has P = 0.0186.
    assert!((interaction.p_value - 0.0186).abs() < 5e-5 && answer.adds == Some(false), "{interaction:?}");
    // Plain means of rows: 83.1667 (first), 108.3333, 125.0833 are the book's.
    let effect = |i: usize| answer.effects[0].levels[i].effect.value;
    assert!((effect(0) - 25.1667).abs() < 1e-3 && (effect(1) - 41.9167).abs() < 1e-3);
    // Standard error of a difference of two means of twelve: √(2 · 675.21 / 12).
    assert!((answer.effects[0].levels[0].effect.se - 10.6084).abs() < 1e-3);
}

#[test]
fn effects_of_kinds_that_add_are_those_of_a_table_without_interaction() {
    // Made by hand: 10, 12 and 15 for the tyre plus 0 or 3 for the wheel, exactly.
    let stated = crossed(("tyre", &["a", "b", "c"]), ("wheel", &["low", "deep"]));
    let joint = joint(&[10.0, 13.0, 12.0, 15.0, 15.0, 18.0], 0.04, 8.0, 2);
    let answer = told(answer("power_w", &factors(&stated), &joint, 0, 0.95));
    let tyre = &answer.effects[0];
    assert_eq!((tyre.factor.as_str(), tyre.reference.as_str()), ("tyre", "a"));
    assert!((tyre.levels[1].effect.value - 5.0).abs() < 1e-9 && answer.adds == Some(true));
    // Two set-ups each: √(2 · 0.04/2); half-width by t(8) = 2.306004.
    let e = tyre.levels[0].effect;
    assert!((e.se - 0.2).abs() < 1e-9 && (e.high - e.value - 0.2 * 2.306_004).abs() < 1e-6);
    assert!(answer.interactions[0].f < 1e-9 && answer.curves.is_empty());
}

#[test]
fn the_baking_time_of_the_cakes_comes_out_as_published() {
    // Weisberg, Applied Linear Regression, 3rd edition, section 6.1: at 350 °F the cakes taste best after 36.2 minutes, standard
    // error 0.4 by the delta method (readings from memory; the axial points are 35 ± 2√2 min and 350 ± 10√2 °F). Taste is to be
    // high, so its negative is least.
    let axis = 2.0 * 2.0_f64.sqrt();
    let rows: [(f64, f64, f64); 14] = [
        (-2.0, -1.0, 3.89),
        (2.0, -1.0, 6.36),
        (-2.0, 1.0, 7.65),
        (2.0, 1.0, 6.79),
        (0.0, 0.0, 8.36),
        (0.0, 0.0, 7.62),
        (0.0, 0.0, 8.12),
        (axis, 0.0, 8.40),
        (-axis, 0.0, 5.38),
        (0.0, 2.0_f64.sqrt(), 7.00),
        (0.0, -(2.0_f64.sqrt()), 4.51),
        (0.0, 0.0, 7.81),
        (0.0, 0.0, 8.44),
        (0.0, 0.0, 8.06),
    ];
    let x = DMatrix::from_fn(14, 6, |i, j| {
        let (u, v, _) = rows[i];
        [1.0, u, v, u * u, v * v, u * v][j]
    });
    let y = DVector::from_fn(14, |i, _| rows[i].2);
    let inverse = (x.transpose() * &x).try_inverse().unwrap();
    let b = &inverse * x.transpose() * &y;
    let s2 = (&y - &x * &b).norm_squared() / 8.0;
    let ratio = fieller::Ratio {
        numerator: -b[1],
        denominator: 2.0 * b[3],
        var_numerator: s2 * inverse[(1, 1)],
        var_denominator: 4.0 * s2 * inverse[(3, 3)],
        covariance: -2.0 * s2 * inverse[(1, 3)],
    };
    let best = 35.0 + ratio.numerator / ratio.denominator;
    assert!((best - 36.2).abs() < 0.05, "{best}");
    // A t quantile near 0 leaves the delta method: half-width over t is the standard error.
    let fieller::Set::Between(low, high) = ratio.fieller(1e-4) else { panic!("told") };
    assert!((0.5 * (high - low) / 1e-4 - 0.4).abs() < 0.05, "{low} {high}");
    // At 95 % on 8 degrees of freedom the set is lopsided: the curve falls off slower on the side of longer times.
    let fieller::Set::Between(low, high) = ratio.fieller(2.306_004) else { panic!("told") };
    let (below, above) = (best - 35.0 - low, high - (best - 35.0));
    assert!(below < 0.92 && above > 0.92 && below > 0.5 && above < 2.0, "{below} {above}");
}

#[test]
fn levels_to_ride_next_are_the_ends_for_a_bend_and_what_is_said_of_the_gain_comes_true() {
    let truth = |x: f64| 200.0 + 4.0 * ((x - 620.0) / 100.0).powi(2);
    let levels = [500.0, 550.0, 600.0, 650.0, 700.0];
    let f = factors(&quantity("pressure_kpa", &levels));
    let values: Vec<f64> = levels.iter().map(|x| truth(*x)).collect();
    let now = joint(&values, 0.1, f64::INFINITY, 1);
    let curve = |j: &Joint| curves(&f, &Main::new(&f, j, 0).unwrap(), j, 0.95)[0].clone();
    let before = curve(&now);
    assert_eq!(before.shape, "one bend");
    let best = before.next[0];
    assert!(levels.contains(&best.level), "{:?}", before.next);
    // Ride it: the error of that level is halved in variance, and the interval narrows as predicted.
    let mut ridden = now.clone();
    let place = levels.iter().position(|l| *l == best.level).unwrap();
    ridden.covariance[(place, place)] *= 0.5;
    ridden.runs[place] = 2;
    let after = curve(&ridden);
    let width = |c: &Curve| c.optimum.fieller_high.unwrap() - c.optimum.fieller_low.unwrap();
    assert!((width(&after) / width(&before) / best.width_ratio - 1.0).abs() < 0.02, "{best:?}");
}

#[test]
fn factors_that_do_not_fit_are_refused_with_place_and_next_step() {
    let refused = |stated: &[BTreeMap<String, Stated>], curve: Option<&str>| of(stated, curve).unwrap_err();
    let mut gap = quantity("pressure_kpa", &[500.0, 600.0, 700.0]);
    gap[1].clear();
    let wrong = refused(&gap, None);
    assert!(wrong.setup == 1 && wrong.message.contains("«s2» does not state"), "{wrong:?}");
    assert!(refused(&quantity("width_mm", &[28.0, 28.0]), None).message.contains("one level"));
    assert!(refused(&quantity("pressure", &[500.0, 600.0]), None).message.contains("pressure_kpa"));
    assert!(refused(&quantity("width_mm", &[28.0, 30.0, 28.0]), None).message.contains("«s1» and «s3» have the same"));
    assert!(refused(&quantity("width_mm", &[28.0, f64::NAN]), None).message.contains("finite"));
    let mut mixed = quantity("pressure_kpa", &[500.0, 600.0]);
    mixed[1].insert("pressure_kpa".into(), Stated::Kind("600".into()));
    assert!(refused(&mixed, None).message.contains("text, of others a number"));
    let quoted: Vec<_> =
        ["500", "600"].map(|x| BTreeMap::from([("pressure_kpa".to_string(), Stated::Kind(x.into()))])).to_vec();
    assert!(refused(&quoted, None).message.contains("without quotes"));
    let two = quantity("pressure_kpa", &[500.0, 600.0]);
    assert!(refused(&two, Some("pressure_kpa")).message.contains("2 levels (500, 600)"));
    assert!(refused(&two, Some("width_mm")).message.contains("no factor"));
    assert!(refused(&[BTreeMap::new(), BTreeMap::new()], Some("width_mm")).message.contains("no set-up states"));
    assert_eq!(of(&[BTreeMap::new(), BTreeMap::new()], None), Ok(None));
    // A name with digits is a name.
    let named = crossed(("tyre", &["28 mm slick", "30 mm slick"]), ("wheel", &["low", "deep"]));
    assert!(of(&named, None).unwrap().is_some());
    assert_eq!(crate::session::factors::shown_with_unit("tyre_pressure_kpa"), "tyre pressure, kPa");
}

#[test]
fn factors_that_change_together_are_told_and_not_guessed() {
    let pair = |tyre: &str, kpa: f64| {
        BTreeMap::from([
            ("tyre".to_string(), Stated::Kind(tyre.into())),
            ("pressure_kpa".to_string(), Stated::Quantity(kpa)),
        ])
    };
    let aliased = factors(&[pair("a", 500.0), pair("b", 600.0), pair("b", 600.5)][..2]);
    let Answer::NotTold { why, .. } = answer("crr", &aliased, &joint(&[1.0, 2.0], 0.1, 9.0, 1), 0, 0.95) else {
        panic!("they cannot be told apart")
    };
    assert!(why.contains("2 set-ups cannot tell") && why.contains("3 or more"), "{why}");
    // Three tyres, each at its own pressure twice: the same columns.
    let twice = factors(&[pair("a", 500.0), pair("b", 600.0), pair("a", 500.0), pair("c", 700.0)][..2]);
    assert!(twice.list.len() == 2);
    // Two tyres over three pressures: one curve, and the test whether the tyres differ along it.
    let six: Vec<_> = ["a", "b"].iter().flat_map(|t| [500.0, 600.0, 700.0].map(|p| pair(t, p))).collect();
    let values = [10.0, 8.0, 9.0, 12.0, 10.0, 11.0];
    let output = told(answer("power_w", &factors(&six), &joint(&values, 0.01, 20.0, 2), 0, 0.95));
    assert_eq!((output.curves.len(), output.effects.len(), output.interactions.len()), (1, 1, 1));
    let curve = &output.curves[0];
    assert!((output.effects[0].levels[0].effect.value - 2.0).abs() < 1e-9 && output.adds == Some(true));
    // By hand: 10, 8, 9 lie on 8 − 0.5u + 1.5u², whose least is at u = 1/6, 616.7 kPa.
    assert!((curve.optimum.value - 616.667).abs() < 1e-2, "{:?}", curve.optimum);
    // Points of both tyres lie on the one curve when the tyre is taken off.
    assert!((curve.points[0].value - curve.points[3].value).abs() < 1e-9 && curve.line.len() == 41);
}
