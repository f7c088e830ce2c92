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

use nalgebra::{DMatrix, DMatrixView, DVector};
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
        let ones = DMatrix::from_element(input.laps.len(), 1, 1.0);
        let Some(centre) = equations.solve(&ones).pop().flatten() else {
            return Err(refusal("the equations of the laps as ridden are singular; hold a parameter fixed".into()));
        };
        let solved: Vec<Option<DVector<f64>>> = (0..draws.div_ceil(BLOCK))
            .into_par_iter()
            .flat_map_iter(|block| {
                let mut counts = DMatrix::zeros(input.laps.len(), BLOCK.min(draws - block * BLOCK));
                for (i, mut draw) in counts.column_iter_mut().enumerate() {
                    let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed_of(seed, (block * BLOCK + i) as u64));
                    draw_counts(&strata, &mut generator, |lap, count| draw[lap] += count);
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
    /// Flattened Z_gᵀ[X_g r_g] × laps, scaled.
    products: DMatrix<f64>,
    /// Flattened s_g [Z_g X_g r_g] × laps, scaled; empty when no step means are absorbed.
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
        let mut products = DMatrix::zeros(width, laps.len());
        for (mut lap, (z, xr)) in products.column_iter_mut().zip(&scaled) {
            lap.copy_from_slice(z.tr_mul(xr).as_slice());
        }
        let ones = vec![1.0; laps.len()];
        let weights = DVector::from_column_slice(input.lap_weights.unwrap_or(&ones));
        let absorbed_steps = if input.lap_weights.is_some() { steps } else { 0 };
        let mut rows = DMatrix::zeros(absorbed_steps * (2 * parameters + 1), laps.len());
        for ((mut lap, (z, xr)), weight) in rows.column_iter_mut().zip(&scaled).zip(weights.iter()) {
            let both = z.iter().chain(xr.iter());
            lap.iter_mut().zip(both).for_each(|(target, value)| *target = value * weight.sqrt());
        }
        Ok(Equations { parameters, steps: absorbed_steps, products, rows, weights, unscale: columns })
    }

    /// One solution for each column of counts (laps × draws); `None` where the equations are singular.
    fn solve(&self, counts: &DMatrix<f64>) -> Vec<Option<DVector<f64>>> {
        // A column a draw, so that what belongs to a draw lies together.
        let products = &self.products * counts;
        let sums = &self.rows * counts;
        let totals = counts.tr_mul(&self.weights);
        let k = self.parameters;
        let mut z_transposed = DMatrix::zeros(k, self.steps);
        (0..counts.ncols())
            .map(|draw| {
                let mut normal = DMatrix::from_column_slice(k, k + 1, products.column(draw).as_slice());
                if self.steps > 0 {
                    let sums = sums.column(draw);
                    let (z, xr) = sums.as_slice().split_at(self.steps * k);
                    for (mut row, column) in z_transposed.row_iter_mut().zip(z.chunks_exact(self.steps)) {
                        let level = column.iter().sum::<f64>() / self.steps as f64;
                        row.iter_mut().zip(column).for_each(|(centred, value)| *centred = value - level);
                    }
                    let xr = DMatrixView::from_slice(xr, self.steps, k + 1);
                    normal.gemm(-1.0 / totals[draw], &z_transposed, &xr, 1.0);
                }
                self.solve_one(normal)
            })
            .collect()
    }

    /// Gauss with pivots chosen in the column, for the last column of the equations.
    fn solve_one(&self, equations: DMatrix<f64>) -> Option<DVector<f64>> {
        let k = self.parameters;
        let right = equations.column(k).into_owned();
        let lu = equations.remove_column(k).lu();
        let (least, most) = (0..k)
            .map(|i| lu.lu_internal()[(i, i)].abs())
            .fold((f64::INFINITY, 0.0_f64), |(least, most), p| (least.min(p), most.max(p)));
        let ratio = least / most;
        if ratio.is_nan() || ratio <= SINGULAR_PIVOT {
            return None;
        }
        let solution = lu.solve(&right)?;
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
        let finite =
            lap.jacobian.iter().chain(lap.instruments.iter()).chain(lap.residual.iter()).all(|v| v.is_finite());
        lap.jacobian.shape() == (rows, parameters)
            && lap.instruments.shape() == (rows, parameters)
            && (input.lap_weights.is_none() || rows == steps)
            && finite
    };
    if let Some(bad) = input.laps.iter().position(|lap| !fits(lap)) {
        return Err(refusal(format!(
            "lap {} differs in shape from the first or holds a value that is not a number",
            bad + 1
        )));
    }
    let positive = input.lap_weights.is_none_or(|weights| {
        weights.len() == input.laps.len() && weights.iter().all(|weight| weight.is_finite() && *weight > 0.0)
    });
    if input.strata.len() != input.laps.len() || !positive || parameters == 0 {
        return Err(refusal(format!(
            "{} laps need as many strata and positive weights, and a parameter",
            input.laps.len()
        )));
    }
    Ok((steps, parameters))
}

fn refusal(message: String) -> Error {
    Error::Numerical { stage: "bootstrap", message }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_distr::{Distribution, StandardNormal};

    fn normal(generator: &mut Xoshiro256PlusPlus) -> f64 {
        StandardNormal.sample(generator)
    }

    fn laps(count: usize, steps: usize, parameters: usize, seed: u64) -> Vec<Cluster> {
        let mut generator = Xoshiro256PlusPlus::seed_from_u64(seed);
        (0..count)
            .map(|_| {
                let jacobian = DMatrix::from_fn(steps, parameters, |_, _| normal(&mut generator) + 0.4);
                let noise = DMatrix::from_fn(steps, parameters, |_, _| normal(&mut generator));
                Cluster {
                    instruments: &jacobian + noise * 0.4,
                    jacobian,
                    residual: DVector::from_fn(steps, |_, _| normal(&mut generator)),
                }
            })
            .collect()
    }

    #[test]
    fn counting_a_lap_twice_is_solving_with_the_lap_twice_in_the_data() {
        // The definition: laps 0, 0, 2, 3, 3, 3 stacked, weighted step means with zero sum projected out densely.
        let laps = laps(4, 5, 2, 3);
        let weights = [0.7, 1.0, 1.6, 0.4];
        let input = Resampling { laps: &laps, lap_weights: Some(&weights), strata: &[0; 4] };
        let fast = Equations::new(&input).unwrap().solve(&DMatrix::from_column_slice(4, 1, &[2.0, 0.0, 1.0, 3.0]));
        let drawn = [0, 0, 2, 3, 3, 3];
        let total: f64 = drawn.iter().map(|lap| weights[*lap]).sum();
        let projection = DMatrix::from_fn(30, 30, |row, column| {
            let (g, h) = (drawn[row / 5], drawn[column / 5]);
            let same_step = if row % 5 == column % 5 { 1.0 } else { 0.0 };
            let same_row = if row == column { 1.0 } else { 0.0 };
            same_row - (weights[g] * weights[h]).sqrt() / total * (same_step - 0.2)
        });
        let z = DMatrix::from_fn(30, 2, |row, column| laps[drawn[row / 5]].instruments[(row % 5, column)]);
        let x = DMatrix::from_fn(30, 2, |row, column| laps[drawn[row / 5]].jacobian[(row % 5, column)]);
        let r = DVector::from_fn(30, |row, _| laps[drawn[row / 5]].residual[row % 5]);
        let expected = (z.transpose() * &projection * x).lu().solve(&(z.transpose() * projection * r)).unwrap();
        let got = fast[0].clone().unwrap();
        assert!((&got - &expected).amax() < 1e-11 * expected.amax(), "{got} {expected}");
    }

    #[test]
    fn the_scatter_of_a_stratified_mean_is_unbiased_even_for_small_strata() {
        // Rao & Wu 1988: the bootstrap variance of a mean over strata tends to Σ (n_s/n)² s_s²/n_s, here with
        // three laps a stratum; the relative error of a standard deviation from 4000 draws is 1/√8000 = 1.1 %.
        let values = [1.0, 4.0, 2.5, 10.0, 11.5, 9.0];
        let mean = values.iter().sum::<f64>() / 6.0;
        let one = DMatrix::from_element(1, 1, 1.0);
        let cluster = |value: &f64| Cluster {
            jacobian: one.clone(),
            instruments: one.clone(),
            residual: DVector::from_element(1, value - mean),
        };
        let laps: Vec<Cluster> = values.iter().map(cluster).collect();
        let input = Resampling { laps: &laps, lap_weights: None, strata: &[7, 7, 7, 9, 9, 9] };
        let bootstrap = Bootstrap::run(&input, 4000, 1).unwrap();
        let variance = |v: &[f64]| v.iter().map(|x| (x - v.iter().sum::<f64>() / 3.0).powi(2)).sum::<f64>() / 2.0;
        let expected = ((variance(&values[..3]) + variance(&values[3..])) / 12.0).sqrt();
        let got = bootstrap.standard_error(&DVector::from_element(1, 1.0));
        assert!((got / expected - 1.0).abs() < 0.045, "{got} {expected}");
        let interval = bootstrap.interval(&DVector::from_element(1, 1.0), 0.95);
        assert!(interval.low < 0.0 && interval.high > 0.0);
    }

    #[test]
    fn the_same_seed_gives_the_same_bits_on_one_thread_and_on_many() {
        let laps = laps(6, 4, 2, 5);
        let weights = [1.0; 6];
        let run = || {
            let input = Resampling { laps: &laps, lap_weights: Some(&weights), strata: &[0, 0, 0, 1, 1, 1] };
            Bootstrap::run(&input, 333, 42).unwrap().deviations
        };
        let pool = |threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        assert_eq!(pool(1).install(run), pool(3).install(run));
    }

    #[test]
    fn draws_that_lose_a_parameter_are_counted_and_lone_laps_are_named() {
        // The second parameter lives in lap 0 only; of three laps two are drawn, so (2/3)² of the draws miss lap 0.
        let row = |second: f64| DMatrix::from_row_slice(2, 2, &[1.0, second, 1.0, -second]);
        let cluster = |second| Cluster {
            jacobian: row(second),
            instruments: row(second),
            residual: DVector::from_vec(vec![0.1, 0.3]),
        };
        let laps = [cluster(1.0), cluster(0.0), cluster(0.0), cluster(0.0)];
        let input = Resampling { laps: &laps, lap_weights: None, strata: &[0, 0, 0, 5] };
        let bootstrap = Bootstrap::run(&input, 2000, 8).unwrap();
        assert_eq!(bootstrap.lone_laps, 1);
        assert!((bootstrap.singular as f64 / 2000.0 - 4.0 / 9.0).abs() < 0.045, "{}", bootstrap.singular);
        assert_eq!(bootstrap.deviations.nrows() + bootstrap.singular, 2000);
    }

    #[test]
    fn inputs_that_do_not_fit_are_refused() {
        let laps = laps(3, 4, 2, 6);
        assert!(Bootstrap::run(&Resampling { laps: &laps, lap_weights: None, strata: &[0] }, 10, 1).is_err());
        assert!(Bootstrap::run(&Resampling { laps: &[], lap_weights: None, strata: &[] }, 10, 1).is_err());
        let weights = [1.0, -1.0, 1.0];
        assert!(
            Bootstrap::run(&Resampling { laps: &laps, lap_weights: Some(&weights), strata: &[0; 3] }, 10, 1).is_err()
        );
    }
}
