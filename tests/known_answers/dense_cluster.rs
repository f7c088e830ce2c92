//! CR2 in dense matrices, written straight from its definition, to test the structured sums against.

use loopwright::uncertainty::cluster::{Absorbed, Cluster, ClusterRobust, Laps};
use loopwright::uncertainty::working::Working;
use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

pub fn normal(generator: &mut Xoshiro256PlusPlus) -> f64 {
    StandardNormal.sample(generator)
}

pub fn random(rows: usize, columns: usize, generator: &mut Xoshiro256PlusPlus) -> DMatrix<f64> {
    DMatrix::from_fn(rows, columns, |_, _| normal(generator))
}

/// The whole problem in dense matrices.
pub struct Dense {
    pub x: DMatrix<f64>,
    pub z: DMatrix<f64>,
    pub residual: DVector<f64>,
    /// Working covariance of the errors, all rows.
    pub working: DMatrix<f64>,
    /// The same after projection, Φ.
    pub errors: DMatrix<f64>,
    /// First row of each cluster, and the end.
    pub edges: Vec<usize>,
}

impl Dense {
    pub fn clusters(&self) -> Vec<Cluster> {
        self.blocks()
            .map(|(start, rows)| Cluster {
                jacobian: self.x.rows(start, rows).into_owned(),
                instruments: self.z.rows(start, rows).into_owned(),
                residual: self.residual.rows(start, rows).into_owned(),
            })
            .collect()
    }

    pub fn laps(&self) -> Laps {
        Laps::from(&self.clusters()[..])
    }

    pub fn blocks(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.edges.windows(2).map(|pair| (pair[0], pair[1] - pair[0]))
    }

    pub fn bread(&self) -> DMatrix<f64> {
        (self.z.transpose() * &self.x).try_inverse().unwrap()
    }

    /// cov(r) = R Φ Rᵀ, all rows.
    pub fn residual_covariance(&self) -> DMatrix<f64> {
        let maker = DMatrix::identity(self.x.nrows(), self.x.nrows()) - &self.x * self.bread() * self.z.transpose();
        &maker * &self.errors * maker.transpose()
    }

    /// M Z_gᵀ A_g as one block per cluster, parameters × all rows.
    pub fn adjusted_scores(&self) -> DMatrix<f64> {
        let covariance = self.residual_covariance();
        let mut scores = DMatrix::zeros(self.x.ncols(), self.x.nrows());
        for (start, rows) in self.blocks() {
            // D is the symmetric root of W, another choice than that of the code under test; any is as good.
            let d = power(&self.working.view((start, start), (rows, rows)).into_owned(), f64::sqrt);
            let block = &d * covariance.view((start, start), (rows, rows)) * &d;
            let root = &d * power(&block, |value| 1.0 / value.sqrt()) * &d;
            let block = self.bread() * self.z.rows(start, rows).transpose() * root;
            scores.columns_mut(start, rows).copy_from(&block);
        }
        scores
    }

    /// Covariance, and Γ for a contrast.
    pub fn covariance(&self) -> DMatrix<f64> {
        let scores = self.adjusted_scores();
        let mut total = DMatrix::zeros(self.x.ncols(), self.x.ncols());
        for (start, rows) in self.blocks() {
            let score = scores.columns(start, rows) * self.residual.rows(start, rows);
            total += &score * score.transpose();
        }
        total
    }

    pub fn gram(&self, contrast: &DVector<f64>) -> DMatrix<f64> {
        let weights = contrast.transpose() * self.adjusted_scores();
        let mut apart = DMatrix::zeros(self.edges.len() - 1, self.x.nrows());
        for (g, (start, rows)) in self.blocks().enumerate() {
            apart.view_mut((g, start), (1, rows)).copy_from(&weights.columns(start, rows));
        }
        &apart * self.residual_covariance() * apart.transpose()
    }

    pub fn agrees_with(&self, fast: &ClusterRobust, tolerance: f64) {
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

/// A power of a symmetric matrix, by singular values: another road than the eigenvalues of the code under test.
fn power(matrix: &DMatrix<f64>, of: impl Fn(f64) -> f64) -> DMatrix<f64> {
    let svd = matrix.clone().svd(true, true);
    let floor = 1e-10 * svd.singular_values.max();
    let values = svd.singular_values.map(|s| if s > floor { of(s) } else { 0.0 });
    svd.u.unwrap() * DMatrix::from_diagonal(&values) * svd.v_t.unwrap()
}

/// v_g W₀ of all clusters, block by block.
pub fn block_diagonal(edges: &[usize], working: &Working) -> DMatrix<f64> {
    let rows = *edges.last().unwrap();
    let lap = |row: usize| edges.partition_point(|edge| *edge <= row) - 1;
    DMatrix::from_fn(rows, rows, |i, j| {
        let near = working.correlation.get(i.abs_diff(j)).filter(|_| lap(i) == lap(j));
        near.map_or(0.0, |r| r * working.variance[lap(i)])
    })
}

/// Π of laps with J steps, and the scaled dummies that span it: step means whose sum over the lap is zero.
pub fn step_dummies(lap_weights: &[f64], steps: usize) -> DMatrix<f64> {
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

pub fn projector(columns: &DMatrix<f64>) -> DMatrix<f64> {
    columns * (columns.transpose() * columns).try_inverse().unwrap() * columns.transpose()
}

/// A problem whose step means were absorbed.
pub struct LapsWithStepMeans {
    pub dense: Dense,
    pub absorbed: Absorbed,
    pub working: Working,
}

/// Seven laps of five steps with four parameters.
pub fn laps_with_step_means(seed: u64, working: impl Fn(usize, usize) -> Working) -> LapsWithStepMeans {
    so_many_laps_with_step_means(7, seed, working)
}

/// Instruments that are like the Jacobian but not equal to it, step means removed with lap weights.
pub fn so_many_laps_with_step_means(
    laps: usize,
    seed: u64,
    working: impl Fn(usize, usize) -> Working,
) -> LapsWithStepMeans {
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed);
    let (steps, parameters) = (5, 4);
    let lap_weights: Vec<f64> = (0..laps).map(|_| normal(&mut generator).abs() + 0.3).collect();
    let rows = laps * steps;
    let dummies = step_dummies(&lap_weights, steps);
    let projection = DMatrix::identity(rows, rows) - projector(&dummies);
    let raw = random(rows, parameters, &mut generator).add_scalar(0.4);
    let x = &projection * &raw;
    let z = &projection * (raw + random(rows, parameters, &mut generator) * 0.4);
    let y = &projection * DVector::from_fn(rows, |_, _| normal(&mut generator));
    let residual = &y - &x * (z.transpose() * &x).try_inverse().unwrap() * z.transpose() * &y;
    let edges: Vec<usize> = (0..=laps).map(|lap| lap * steps).collect();
    let working = working(laps, steps);
    let errors = block_diagonal(&edges, &working);
    let dense = Dense { x, z, residual, errors: &projection * &errors * &projection, working: errors, edges };
    LapsWithStepMeans { dense, absorbed: Absorbed::StepMeans { lap_weights }, working }
}

/// Six clusters of one to seven rows, nothing absorbed.
pub fn unequal_clusters(seed: u64, working: &Working) -> Dense {
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed);
    let edges = vec![0, 2, 7, 8, 14, 18, 25];
    let x = random(25, 3, &mut generator).add_scalar(0.5);
    let z = &x + random(25, 3, &mut generator) * 0.5;
    let y = DVector::from_fn(25, |_, _| normal(&mut generator));
    let residual = &y - &x * (z.transpose() * &x).try_inverse().unwrap() * z.transpose() * &y;
    let working = block_diagonal(&edges, working);
    Dense { x, z, residual, errors: working.clone(), working, edges }
}
