//! Pooled curves on made-up days of known error.

use super::super::choose::{Choice, Instruments};
use super::*;
use crate::factor::FactorResult;
use crate::pool::made_up_day::made_up_day;
use crate::pool::told::{DayPair, Measure};
use crate::solution::Quantities;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

const KEY: &str = "pressure_kpa";

/// Set-ups of a day: pressure and watts, each pair with these own and shared errors (W); a shared error is one of scale.
struct Made<'a> {
    levels: &'a [f64],
    watts: Vec<f64>,
    own_se: f64,
    scale_fraction: f64,
    dof: f64,
}

impl Made<'_> {
    fn day(&self, place: usize) -> Day {
        let id = |i: usize| format!("{place}-{i}");
        let mut pairs = Vec::new();
        for a in 0..self.levels.len() {
            for b in a + 1..self.levels.len() {
                let value = self.watts[b] - self.watts[a];
                let shared = (value * self.scale_fraction).abs();
                let measure = Measure {
                    value,
                    se: (2.0 * self.own_se.powi(2) + shared * shared).sqrt(),
                    dof: self.dof,
                    scatter_se: None,
                    prior_se: None,
                    run_to_run_se: None,
                    instrument_se: Some(shared),
                    loadings: None,
                };
                // Every other pair stands the other way round.
                let turned = (a + b) % 2 == 1;
                let measure = if turned { Measure { value: -value, ..measure } } else { measure };
                let (setup, baseline) = if turned { (id(a), id(b)) } else { (id(b), id(a)) };
                let told = Quantities { crr: Told::Unknown, cda_m2: Told::Shared, power_w: Told::Measured(measure) };
                pairs.push(DayPair { setup, baseline, told });
            }
        }
        let levels = FactorLevels {
            name: KEY.into(),
            is: "quantity".into(),
            unit: Some("kpa".into()),
            levels: Vec::new(),
            of_setups: self.levels.iter().map(f64::to_string).collect(),
        };
        let untold = Answer::NotTold { output: "power_w".into(), why: String::new() };
        let setups: Vec<String> = (0..self.levels.len()).map(id).collect();
        made_up_day(place, &setups, pairs, FactorResult { factors: vec![levels], outputs: vec![untold] })
    }
}

fn bent(kpa: f64) -> f64 {
    4.0 * ((kpa - 610.0) / 100.0).powi(2)
}

fn exact<'a>(levels: &'a [f64], curve: &dyn Fn(f64) -> f64) -> Made<'a> {
    let watts = levels.iter().map(|x| curve(*x)).collect();
    Made { levels, watts, own_se: 0.5, scale_fraction: 0.0, dof: f64::INFINITY }
}

fn said(days: &[Day], instruments: Instruments) -> Said {
    curves(days, &Agreed::of(days, &Choice { instruments, ..Choice::default() }).expect("days that go together"))
}

fn only(days: &[Day]) -> PooledCurve {
    let mut all = said(days, Instruments::Shared).curves;
    assert_eq!(all.len(), 1, "{all:?}");
    all.remove(0)
}

#[test]
fn two_days_alike_give_the_curve_of_one_with_half_the_variance() {
    let levels = [500.0, 550.0, 600.0, 650.0, 700.0];
    let one = exact(&levels, &bent).day(1);
    let pooled = only(&[one.clone(), exact(&levels, &bent).day(2)]);
    assert!(pooled.agree && pooled.curve.shape == "one bend" && (pooled.curve.optimum.value - 610.0).abs() < 1e-6);
    // By hand: over −1, −½, 0, ½, 1 the slope has variance σ²/Σu² = 0.25/2.5, on two days half of it.
    let se = (0.25_f64 / 2.5 / 2.0).sqrt() / 100.0;
    assert!((pooled.curve.slope.se / se - 1.0).abs() < 1e-9, "{:?}", pooled.curve.slope);
    assert!(pooled.curve.next.is_empty() && pooled.days == [1, 2]);
    let least = pooled.curve.line.iter().map(|p| p.value).fold(f64::INFINITY, f64::min);
    assert!(least.abs() < 1e-12);
    // One day alone has it in common with none.
    let unstated = Day { factors: None, ..exact(&levels, &bent).day(3) };
    assert!(said(&[one, unstated], Instruments::Shared).curves.is_empty());
}

#[test]
fn days_with_other_levels_and_no_set_up_in_common_make_one_curve() {
    // Two levels on each day tell no bend by themselves.
    let days = [
        exact(&[500.0, 600.0], &bent).day(1),
        exact(&[550.0, 650.0], &|x| 30.0 + bent(x)).day(2),
        exact(&[600.0, 700.0], &bent).day(3),
    ];
    let pooled = only(&days);
    assert!((pooled.curve.optimum.value - 610.0).abs() < 1e-6, "{:?}", pooled.curve.optimum);
    // Each set-up lies on the curve when the level of its day is taken off.
    let line = |kpa: f64| bent(kpa);
    assert!(pooled.curve.points.iter().all(|p| (p.value - line(p.level)).abs() < 0.02), "{:?}", pooled.curve.points);
}

#[test]
fn an_error_of_scale_that_days_share_does_not_average_out() {
    let levels = [500.0, 600.0, 700.0];
    let straight = |x: f64| 0.1 * x;
    let made = Made { scale_fraction: 0.1, own_se: 0.01, ..exact(&levels, &straight) };
    let days = [made.day(1), made.day(2)];
    let se = |i| said(&days, i).curves[0].curve.slope.se;
    // A slope of 0.1 W/kPa with 10 % of it shared: 0.01; as independent errors of two days 0.01/√2.
    assert!((se(Instruments::Shared) / 0.01 - 1.0).abs() < 0.01, "{}", se(Instruments::Shared));
    assert!((se(Instruments::Separate) / (0.01 / 2.0_f64.sqrt()) - 1.0).abs() < 0.01);
}

#[test]
fn days_that_disagree_are_told_and_have_the_errors_of_their_disagreement() {
    let levels = [500.0, 550.0, 600.0, 650.0, 700.0];
    let other = |x: f64| 4.0 * ((x - 540.0) / 100.0).powi(2);
    let days = [exact(&levels, &bent).day(1), exact(&levels, &other).day(2)];
    let Said { curves, findings } = said(&days, Instruments::Shared);
    let (test, curve) = (curves[0].agreement.as_ref().expect("a test"), &curves[0].curve);
    assert!(!curves[0].agree && matches!(findings.as_slice(), [What::CurvesDisagree { .. }]), "{findings:?}");
    // Slope and bend of one day against the other; errors larger by √F.
    assert_eq!(test.numerator_dof, 2.0);
    let se = (0.25_f64 / 2.5 / 2.0 * test.f).sqrt() / 100.0;
    assert!((curve.slope.se / se - 1.0).abs() < 1e-9 && curve.slope.dof == Some(2.0));
}

#[test]
fn more_set_ups_than_the_limit_are_told_and_not_worked_out() {
    let levels: Vec<f64> = (0..60).map(|i| 500.0 + f64::from(i)).collect();
    let days: Vec<Day> = (1..=6).map(|d| exact(&levels, &bent).day(d)).collect();
    let Said { curves, findings } = said(&days, Instruments::Shared);
    assert!(curves.is_empty(), "{curves:?}");
    let words = findings[0].message();
    assert!(
        findings.len() == 1 && words.contains("360") && words.contains("300") && words.contains("pool fewer"),
        "{words}"
    );
}

#[test]
fn intervals_of_slope_and_best_level_hold_over_three_days_that_share_a_meter() {
    // 2000 times; the binomial deviation of 95 % is 0.5 %. The test whether the days agree widens one in twenty.
    let levels = [500.0, 560.0, 640.0, 700.0];
    let mut random = Xoshiro256PlusPlus::seed_from_u64(31);
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    let (mut slope, mut turning) = (0, 0);
    let mean = levels.iter().sum::<f64>() / 4.0;
    let squares: f64 = levels.iter().map(|x| (x - mean).powi(2)).sum();
    let truth = levels.iter().map(|x| (x - mean) * bent(*x)).sum::<f64>() / squares;
    for _ in 0..2000 {
        let meter = 1.0 + 0.05 * normal();
        let days: Vec<Day> = (1..=3)
            .map(|d| {
                let watts = levels.iter().map(|x| meter * bent(*x) + 1.0 * normal()).collect();
                Made { levels: &levels, watts, own_se: 1.0, scale_fraction: 0.05, dof: f64::INFINITY }.day(d)
            })
            .collect();
        let curve = only(&days).curve;
        slope += usize::from(curve.slope.low <= truth && truth <= curve.slope.high);
        let o = &curve.optimum;
        turning += usize::from(match (o.fieller.as_str(), o.fieller_low, o.fieller_high) {
            ("between", Some(low), Some(high)) => low <= 610.0 && 610.0 <= high,
            ("outside", Some(low), Some(high)) => 610.0 <= low || 610.0 >= high,
            _ => true,
        });
    }
    let share = |n: usize| n as f64 / 2000.0;
    assert!((0.935..0.975).contains(&share(slope)) && (0.935..0.975).contains(&share(turning)), "{slope} {turning}");
}
