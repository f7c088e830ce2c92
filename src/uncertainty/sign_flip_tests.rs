//! Level and power of the sign-flip test on made-up laps whose errors are known.
//!
//! Given nothing; each lap is scatter that hangs together along the loop, fitted with two columns and the common profile.

use super::*;
use crate::uncertainty::laps::PriorRows;

const STEPS: usize = 30;
const RUNS: usize = 4;
/// In a cell of run × class.
const LAPS: usize = 5;

struct MadeUp {
    laps: Laps,
    inverse: DMatrix<f64>,
    run: Vec<usize>,
    class: Vec<usize>,
}

/// A day with a pattern in each lap on top of scatter of 1; the class scatters alike.
fn day(seed: u64, pattern: impl Fn(usize, usize, usize) -> f64) -> MadeUp {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    let n = RUNS * 2 * LAPS;
    let (run, class): (Vec<usize>, Vec<usize>) = (0..n).map(|g| (g / (2 * LAPS), g % 2)).unzip();
    let slope: Vec<f64> = (0..STEPS).map(|_| normal()).collect();
    let column = |g: usize| {
        DMatrix::from_fn(STEPS, 2, |j, c| match c {
            0 => (class[g] + 1) as f64,
            _ => slope[j] * (run[g] as f64 - 1.5),
        })
    };
    let noise = |g: usize, normal: &mut dyn FnMut() -> f64| {
        let mut last = normal();
        DVector::from_fn(STEPS, |j, _| {
            last = 0.5 * last + 0.75_f64.sqrt() * normal();
            last + pattern(run[g], class[g], j)
        })
    };
    let mut columns: Vec<DMatrix<f64>> = (0..n).map(column).collect();
    let mut errors: Vec<DVector<f64>> = (0..n).map(|g| noise(g, &mut normal)).collect();
    let mean = columns.iter().fold(DMatrix::zeros(STEPS, 2), |sum, x| sum + x) / n as f64;
    columns.iter_mut().for_each(|x| *x -= &mean);
    let mean = errors.iter().fold(DVector::zeros(STEPS), |sum, e| sum + e) / n as f64;
    errors.iter_mut().for_each(|e| *e -= &mean);
    let rows = Rows::separate(columns.iter().cloned(), 2);
    let inverse = rows.transposed_times(2, |g| rows.block(g)).try_inverse().unwrap();
    let change = &inverse * rows.transposed_each(&errors).column_sum();
    let residual = errors.iter().zip(&columns).map(|(e, x)| e - x * &change).collect();
    let laps = Laps { jacobian: rows.clone(), instruments: rows, residual, prior: PriorRows::default() };
    MadeUp { laps, inverse, run, class }
}

fn tested(day: &MadeUp, draws: usize) -> Explained {
    let place: Vec<f64> = (0..STEPS).map(|j| (j as f64 + 0.5) / STEPS as f64).collect();
    let left = Left {
        laps: &day.laps,
        inverse: &day.inverse,
        weight: &vec![1.0; day.run.len()],
        run: &day.run,
        class: &day.class,
        place: &place,
        is_kept: &[true; STEPS],
        floor_m: 0.0,
        known: &[],
    };
    explained(&left, draws, 7).unwrap()
}

/// Pure scatter is taken for a pattern as often as the level says: on 300 days 5 ± 1.3 %, and four
/// standard errors are allowed.
#[test]
fn scatter_alone_is_told_as_often_as_the_level_says() {
    let days = 300;
    let told: Vec<Explained> = (0..days).map(|seed| tested(&day(seed, |_, _, _| 0.0), 99)).collect();
    let share = |p: &dyn Fn(&Explained) -> f64| told.iter().filter(|t| p(t) <= 0.05).count() as f64 / days as f64;
    for (name, share) in [
        ("all", share(&|t| t.p_value)),
        ("run", share(&|t| t.by_run)),
        ("class", share(&|t| t.by_class)),
        ("place", share(&|t| t.at_one_place)),
    ] {
        assert!((0.001..0.102).contains(&share), "{name}: {share}");
    }
}

/// A wave of 1.5 standard deviations of a row in one run of four.
#[test]
fn a_run_that_differs_is_told_as_a_run() {
    let wave = |j: usize| 1.5 * (TAU * 2.0 * j as f64 / STEPS as f64).sin();
    for seed in 0..10 {
        let found = tested(&day(seed, |run, _, j| if run == 2 { wave(j) } else { 0.0 }), 199);
        assert!(found.by_run <= 0.01 && found.p_value <= 0.02, "{found:?}");
        let strongest = found.runs.iter().max_by(|a, b| {
            let size = |of: &GroupLeft| of.mean_m.iter().map(|m| m * m).sum::<f64>();
            size(a).total_cmp(&size(b))
        });
        assert_eq!(strongest.unwrap().label, 2);
    }
}

/// The same between the classes, in all runs alike.
#[test]
fn what_depends_on_speed_is_told_as_that_and_not_as_a_run() {
    let wave = |j: usize| (TAU * 3.0 * j as f64 / STEPS as f64).cos();
    let all: Vec<Explained> =
        (0..20).map(|seed| tested(&day(seed, |_, class, j| if class == 1 { wave(j) } else { 0.0 }), 199)).collect();
    assert!(all.iter().all(|found| found.by_class <= 0.01), "{all:?}");
    assert!(all.iter().filter(|found| found.by_run <= 0.05).count() <= 5);
}

/// One step of a class: braking before a bend.
#[test]
fn one_place_is_told() {
    let found = tested(&day(3, |_, class, j| if class == 1 && j == 11 { 3.0 } else { 0.0 }), 199);
    assert!(found.at_one_place <= 0.01 && found.p_value <= 0.02, "{found:?}");
}

/// A class pattern no larger than the floor is no news.
#[test]
fn the_floor_is_no_news() {
    let made_up =
        day(5, |_, class, j| if class == 1 { 0.9 * (TAU * 3.0 * j as f64 / STEPS as f64).cos() } else { 0.0 });
    let place: Vec<f64> = (0..STEPS).map(|j| (j as f64 + 0.5) / STEPS as f64).collect();
    let with = |floor_m: f64| {
        let left = Left {
            laps: &made_up.laps,
            inverse: &made_up.inverse,
            weight: &vec![1.0; made_up.run.len()],
            run: &made_up.run,
            class: &made_up.class,
            place: &place,
            is_kept: &[true; STEPS],
            floor_m,
            known: &[],
        };
        explained(&left, 199, 7).unwrap().by_class
    };
    assert!(with(0.0) <= 0.01 && with(2.0) > 0.05);
}

/// A wave too short for the general patterns, of known form; on quiet days it is told as often as the level says.
#[test]
fn an_effect_of_known_form_is_told_with_its_size() {
    let form = |run: usize, class: usize, j: usize| {
        (run as f64 - 1.5) * (1.0 + class as f64) * (TAU * 12.0 * j as f64 / STEPS as f64 + 0.3).sin()
    };
    let place: Vec<f64> = (0..STEPS).map(|j| (j as f64 + 0.5) / STEPS as f64).collect();
    let with = |made_up: &MadeUp| {
        let n = made_up.run.len();
        let column = |g: usize| DMatrix::from_fn(STEPS, 1, |j, _| form(made_up.run[g], made_up.class[g], j));
        let mut columns: Vec<DMatrix<f64>> = (0..n).map(column).collect();
        let mean = columns.iter().fold(DMatrix::zeros(STEPS, 1), |sum, q| sum + q) / n as f64;
        columns.iter_mut().for_each(|q| *q -= &mean);
        let known = Rows::separate(columns.into_iter(), 1);
        let left = Left {
            laps: &made_up.laps,
            inverse: &made_up.inverse,
            weight: &vec![1.0; n],
            run: &made_up.run,
            class: &made_up.class,
            place: &place,
            is_kept: &[true; STEPS],
            floor_m: 0.0,
            known: std::slice::from_ref(&known),
        };
        explained(&left, 199, 7).unwrap()
    };
    let told = with(&day(4, |run, class, j| 0.2 * form(run, class, j)));
    let effect = &told.known[0];
    assert!(effect.p_value <= 0.01 && told.p_value <= 0.03, "{told:?}");
    assert!((effect.coefficient[0] - 0.2).abs() < 4.0 * effect.se[0] && effect.se[0] < 0.05, "{effect:?}");
    let quiet: Vec<Explained> = (0..40).map(|seed| with(&day(seed, |_, _, _| 0.0))).collect();
    assert!(quiet.iter().filter(|q| q.known[0].p_value <= 0.05).count() <= 8);
}

#[test]
fn one_run_at_one_speed_leaves_nothing_to_compare() {
    let mut made_up = day(1, |_, _, _| 0.0);
    made_up.run.fill(0);
    made_up.class.fill(0);
    let found = tested(&made_up, 49);
    assert_eq!([found.p_value, found.by_run, found.by_class, found.at_one_place], [1.0; 4]);
}

#[test]
fn laps_alone_in_their_cells_tell_nothing() {
    let made_up = day(1, |_, _, _| 0.0);
    let run: Vec<usize> = (0..made_up.run.len()).collect();
    let place: Vec<f64> = (0..STEPS).map(|j| (j as f64 + 0.5) / STEPS as f64).collect();
    let left = Left {
        laps: &made_up.laps,
        inverse: &made_up.inverse,
        weight: &vec![1.0; run.len()],
        run: &run,
        class: &made_up.class,
        place: &place,
        is_kept: &[true; STEPS],
        floor_m: 0.0,
        known: &[],
    };
    assert!(explained(&left, 49, 7).is_none());
}
