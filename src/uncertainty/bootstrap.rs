//! A second opinion on the standard errors: whole laps are drawn again within strata and the linearised
//! instrumental-variables equations are solved again for each draw.
//!
//! Given per lap the rows of Jacobian, instruments and residual *before* step means were projected out (scaled by the
//! square root of the lap's weight), a stratum (run × speed class) per lap, and a seed; gives replicates of the
//! parameters as deviations from the estimate. It never re-linearises and never touches a clock or global generator:
//! the same seed gives the same replicates whatever the number of threads.
//!
//! # Method
//!
//! From a stratum of n laps n − 1 are drawn with replacement and counted n/(n − 1) times each (Rao & Wu 1988, J. Am.
//! Stat. Assoc. 83:231, eq. 2.3 with m = n − 1), because the plain draw of n makes the variance of a stratum mean
//! too small by (n − 1)/n, a third for strata of three laps. With ω_g the count of lap g, the step means move with the
//! draw, and for laps of J rows scaled by s_g = √w_g
//!
//! ```text
//! ZᵀPX = Σ ω_g Z_gᵀX_g − (Σ ω_g s_g Z_g)ᵀ (I − 11ᵀ/J) (Σ ω_g s_g X_g) / Σ ω_g w_g ,   the same for ZᵀPr,
//! β* − β̂ = (ZᵀP*X)⁻¹ ZᵀP*r − (ZᵀPX)⁻¹ ZᵀPr .
//! ```
//!
//! The sums over laps of all draws of a block are one matrix product.

use nalgebra::{DMatrix, DVector};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;

use super::cluster::Cluster;
use super::interval::Interval;
use crate::error::Error;

/// Draws that share one matrix product.
const BLOCK: usize = 50;
/// A replicate whose scaled equations have a pivot ratio below this counts as singular.
const SINGULAR_PIVOT: f64 = 1e-9;

/// What to draw from. Each lap has the same number of rows J when step means are to be absorbed.
#[derive(Debug, Clone)]
pub struct Resampling<'a> {
    /// Unprojected rows, or rows that need no projection.
    pub laps: &'a [Cluster],
    /// Weight of each lap in the step means; `None` when none were absorbed.
    pub lap_weights: Option<&'a [f64]>,
    /// Any number per lap; laps with the same number are exchanged for each other.
    pub strata: &'a [usize],
}

/// Replicates of the estimate.
#[derive(Debug, Clone)]
pub struct Bootstrap {
    /// Deviations from the estimate, replicates × parameters; draws that could not be solved are left out.
    pub deviations: DMatrix<f64>,
    /// Draws that were asked for.
    pub draws: usize,
    /// Draws whose equations were singular.
    pub singular: usize,
    /// Laps alone in their stratum: they never change, so their scatter is not in the replicates.
    pub lone_laps: usize,
}

impl Bootstrap {
    /// Draw and solve `draws` times.
    pub fn run(input: &Resampling, draws: usize, seed: u64) -> Result<Self, Error> {
        let equations = Equations::new(input)?;
        let strata = strata_of(input.strata);
        let ones = DMatrix::from_element(1, input.laps.len(), 1.0);
        let Some(centre) = equations.solve(&ones).pop().flatten() else {
            return Err(refusal("the equations of the laps as ridden are singular; hold a parameter fixed".into()));
        };
        let solved: Vec<Option<DVector<f64>>> = (0..draws.div_ceil(BLOCK))
            .into_par_iter()
            .flat_map_iter(|block| {
                let rows = BLOCK.min(draws - block * BLOCK);
                let mut counts = DMatrix::zeros(rows, input.laps.len());
                for row in 0..rows {
                    let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed_of(seed, (block * BLOCK + row) as u64));
                    draw_counts(&strata, &mut generator, |lap, count| counts[(row, lap)] += count);
                }
                equations.solve(&counts)
            })
            .collect();
        let good: Vec<&DVector<f64>> = solved.iter().flatten().collect();
        let deviations = DMatrix::from_fn(good.len(), centre.len(), |row, column| good[row][column] - centre[column]);
        Ok(Bootstrap {
            singular: draws - good.len(),
            draws,
            lone_laps: strata.iter().filter(|laps| laps.len() == 1).count(),
            deviations,
        })
    }

    /// Standard deviation of cᵀβ* over the replicates; NaN with fewer than two of them.
    pub fn standard_error(&self, contrast: &DVector<f64>) -> f64 {
        let values = self.contrast(contrast);
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let squares = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        if values.len() < 2 { f64::NAN } else { (squares / (count - 1.0)).sqrt() }
    }

    /// Percentile interval of cᵀβ* − cᵀβ̂ (Efron & Tibshirani 1993, §13.3); add it to the estimate.
    pub fn interval(&self, contrast: &DVector<f64>, confidence: f64) -> Interval {
        let mut values = self.contrast(contrast);
        values.sort_by(f64::total_cmp);
        Interval::symmetric(&values, confidence)
    }

    fn contrast(&self, contrast: &DVector<f64>) -> Vec<f64> {
        if contrast.len() != self.deviations.ncols() {
            return Vec::new();
        }
        (&self.deviations * contrast).iter().copied().collect()
    }
}

/// Everything that can be worked out before a draw is known.
struct Equations {
    parameters: usize,
    steps: usize,
    /// Laps × flattened Z_gᵀ[X_g r_g], scaled.
    products: DMatrix<f64>,
    /// Laps × flattened s_g [Z_g X_g r_g], scaled; empty when no step means are absorbed.
    rows: DMatrix<f64>,
    weights: DVector<f64>,
    /// β = β_scaled ∘ this.
    unscale: DVector<f64>,
}

impl Equations {
    fn new(input: &Resampling) -> Result<Self, Error> {
        let laps = input.laps;
        let (steps, parameters) = check(input)?;
        // Columns of unit length make pivots comparable; the solution is scaled back at the end.
        let unit = |column: &dyn Fn(&Cluster) -> f64| {
            let length = laps.iter().map(column).sum::<f64>().sqrt();
            if length > 0.0 { 1.0 / length } else { 1.0 }
        };
        let columns = DVector::from_fn(parameters, |j, _| unit(&|lap| lap.jacobian.column(j).norm_squared()));
        let instruments = DVector::from_fn(parameters, |j, _| unit(&|lap| lap.instruments.column(j).norm_squared()));
        let scaled: Vec<(DMatrix<f64>, DMatrix<f64>)> = laps
            .iter()
            .map(|lap| {
                let x = &lap.jacobian * DMatrix::from_diagonal(&columns);
                let mut xr = x.insert_column(parameters, 0.0);
                xr.set_column(parameters, &lap.residual);
                (&lap.instruments * DMatrix::from_diagonal(&instruments), xr)
            })
            .collect();
        let width = parameters * (parameters + 1);
        let mut products = DMatrix::zeros(laps.len(), width);
        for (mut row, (z, xr)) in products.row_iter_mut().zip(&scaled) {
            row.copy_from_slice(z.tr_mul(xr).as_slice());
        }
        let weights = DVector::from_column_slice(input.lap_weights.unwrap_or(&[]));
        let absorbed_steps = if input.lap_weights.is_some() { steps } else { 0 };
        let mut rows = DMatrix::zeros(laps.len(), absorbed_steps * (2 * parameters + 1));
        for ((mut row, (z, xr)), weight) in rows.row_iter_mut().zip(&scaled).zip(weights.iter()) {
            let both = z.iter().chain(xr.iter());
            row.iter_mut().zip(both).for_each(|(target, value)| *target = value * weight.sqrt());
        }
        Ok(Equations { parameters, steps: absorbed_steps, products, rows, weights, unscale: columns })
    }

    /// One solution for each row of counts; `None` where the equations are singular.
    fn solve(&self, counts: &DMatrix<f64>) -> Vec<Option<DVector<f64>>> {
        let products = counts * &self.products;
        let sums = counts * &self.rows;
        let totals = (self.steps > 0).then(|| counts * &self.weights);
        (0..counts.nrows())
            .map(|draw| {
                let k = self.parameters;
                let mut normal = DMatrix::from_iterator(k, k + 1, products.row(draw).iter().copied());
                if let Some(totals) = &totals {
                    let split = self.steps * k;
                    let row: Vec<f64> = sums.row(draw).iter().copied().collect();
                    let mut z = DMatrix::from_column_slice(self.steps, k, &row[..split]);
                    let xr = DMatrix::from_column_slice(self.steps, k + 1, &row[split..]);
                    for mut column in z.column_iter_mut() {
                        let level = column.mean();
                        column.add_scalar_mut(-level);
                    }
                    normal.gemm_tr(-1.0 / totals[draw], &z, &xr, 1.0);
                }
                self.solve_one(&normal)
            })
            .collect()
    }

    fn solve_one(&self, normal: &DMatrix<f64>) -> Option<DVector<f64>> {
        let k = self.parameters;
        let lu = normal.columns(0, k).into_owned().full_piv_lu();
        let pivots = lu.u().diagonal().abs();
        if !(pivots.min() > SINGULAR_PIVOT * pivots.max()) {
            return None;
        }
        let solution = lu.solve(&normal.column(k).into_owned())?;
        solution.iter().all(|value| value.is_finite()).then(|| solution.component_mul(&self.unscale))
    }
}

/// Zero-based laps of each stratum, in the order in which the strata first appear.
fn strata_of(labels: &[usize]) -> Vec<Vec<usize>> {
    let mut seen: Vec<usize> = Vec::new();
    let mut strata: Vec<Vec<usize>> = Vec::new();
    for (lap, label) in labels.iter().enumerate() {
        match seen.iter().position(|known| known == label) {
            Some(at) => strata[at].push(lap),
            None => {
                seen.push(*label);
                strata.push(vec![lap]);
            }
        }
    }
    strata
}

fn draw_counts(strata: &[Vec<usize>], generator: &mut Xoshiro256PlusPlus, mut add: impl FnMut(usize, f64)) {
    for laps in strata {
        if let [lone] = laps.as_slice() {
            add(*lone, 1.0);
            continue;
        }
        let drawn = laps.len() - 1;
        let count = laps.len() as f64 / drawn as f64;
        for _ in 0..drawn {
            add(laps[generator.random_range(0..laps.len())], count);
        }
    }
}

/// A generator seed of its own for every draw, so that the split over threads cannot matter.
fn seed_of(seed: u64, draw: u64) -> u64 {
    // The odd constant is 2⁶⁴ divided by the golden ratio (Knuth, TAOCP 2, §6.4): neighbouring draws land far apart.
    seed.wrapping_add(draw.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15))
}

/// Steps and parameters, when all shapes fit.
fn check(input: &Resampling) -> Result<(usize, usize), Error> {
    let Some(first) = input.laps.first() else {
        return Err(refusal("no laps to draw from".into()));
    };
    let (steps, parameters) = first.jacobian.shape();
    let fits = |lap: &Cluster| {
        let rows = lap.residual.len();
        let finite = lap.jacobian.iter().chain(lap.instruments.iter()).chain(lap.residual.iter()).all(|v| v.is_finite());
        lap.jacobian.shape() == (rows, parameters)
            && lap.instruments.shape() == (rows, parameters)
            && (input.lap_weights.is_none() || rows == steps)
            && finite
    };
    if let Some(bad) = input.laps.iter().position(|lap| !fits(lap)) {
        return Err(refusal(format!("lap {} differs in shape from the first or holds a value that is not a number", bad + 1)));
    }
    let positive = input.lap_weights.is_none_or(|weights| {
        weights.len() == input.laps.len() && weights.iter().all(|weight| weight.is_finite() && *weight > 0.0)
    });
    if input.strata.len() != input.laps.len() || !positive || parameters == 0 {
        return Err(refusal(format!("{} laps need as many strata and positive weights, and a parameter", input.laps.len())));
    }
    Ok((steps, parameters))
}

fn refusal(message: String) -> Error {
    Error::Numerical { stage: "bootstrap", message }
}
