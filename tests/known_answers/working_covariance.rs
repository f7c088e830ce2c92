//! CR2 with errors supposed to be correlated within a lap and larger in some laps than in others: against the dense
//! definition, against identities, and the estimate of what is supposed against what was put in.

use crate::dense_cluster::{
    Dense, LapsWithStepMeans, laps_with_step_means, normal, projector, random, so_many_laps_with_step_means,
    step_dummies, unequal_clusters,
};
use loopwright::uncertainty::cluster::{Absorbed, Cluster, ClusterRobust, Laps};
use loopwright::uncertainty::working::Working;
use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

/// Not an autoregressive one, so that nothing hangs on that; every lap another variance.
fn uneven(laps: usize, _: usize) -> Working {
    Working {
        correlation: vec![1.0, 0.45, 0.3, 0.05],
        variance: (0..laps).map(|g| [0.4, 2.5, 1.0][g % 3] + 0.01 * g as f64).collect(),
    }
}

#[test]
fn with_step_means_absorbed_the_structured_sums_equal_the_dense_definition() {
    // The definition, in dense matrices; 1e-10 is a thousand rounding errors of this size of problem.
    for seed in 1..=5 {
        let LapsWithStepMeans { dense, absorbed, working } = laps_with_step_means(seed, uneven);
        dense.agrees_with(&ClusterRobust::new(&dense.laps(), &absorbed, &working).unwrap(), 1e-10);
        let smooth = |laps, steps| Working::autoregressive(0.6, steps, vec![1.0; laps]);
        let LapsWithStepMeans { dense, absorbed, working } = laps_with_step_means(seed, smooth);
        dense.agrees_with(&ClusterRobust::new(&dense.laps(), &absorbed, &working).unwrap(), 1e-10);
    }
}

#[test]
fn with_more_laps_than_steps_and_parameters_they_do_as_well() {
    // Then the degrees of freedom are summed without a table of all pairs of laps; the definition is the same.
    for seed in 61..=63 {
        let LapsWithStepMeans { dense, absorbed, working } = so_many_laps_with_step_means(14, seed, uneven);
        dense.agrees_with(&ClusterRobust::new(&dense.laps(), &absorbed, &working).unwrap(), 1e-10);
    }
}

#[test]
fn with_nothing_absorbed_and_clusters_of_unequal_size_they_do_too() {
    for seed in 11..=15 {
        let working = uneven(6, 7);
        let dense = unequal_clusters(seed, &working);
        let fast = ClusterRobust::new(&dense.laps(), &Absorbed::Nothing, &working).unwrap();
        dense.agrees_with(&fast, 1e-10);
    }
}

#[test]
fn absorbing_step_means_is_the_same_as_estimating_them_beside_the_parameters() {
    // Frisch–Waugh–Lovell: the residual covariance of the long regression on dummies and columns is
    // (I − H) W (I − H)ᵀ with H the hat matrix of both, so CR2 of the long regression must come out for the parameters.
    for supposed in [|laps, _| Working::independent(laps), uneven] {
        let LapsWithStepMeans { mut dense, absorbed, working } = laps_with_step_means(21, supposed);
        let Absorbed::StepMeans { lap_weights } = &absorbed else { panic!("step means were absorbed") };
        let dummies = step_dummies(lap_weights, dense.edges[1]);
        dense.z = dense.x.clone();
        let rows = dense.x.nrows();
        let mut generator = Xoshiro256PlusPlus::seed_from_u64(22);
        let y = DVector::from_fn(rows, |_, _| normal(&mut generator));
        let long = DMatrix::from_fn(rows, dummies.ncols() + dense.x.ncols(), |row, column| {
            if column < dummies.ncols() { dummies[(row, column)] } else { dense.x[(row, column - dummies.ncols())] }
        });
        let hat = projector(&long);
        dense.residual = (DMatrix::identity(rows, rows) - &hat) * y;
        let fast = ClusterRobust::new(&dense.laps(), &absorbed, &working).unwrap();
        let whole = Dense {
            x: long.clone(),
            z: long,
            residual: dense.residual.clone(),
            errors: dense.working.clone(),
            working: dense.working.clone(),
            edges: dense.edges.clone(),
        };
        let first = dummies.ncols();
        let size = dense.x.ncols();
        let expected = whole.covariance().view((first, first), (size, size)).into_owned();
        assert!((&expected - &fast.covariance).amax() < 1e-9 * expected.amax(), "{expected} {}", fast.covariance);
    }
}

#[test]
fn under_the_working_model_the_expected_covariance_is_the_true_one() {
    // E[V] = M Σ Z_gᵀ A_g S_gg A_g Z_g Mᵀ must equal M ZᵀΦZ Mᵀ (Bell & McCaffrey 2002: unbiasedness).
    for supposed in [|laps, _| Working::independent(laps), uneven] {
        let LapsWithStepMeans { dense, absorbed, working } = laps_with_step_means(31, supposed);
        let scores = dense.adjusted_scores();
        let covariance = dense.residual_covariance();
        let mut expected = DMatrix::zeros(4, 4);
        for (start, rows) in dense.blocks() {
            let block = scores.columns(start, rows);
            expected += block * covariance.view((start, start), (rows, rows)) * block.transpose();
        }
        let fast = ClusterRobust::new(&dense.laps(), &absorbed, &working).unwrap();
        assert!((&expected - &fast.working).amax() < 1e-10 * expected.amax(), "{expected} {}", fast.working);
        let recovered = fast.contrast(&DVector::from_element(4, 1.0)).recovered;
        assert!((recovered - 1.0).abs() < 1e-10);
    }
}

#[test]
fn the_unit_of_the_working_variance_changes_nothing_but_the_working_covariance() {
    // Algebra: A_g does not change when W and with it S are multiplied by a number.
    let LapsWithStepMeans { dense, absorbed, working } = laps_with_step_means(41, uneven);
    let larger = Working {
        variance: working.variance.iter().map(|v| 1e4 * v).collect(),
        correlation: working.correlation.clone(),
    };
    let one = ClusterRobust::new(&dense.laps(), &absorbed, &working).unwrap();
    let other = ClusterRobust::new(&dense.laps(), &absorbed, &larger).unwrap();
    assert!((&one.covariance - &other.covariance).amax() < 1e-11 * one.covariance.amax());
    assert!((&one.working * 1e4 - &other.working).amax() < 1e-11 * other.working.amax());
    let contrast = DVector::from_vec(vec![1.0, -1.0, 0.0, 0.5]);
    assert!((one.contrast(&contrast).dof / other.contrast(&contrast).dof - 1.0).abs() < 1e-10);
}

/// Laps of a regression on slowly varying columns with step means absorbed, and residuals of errors with φ and variance.
struct Day {
    clusters: Vec<Cluster>,
    absorbed: Absorbed,
    class: Vec<usize>,
}

impl Day {
    const LAPS: usize = 6;
    const STEPS: usize = 15;

    fn new(phi: f64, variance: [f64; 2], generator: &mut Xoshiro256PlusPlus) -> Day {
        let (laps, steps) = (Day::LAPS, Day::STEPS);
        let rows = laps * steps;
        let class: Vec<usize> = (0..laps).map(|g| [3, 8][g % 2]).collect();
        let raw = DMatrix::from_fn(rows, 4, |row, column| {
            let (lap, step) = ((row / steps) as f64, (row % steps) as f64 / steps as f64);
            [1.0, lap, (std::f64::consts::TAU * step).sin() * (lap + 1.0), (lap * 2.0).sin() * step][column]
        });
        let error = DMatrix::from_fn(laps, steps, |_, _| normal(generator));
        let mut y = DVector::zeros(rows);
        for lap in 0..laps {
            let sd = variance[lap % 2].sqrt();
            let mut state = 0.0;
            for step in 0..steps {
                let shock = error[(lap, step)];
                state = if step == 0 { shock } else { phi * state + (1.0 - phi * phi).sqrt() * shock };
                y[lap * steps + step] = sd * state;
            }
        }
        let weights = vec![1.0; laps];
        let projection = DMatrix::identity(rows, rows) - projector(&step_dummies(&weights, steps));
        let (x, y) = (&projection * raw, projection * y);
        let residual = &y - projector(&x) * &y;
        let clusters = (0..laps)
            .map(|g| Cluster {
                jacobian: x.rows(g * steps, steps).into_owned(),
                instruments: x.rows(g * steps, steps).into_owned(),
                residual: residual.rows(g * steps, steps).into_owned(),
            })
            .collect();
        Day { clusters, absorbed: Absorbed::StepMeans { lap_weights: weights }, class }
    }
}

#[test]
fn correlation_and_variances_are_found_from_residuals_of_few_laps() {
    // Truth: what was put in. Three standard errors of the mean over 400 days, and 0.01 for what a few corrections
    // leave and for the ratio of two sums not being the ratio of their means.
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(71);
    let days = 400;
    let (mut phi, mut ratio, mut plain) = (Vec::new(), Vec::new(), 0.0);
    for _ in 0..days {
        let day = Day::new(0.4, [1.0, 2.5], &mut generator);
        let found = Working::estimated(&Laps::from(&day.clusters[..]), &day.absorbed, &day.class).unwrap();
        phi.push(found.correlation[1]);
        ratio.push((found.variance[1] / found.variance[0]).ln());
        assert!((found.correlation[3] - found.correlation[1].powi(3)).abs() < 1e-12);
        let sums = |of: &dyn Fn(&DVector<f64>) -> f64| day.clusters.iter().map(|c| of(&c.residual)).sum::<f64>();
        let next = Day::STEPS - 1;
        plain += sums(&|r| r.rows(0, next).dot(&r.rows(1, next))) / sums(&|r| r.norm_squared()) / days as f64;
    }
    let mean = |x: &[f64]| x.iter().sum::<f64>() / x.len() as f64;
    let error = |x: &[f64]| (x.iter().map(|v| (v - mean(x)).powi(2)).sum::<f64>()).sqrt() / x.len() as f64;
    assert!((mean(&phi) - 0.4).abs() < 0.01 + 3.0 * error(&phi), "{} {}", mean(&phi), error(&phi));
    assert!((mean(&ratio) - 2.5_f64.ln()).abs() < 0.01 + 3.0 * error(&ratio), "{} {}", mean(&ratio), error(&ratio));
    // The correlation of the residuals as they are is too low by far more than that.
    assert!(plain < 0.33, "{plain}");
}

#[test]
fn independent_errors_give_hardly_any_correlation_and_a_perfect_account_gives_none() {
    // Clamping at zero makes the mean positive: at most half the spread of φ̂, 1/√(6·15), above zero.
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(81);
    let day = |g: &mut Xoshiro256PlusPlus| Day::new(0.0, [1.0, 1.0], g);
    let mean = (0..200)
        .map(|_| day(&mut generator))
        .map(|d| Working::estimated(&Laps::from(&d.clusters[..]), &d.absorbed, &d.class).unwrap().correlation[1])
        .sum::<f64>()
        / 200.0;
    assert!(mean < 0.5 / 90.0_f64.sqrt() + 0.01, "{mean}");
    let mut perfect = day(&mut generator);
    for cluster in &mut perfect.clusters {
        cluster.residual.fill(0.0);
    }
    let found = Working::estimated(&Laps::from(&perfect.clusters[..]), &perfect.absorbed, &perfect.class).unwrap();
    assert_eq!(found, Working::independent(Day::LAPS));
}

#[test]
fn laps_of_a_single_step_have_no_correlation_to_find() {
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(91);
    let clusters: Vec<Cluster> = (0..5)
        .map(|_| Cluster {
            jacobian: random(1, 1, &mut generator),
            instruments: DMatrix::from_element(1, 1, 1.0),
            residual: DVector::from_element(1, normal(&mut generator)),
        })
        .collect();
    let found = Working::estimated(&Laps::from(&clusters[..]), &Absorbed::Nothing, &[0; 5]).unwrap();
    assert_eq!(found.correlation, vec![1.0]);
}

#[test]
fn a_working_covariance_that_is_none_is_refused() {
    let LapsWithStepMeans { dense, absorbed, .. } = laps_with_step_means(51, uneven);
    let clusters = dense.clusters();
    let refused = |correlation: Vec<f64>, variance: Vec<f64>| {
        ClusterRobust::new(&Laps::from(&clusters[..]), &absorbed, &Working { correlation, variance }).is_err()
    };
    let ones = vec![1.0; clusters.len()];
    assert!(refused(vec![1.0, 0.9, -0.9], ones.clone()), "such correlations are not positive definite");
    assert!(refused(vec![1.0, f64::NAN], ones.clone()));
    assert!(refused(vec![], ones.clone()));
    assert!(refused(vec![1.0], vec![1.0]));
    assert!(refused(vec![1.0], [ones[1..].to_vec(), vec![0.0]].concat()));
    assert!(Working::estimated(&Laps::from(&clusters[..]), &absorbed, &[0, 1]).is_err(), "a class is missing");
}
