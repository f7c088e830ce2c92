//! The fast cluster-robust covariance against dense matrices written straight from the definition, and against cases
//! whose answer is known in closed form.

use loopwright::uncertainty::cluster::{Absorbed, Cluster, ClusterRobust};
use loopwright::uncertainty::student::coverage_factor;
use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

fn normal(generator: &mut Xoshiro256PlusPlus) -> f64 {
    StandardNormal.sample(generator)
}

fn random(rows: usize, columns: usize, generator: &mut Xoshiro256PlusPlus) -> DMatrix<f64> {
    DMatrix::from_fn(rows, columns, |_, _| normal(generator))
}

/// The whole problem in dense matrices.
struct Dense {
    x: DMatrix<f64>,
    z: DMatrix<f64>,
    residual: DVector<f64>,
    /// Covariance of the errors after projection, Φ.
    errors: DMatrix<f64>,
    /// First row of each cluster, and the end.
    edges: Vec<usize>,
}

impl Dense {
    fn clusters(&self) -> Vec<Cluster> {
        self.blocks()
            .map(|(start, rows)| Cluster {
                jacobian: self.x.rows(start, rows).into_owned(),
                instruments: self.z.rows(start, rows).into_owned(),
                residual: self.residual.rows(start, rows).into_owned(),
            })
            .collect()
    }

    fn blocks(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.edges.windows(2).map(|pair| (pair[0], pair[1] - pair[0]))
    }

    fn bread(&self) -> DMatrix<f64> {
        (self.z.transpose() * &self.x).try_inverse().unwrap()
    }

    /// cov(r) = R Φ Rᵀ, all rows.
    fn residual_covariance(&self) -> DMatrix<f64> {
        let maker = DMatrix::identity(self.x.nrows(), self.x.nrows()) - &self.x * self.bread() * self.z.transpose();
        &maker * &self.errors * maker.transpose()
    }

    /// M Z_gᵀ A_g as one block per cluster, parameters × all rows.
    fn adjusted_scores(&self) -> DMatrix<f64> {
        let covariance = self.residual_covariance();
        let mut scores = DMatrix::zeros(self.x.ncols(), self.x.nrows());
        for (start, rows) in self.blocks() {
            let root = pseudo_inverse_root(&covariance.view((start, start), (rows, rows)).into_owned());
            let block = self.bread() * self.z.rows(start, rows).transpose() * root;
            scores.columns_mut(start, rows).copy_from(&block);
        }
        scores
    }

    /// Covariance, and Γ for a contrast.
    fn covariance(&self) -> DMatrix<f64> {
        let scores = self.adjusted_scores();
        let mut total = DMatrix::zeros(self.x.ncols(), self.x.ncols());
        for (start, rows) in self.blocks() {
            let score = scores.columns(start, rows) * self.residual.rows(start, rows);
            total += &score * score.transpose();
        }
        total
    }

    fn gram(&self, contrast: &DVector<f64>) -> DMatrix<f64> {
        let weights = contrast.transpose() * self.adjusted_scores();
        let mut apart = DMatrix::zeros(self.edges.len() - 1, self.x.nrows());
        for (g, (start, rows)) in self.blocks().enumerate() {
            apart.view_mut((g, start), (1, rows)).copy_from(&weights.columns(start, rows));
        }
        &apart * self.residual_covariance() * apart.transpose()
    }

    fn agrees_with(&self, fast: &ClusterRobust, tolerance: f64) {
        let dense = self.covariance();
        assert!((&dense - &fast.covariance).amax() < tolerance * dense.amax(), "{dense} {}", fast.covariance);
        for j in 0..self.x.ncols() {
            let contrast = DVector::from_fn(self.x.ncols(), |i, _| if i == j { 1.0 } else { 0.3 * i as f64 - 0.5 });
            let gram = self.gram(&contrast);
            let dof = gram.trace().powi(2) / (&gram * &gram).trace();
            let got = fast.contrast(&contrast);
            let variance = contrast.dot(&(&dense * &contrast));
            assert!((got.dof / dof - 1.0).abs() < tolerance, "{} {dof}", got.dof);
            assert!((got.variance / variance - 1.0).abs() < tolerance);
            let working = &self.bread() * self.z.transpose() * &self.errors * &self.z * self.bread().transpose();
            let recovered = gram.trace() / contrast.dot(&(working * &contrast));
            assert!((got.recovered / recovered - 1.0).abs() < tolerance);
        }
    }
}

/// By singular values, another road than the eigenvalues of the code under test.
fn pseudo_inverse_root(matrix: &DMatrix<f64>) -> DMatrix<f64> {
    let svd = matrix.clone().svd(true, true);
    let floor = 1e-10 * svd.singular_values.max();
    let inverse = svd.singular_values.map(|s| if s > floor { 1.0 / s.sqrt() } else { 0.0 });
    svd.u.unwrap() * DMatrix::from_diagonal(&inverse) * svd.v_t.unwrap()
}

/// Π of laps with J steps, and the scaled dummies that span it: step means whose sum over the lap is zero.
fn step_dummies(lap_weights: &[f64], steps: usize) -> DMatrix<f64> {
    let centre = DMatrix::from_fn(steps, steps - 1, |row, column| match row {
        row if row == column => 1.0,
        row if row == steps - 1 => -1.0,
        _ => 0.0,
    });
    let mut dummies = DMatrix::zeros(lap_weights.len() * steps, steps - 1);
    for (g, weight) in lap_weights.iter().enumerate() {
        dummies.rows_mut(g * steps, steps).copy_from(&(&centre * weight.sqrt()));
    }
    dummies
}

fn projector(columns: &DMatrix<f64>) -> DMatrix<f64> {
    columns * (columns.transpose() * columns).try_inverse().unwrap() * columns.transpose()
}

/// Instruments that are like the Jacobian but not equal to it, step means removed with lap weights.
fn laps_with_step_means(seed: u64) -> (Dense, Vec<f64>, DMatrix<f64>) {
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed);
    let (laps, steps, parameters) = (7, 5, 4);
    let lap_weights: Vec<f64> = (0..laps).map(|_| normal(&mut generator).abs() + 0.3).collect();
    let rows = laps * steps;
    let dummies = step_dummies(&lap_weights, steps);
    let projection = DMatrix::identity(rows, rows) - projector(&dummies);
    let raw = random(rows, parameters, &mut generator).add_scalar(0.4);
    let x = &projection * &raw;
    let z = &projection * (raw + random(rows, parameters, &mut generator) * 0.4);
    let y = &projection * DVector::from_fn(rows, |_, _| normal(&mut generator));
    let residual = &y - &x * (z.transpose() * &x).try_inverse().unwrap() * z.transpose() * &y;
    let edges = (0..=laps).map(|lap| lap * steps).collect();
    (Dense { x, z, residual, errors: projection, edges }, lap_weights, dummies)
}

#[test]
fn with_step_means_absorbed_the_structured_sums_equal_the_dense_definition() {
    // The definition, in dense matrices; 1e-10 is a thousand rounding errors of this size of problem.
    for seed in 1..=5 {
        let (dense, lap_weights, _) = laps_with_step_means(seed);
        let fast = ClusterRobust::new(&dense.clusters(), &Absorbed::StepMeans { lap_weights }).unwrap();
        dense.agrees_with(&fast, 1e-10);
    }
}

#[test]
fn with_nothing_absorbed_and_clusters_of_unequal_size_they_do_too() {
    for seed in 11..=15 {
        let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed);
        let edges = vec![0, 2, 7, 8, 14, 18, 25];
        let x = random(25, 3, &mut generator).add_scalar(0.5);
        let z = &x + random(25, 3, &mut generator) * 0.5;
        let y = DVector::from_fn(25, |_, _| normal(&mut generator));
        let residual = &y - &x * (z.transpose() * &x).try_inverse().unwrap() * z.transpose() * &y;
        let dense = Dense { x, z, residual, errors: DMatrix::identity(25, 25), edges };
        dense.agrees_with(&ClusterRobust::new(&dense.clusters(), &Absorbed::Nothing).unwrap(), 1e-10);
    }
}

#[test]
fn absorbing_step_means_is_the_same_as_estimating_them_beside_the_parameters() {
    // Frisch–Waugh–Lovell: the residual covariance of the long regression on dummies and columns is (I − H)(I − H)ᵀ
    // with H the hat matrix of both, so CR2 of the long regression must come out for the parameters.
    let (mut dense, lap_weights, dummies) = laps_with_step_means(21);
    dense.z = dense.x.clone();
    let rows = dense.x.nrows();
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(22);
    let y = DVector::from_fn(rows, |_, _| normal(&mut generator));
    let long = DMatrix::from_fn(rows, dummies.ncols() + dense.x.ncols(), |row, column| {
        if column < dummies.ncols() { dummies[(row, column)] } else { dense.x[(row, column - dummies.ncols())] }
    });
    let hat = projector(&long);
    dense.residual = (DMatrix::identity(rows, rows) - &hat) * y;
    let fast = ClusterRobust::new(&dense.clusters(), &Absorbed::StepMeans { lap_weights }).unwrap();
    let whole = Dense {
        x: long.clone(),
        z: long,
        residual: dense.residual.clone(),
        errors: DMatrix::identity(rows, rows),
        edges: dense.edges.clone(),
    };
    let first = dummies.ncols();
    let size = dense.x.ncols();
    let expected = whole.covariance().view((first, first), (size, size)).into_owned();
    assert!((&expected - &fast.covariance).amax() < 1e-9 * expected.amax(), "{expected} {}", fast.covariance);
}

#[test]
fn under_the_working_model_the_expected_covariance_is_the_true_one() {
    // E[V] = M Σ Z_gᵀ A_g S_gg A_g Z_g Mᵀ must equal M ZᵀΦZ Mᵀ (Bell & McCaffrey 2002: unbiasedness).
    let (dense, lap_weights, _) = laps_with_step_means(31);
    let scores = dense.adjusted_scores();
    let covariance = dense.residual_covariance();
    let mut expected = DMatrix::zeros(4, 4);
    for (start, rows) in dense.blocks() {
        let block = scores.columns(start, rows);
        expected += block * covariance.view((start, start), (rows, rows)) * block.transpose();
    }
    let fast = ClusterRobust::new(&dense.clusters(), &Absorbed::StepMeans { lap_weights }).unwrap();
    assert!((&expected - &fast.working).amax() < 1e-10 * expected.amax(), "{expected} {}", fast.working);
    let recovered = fast.contrast(&DVector::from_element(4, 1.0)).recovered;
    assert!((recovered - 1.0).abs() < 1e-10);
}

#[test]
fn the_mean_of_equal_clusters_has_one_degree_of_freedom_less_than_clusters() {
    // Closed form: V = s²/G with s² the variance of the cluster means, ν = G − 1 (ordinary t test).
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(41);
    let (laps, steps) = (6, 4);
    let y: Vec<Vec<f64>> = (0..laps).map(|_| (0..steps).map(|_| normal(&mut generator)).collect()).collect();
    let means: Vec<f64> = y.iter().map(|lap| lap.iter().sum::<f64>() / steps as f64).collect();
    let grand = means.iter().sum::<f64>() / laps as f64;
    let s2 = means.iter().map(|mean| (mean - grand).powi(2)).sum::<f64>() / (laps as f64 - 1.0);
    let ones = DMatrix::from_element(steps, 1, 1.0);
    let clusters: Vec<Cluster> = y
        .iter()
        .map(|lap| Cluster {
            jacobian: ones.clone(),
            instruments: ones.clone(),
            residual: DVector::from_iterator(steps, lap.iter().map(|value| value - grand)),
        })
        .collect();
    let fast = ClusterRobust::new(&clusters, &Absorbed::Nothing).unwrap();
    let got = fast.contrast(&DVector::from_element(1, 1.0));
    assert!((got.variance / (s2 / laps as f64) - 1.0).abs() < 1e-12);
    assert!((got.dof - 5.0).abs() < 1e-10, "{}", got.dof);
    // Without correction the divisor is G instead of G − 1, which the plain rescaling repairs in this balanced case.
    assert!((fast.uncorrected[(0, 0)] * 6.0 / 5.0 / got.variance - 1.0).abs() < 1e-12);
    assert!((fast.rescaled()[(0, 0)] / got.variance - 1.0).abs() < 1e-12);
}

#[test]
fn the_difference_of_two_groups_has_the_published_degrees_of_freedom() {
    // Imbens & Kolesár 2016, Rev. Econ. Stat. 98:701, for a binary regressor: HC2 is s₁²/n₁ + s₂²/n₂ and
    // ν = (n₁+n₂)²(n₁−1)(n₂−1)/(n₁²(n₁−1) + n₂²(n₂−1)).
    let groups = [vec![1.0, 2.5, 0.3], vec![4.0, 3.1, 5.5, 4.4, 2.0, 6.1, 3.3]];
    let mean = |group: &[f64]| group.iter().sum::<f64>() / group.len() as f64;
    let variance =
        |group: &[f64]| group.iter().map(|y| (y - mean(group)).powi(2)).sum::<f64>() / (group.len() as f64 - 1.0);
    let mut clusters = Vec::new();
    for (which, group) in groups.iter().enumerate() {
        for y in group {
            let row = DMatrix::from_row_slice(1, 2, &[1.0, which as f64]);
            clusters.push(Cluster {
                jacobian: row.clone(),
                instruments: row,
                residual: DVector::from_element(1, y - mean(group)),
            });
        }
    }
    let got = ClusterRobust::new(&clusters, &Absorbed::Nothing).unwrap().contrast(&DVector::from_vec(vec![0.0, 1.0]));
    let (n1, n2) = (3.0_f64, 7.0_f64);
    let dof = (n1 + n2).powi(2) * (n1 - 1.0) * (n2 - 1.0) / (n1 * n1 * (n1 - 1.0) + n2 * n2 * (n2 - 1.0));
    assert!((got.variance / (variance(&groups[0]) / n1 + variance(&groups[1]) / n2) - 1.0).abs() < 1e-12);
    assert!((got.dof / dof - 1.0).abs() < 1e-10, "{} {dof}", got.dof);
}

#[test]
fn a_contrast_that_one_lap_alone_determines_has_no_variance() {
    // The second parameter belongs to the last lap only, whose single row it fits exactly.
    let mut clusters: Vec<Cluster> = (0..4)
        .map(|lap| {
            let row = DMatrix::from_row_slice(1, 2, &[1.0, f64::from(u8::from(lap == 3))]);
            Cluster {
                jacobian: row.clone(),
                instruments: row,
                residual: DVector::from_element(1, 0.1 * f64::from(lap) - 0.1),
            }
        })
        .collect();
    clusters[3].residual[0] = 0.0;
    let robust = ClusterRobust::new(&clusters, &Absorbed::Nothing).unwrap();
    let mean = robust.contrast(&DVector::from_vec(vec![1.0, 0.0]));
    assert!((mean.dof - 2.0).abs() < 1e-9, "{mean:?}");
    let lone = robust.contrast(&DVector::from_vec(vec![1.0, 1.0]));
    assert!(lone.variance.is_nan() && lone.dof.is_nan(), "{lone:?}");
}

#[test]
fn inputs_that_do_not_fit_are_refused() {
    let (dense, lap_weights, _) = laps_with_step_means(51);
    let clusters = dense.clusters();
    assert!(ClusterRobust::new(&clusters[..1], &Absorbed::Nothing).is_err());
    assert!(ClusterRobust::new(&clusters, &Absorbed::StepMeans { lap_weights: vec![1.0] }).is_err());
    let mut missing = clusters.clone();
    missing[2].residual[0] = f64::NAN;
    let message = ClusterRobust::new(&missing, &Absorbed::StepMeans { lap_weights }).unwrap_err().to_string();
    assert!(message.contains("lap 3"), "{message}");
    let mut twin = clusters;
    for cluster in &mut twin {
        let first = cluster.jacobian.column(0).into_owned();
        cluster.jacobian.set_column(1, &first);
    }
    assert!(ClusterRobust::new(&twin, &Absorbed::Nothing).is_err());
}

/// Share of simulated days on which the interval of the slope holds the true value 0.
struct Coverage {
    corrected: f64,
    plain: f64,
}

/// Laps of four rows at the given speeds, errors mostly common to a lap.
fn simulate_days(speeds: &[f64], days: usize, seed: u64) -> Coverage {
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed);
    let rows = 4 * speeds.len();
    let slope = DVector::from_vec(vec![0.0, 1.0]);
    let (mut held, mut held_plain) = (0, 0);
    for _ in 0..days {
        let x = DMatrix::from_fn(rows, 2, |row, column| if column == 0 { 1.0 } else { speeds[row / 4] });
        let of_lap: Vec<f64> = speeds.iter().map(|_| normal(&mut generator)).collect();
        let y = DVector::from_fn(rows, |row, _| of_lap[row / 4] + 0.3 * normal(&mut generator));
        let estimate = (x.transpose() * &x).try_inverse().unwrap() * x.transpose() * &y;
        let residual = &y - &x * &estimate;
        let edges: Vec<usize> = (0..=speeds.len()).map(|lap| lap * 4).collect();
        let dense = Dense { z: x.clone(), x, residual, errors: DMatrix::identity(rows, rows), edges };
        let robust = ClusterRobust::new(&dense.clusters(), &Absorbed::Nothing).unwrap();
        let got = robust.contrast(&slope);
        held += usize::from(estimate[1].abs() < coverage_factor(0.95, got.dof) * got.standard_error());
        held_plain += usize::from(estimate[1].abs() < 1.96 * robust.uncorrected[(1, 1)].sqrt());
    }
    Coverage { corrected: held as f64 / days as f64, plain: held_plain as f64 / days as f64 }
}

#[test]
fn intervals_with_satterthwaites_degrees_of_freedom_hold_where_the_plain_sandwich_fails() {
    // The t distribution on ν degrees of freedom is itself an approximation. Its coverage for these designs, from the
    // eigenvalues of Γ and 4e6 draws of an independent generator (numpy): 0.9510 for 5 + 7 laps (ν 8.8), 0.9638 for 7
    // + 3 laps at scattered speeds (ν 3.7). Three binomial standard errors of 3000 days are 1.2 %.
    let balanced = simulate_days(&[1.0, 1.0, 1.0, 1.0, 1.0, 1.5, 1.5, 1.5, 1.5, 1.5, 1.5, 1.5], 3000, 61);
    assert!((balanced.corrected - 0.951).abs() < 0.012, "{}", balanced.corrected);
    let few = simulate_days(&[1.0, 1.05, 0.95, 1.0, 1.02, 0.98, 1.0, 1.5, 1.55, 1.45], 3000, 62);
    assert!((few.corrected - 0.9638).abs() < 0.012, "{}", few.corrected);
    // Without correction, and with the normal quantile, coverage falls short (Imbens & Kolesár 2016).
    assert!(balanced.plain < 0.93 && few.plain < 0.88, "{} {}", balanced.plain, few.plain);
}
