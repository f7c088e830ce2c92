//! The observation equations at given parameters, lap by lap, and their cross products with the profile taken out.
//!
//! Given accounts, a layout and parameters; gives residuals and derivatives. A lap touches few parameters, so columns
//! are kept by lap and no matrix of all rows times all parameters is ever built for the solution.

use super::account::{AeroColumns, FittedWind, LapAccount, SupposedAir};
use super::layout::Layout;
use super::normal::{Normal, RunBlock};
use super::prior::Prior;
use super::profile::Absorption;
use super::wind_along::WindAlong;
use crate::sample::Cumulative;
use crate::uncertainty::rows::{LapRows, Rows};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use std::borrow::Borrow;

/// What stays the same while a fit looks for its parameters.
#[derive(Clone)]
pub struct Problem<'a> {
    pub layout: Layout,
    /// Laps in use.
    pub laps: Vec<&'a LapAccount>,
    /// Weight of each lap, mean 1.
    pub weight: Vec<f64>,
    /// Cumulative work of each run.
    pub work: Vec<&'a Cumulative>,
    /// Lag of each run where it is held, s.
    pub held_lag_s: Vec<f64>,
    /// Variance of the wind that the vector leaves out, of each run, m²/s².
    pub gust_variance: Vec<f64>,
    /// Middle of each lap in the day, h from the middle of the day.
    pub hour: Vec<f64>,
    pub absorption: Absorption,
    /// Surveyed height gained in each step, m.
    pub survey_m: Option<Vec<f64>>,
    pub wind_along: WindAlong,
    /// One over the number of steps that some lap shows.
    pub open_share: f64,
    /// k of drag against yaw of each run where it is held.
    pub held_yaw: f64,
    /// What is expected of each parameter.
    pub prior: Vec<Prior>,
    /// Long-run variance of a row of the account, m².
    pub row_variance: f64,
    /// Share of the differences between the winds of runs that is no error of the fit.
    pub wind_told: f64,
}

/// One column of a lap.
#[derive(Debug, Clone)]
pub struct Column {
    /// Which parameter.
    pub parameter: usize,
    pub values: Vec<f64>,
}

/// Residual and derivatives of the prediction for one lap.
#[derive(Debug, Clone)]
pub struct LapBlock {
    pub residual: Vec<f64>,
    pub columns: Vec<Column>,
}

impl LapBlock {
    /// The column of a parameter.
    pub fn column(&self, parameter: usize) -> Option<&[f64]> {
        self.columns.iter().find(|c| c.parameter == parameter).map(|c| c.values.as_slice())
    }
}

/// Scalar products of a lap's columns.
#[derive(Debug, Clone)]
pub(super) struct LapProducts {
    /// Each instrument with each derivative.
    zx: Vec<f64>,
    /// Each instrument with the residual.
    pub zr: Vec<f64>,
}

impl LapProducts {
    pub fn new(z: &LapBlock, x: &LapBlock) -> LapProducts {
        let mut zx = Vec::with_capacity(z.columns.len() * x.columns.len());
        for z in &z.columns {
            zx.extend(x.columns.iter().map(|x| dot(&z.values, &x.values)));
        }
        LapProducts { zx, zr: z.columns.iter().map(|z| dot(&z.values, &x.residual)).collect() }
    }
}

/// Nuisance values of a run.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RunState {
    pub lag_s: f64,
    pub wind: FittedWind,
    pub yaw: f64,
}

impl<'a> Problem<'a> {
    pub fn steps(&self) -> usize {
        self.laps.first().map_or(0, |l| l.steps())
    }

    /// Sum of the weights of the laps that show each step.
    pub fn shown(&self) -> DVector<f64> {
        shown(&self.laps, &self.weight)
    }

    /// Reads a run's nuisance values from a parameter vector.
    pub fn run_state(&self, parameters: &[f64], run: usize) -> RunState {
        let c = &self.layout.runs[run];
        let of = |column: Option<usize>| column.map_or(0.0, |i| parameters[i]);
        RunState {
            lag_s: c.lag.map_or(self.held_lag_s[run], |i| parameters[i]),
            wind: FittedWind {
                east_m_s: of(c.east),
                north_m_s: of(c.north),
                drift_east_m_s: of(c.drift_east),
                drift_north_m_s: of(c.drift_north),
            },
            yaw: self.layout.yaw(run).map_or(self.held_yaw, |i| parameters[i]),
        }
    }

    /// Share of the wind met in each step; empty where it is the same everywhere.
    pub fn share(&self, parameters: &[f64]) -> Vec<f64> {
        match &self.wind_along {
            WindAlong::Even => Vec::new(),
            WindAlong::Stated(share) => share.clone(),
            WindAlong::Estimated(waves) => {
                waves.log_share(&parameters[self.layout.along.clone()]).into_iter().map(f64::exp).collect()
            }
        }
    }

    /// The air that parameters suppose in a run.
    pub(super) fn air<'s>(&self, state: &RunState, run: usize, share: &'s [f64]) -> SupposedAir<'s> {
        SupposedAir { wind: state.wind, share, yaw: state.yaw, gust_variance: self.gust_variance[run] }
    }

    /// Left side of the equations of a lap, A less the surveyed profile, m.
    pub fn left_side(&self, lap: usize, state: &RunState) -> Vec<f64> {
        let account = self.laps[lap];
        let mut a = account.supplied_m(self.work[account.run], state.lag_s);
        if let Some(survey) = &self.survey_m {
            for (a, s) in a.iter_mut().zip(survey) {
                *a -= s;
            }
        }
        a
    }

    /// Residuals and derivatives of every lap at given parameters.
    pub fn blocks(&self, parameters: &[f64]) -> Vec<LapBlock> {
        let share = self.share(parameters);
        (0..self.laps.len()).into_par_iter().map(|g| self.block(g, &share, parameters)).collect()
    }

    /// Residual and derivatives of one lap, with the share of the wind that the parameters give.
    pub(super) fn block(&self, g: usize, share: &[f64], parameters: &[f64]) -> LapBlock {
        let account = self.laps[g];
        let l = &self.layout;
        let state = self.run_state(parameters, account.run);
        let aero = account.aero(self.air(&state, account.run, share));
        let left = self.left_side(g, &state);
        let cda = parameters[l.cda(account.run)];
        let crr = parameters[l.crr(account.run)] + l.crr_drift.map_or(0.0, |c| parameters[c] * self.hour[g]);
        let open_m = self.open_m(parameters);
        let of_step = |(a, (d, b)): (&f64, (&f64, &f64))| a - crr * d - cda * b + open_m;
        let residual = left.iter().zip(account.rolling_m.iter().zip(&aero.b)).map(of_step).collect();
        let residual = account.of_used_steps(residual);
        // The lag moves the left side; as a derivative of the prediction its sign turns.
        let lag_derivative = |_| {
            let slope = account.supplied_lag_derivative(self.work[account.run], state.lag_s);
            slope.into_iter().map(|x| -x).collect()
        };
        let lag = l.runs[account.run].lag.map_or_else(Vec::new, lag_derivative);
        LapBlock { residual, columns: self.columns(g, cda, account.rolling_m.clone(), aero, lag) }
    }

    /// What each step that laps show loses for the height that is gained where no lap shows the loop, m.
    fn open_m(&self, parameters: &[f64]) -> f64 {
        self.open_share * self.layout.open_height.map_or(0.0, |c| parameters[c])
    }

    /// Height gained in each step by the account of each lap, m, whatever a survey says; 0 in steps that are not used.
    pub fn gained_m(&self, parameters: &[f64]) -> Vec<Vec<f64>> {
        let unsurveyed = Problem { survey_m: None, ..self.clone() };
        let open_m = self.open_m(parameters);
        let gained = |(block, account): (LapBlock, &&LapAccount)| {
            account.of_used_steps(block.residual.into_iter().map(|r| r - open_m).collect())
        };
        unsurveyed.blocks(parameters).into_iter().zip(&self.laps).map(gained).collect()
    }

    /// Columns of a lap: those of Crr, CdA and the lag as given, all others from the derivatives of the drag.
    pub(super) fn columns(
        &self,
        g: usize,
        cda: f64,
        rolling: Vec<f64>,
        aero: AeroColumns,
        lag: Vec<f64>,
    ) -> Vec<Column> {
        let account = self.laps[g];
        let l = &self.layout;
        let run = &l.runs[account.run];
        let scaled = |values: &[f64], factor: f64| values.iter().map(|v| factor * v).collect::<Vec<_>>();
        let mut columns = Vec::with_capacity(10 + l.along.len());
        let drifting = l.crr_drift.map(|_| scaled(&rolling, self.hour[g]));
        let mut push = |parameter: Option<usize>, values: Vec<f64>| {
            if let Some(parameter) = parameter {
                columns.push(Column { parameter, values: account.of_used_steps(values) });
            }
        };
        push(Some(l.crr(account.run)), rolling);
        push(Some(l.cda(account.run)), aero.b);
        push(l.crr_drift, drifting.unwrap_or_default());
        push(l.open_height, vec![-self.open_share; self.steps()]);
        if let WindAlong::Estimated(waves) = &self.wind_along {
            for (parameter, term) in l.along.clone().zip(&waves.term) {
                push(Some(parameter), aero.log_share.iter().zip(term).map(|(d, t)| cda * d * t).collect());
            }
        }
        push(l.yaw(account.run), scaled(&aero.yaw, cda));
        push(run.lag, lag);
        push(run.east, scaled(&aero.east, cda));
        push(run.north, scaled(&aero.north, cda));
        push(run.drift_east, scaled(&aero.east, cda * account.phase));
        push(run.drift_north, scaled(&aero.north, cda * account.phase));
        columns
    }

    /// Precision of what is expected of each parameter, in units of a row.
    pub fn precision(&self, parameters: &[f64]) -> DVector<f64> {
        DVector::from_fn(self.layout.len, |i, _| self.prior[i].precision(parameters[i], self.row_variance))
    }

    /// How fast the pull of what is expected falls with each parameter, in units of a row.
    pub fn prior_slope(&self, parameters: &[f64]) -> DVector<f64> {
        DVector::from_fn(self.layout.len, |i, _| self.prior[i].slope(parameters[i], self.row_variance))
    }

    /// ZᵀPX with the profile taken out and the priors added; `z` holds instruments in the same layout as `x`.
    pub fn normal(&self, z: &[LapBlock], x: &[LapBlock], precision: &DVector<f64>) -> Normal {
        let products: Vec<LapProducts> = z.iter().zip(x).map(|(z, x)| LapProducts::new(z, x)).collect();
        self.normal_of(z, x, &products, precision)
    }

    /// The same from products already worked out.
    pub(super) fn normal_of(
        &self,
        z: &[LapBlock],
        x: &[LapBlock],
        products: &[LapProducts],
        precision: &DVector<f64>,
    ) -> Normal {
        let (k, steps, shared) = (self.layout.len, self.steps(), self.layout.shared);
        let mut corner = DMatrix::from_diagonal(&precision.rows(0, shared).into_owned());
        let mut runs: Vec<RunBlock> = self
            .layout
            .runs
            .iter()
            .map(|run| {
                let columns = run.range();
                RunBlock {
                    own: DMatrix::from_diagonal(&precision.rows(columns.start, columns.len()).into_owned()),
                    below: DMatrix::zeros(columns.len(), shared),
                    beside: DMatrix::zeros(shared, columns.len()),
                    columns,
                }
            })
            .collect();
        let (mut u, mut v) = (DMatrix::zeros(steps, k), DMatrix::zeros(steps, k));
        for ((((account, zb), xb), products), &w) in self.laps.iter().zip(z).zip(x).zip(products).zip(&self.weight) {
            if w == 0.0 {
                continue;
            }
            let run = &mut runs[account.run];
            let from = run.columns.start;
            let mut products = products.zx.iter();
            for zc in &zb.columns {
                add(&mut u, zc, w);
                for (xc, product) in xb.columns.iter().zip(&mut products) {
                    let product = w * product;
                    match (zc.parameter < shared, xc.parameter < shared) {
                        (true, true) => corner[(zc.parameter, xc.parameter)] += product,
                        (true, false) => run.beside[(zc.parameter, xc.parameter - from)] += product,
                        (false, true) => run.below[(zc.parameter - from, xc.parameter)] += product,
                        (false, false) => run.own[(zc.parameter - from, xc.parameter - from)] += product,
                    }
                }
            }
            for xc in &xb.columns {
                add(&mut v, xc, w);
            }
        }
        for c in 0..k {
            let column = self.absorption.profile(&v.column(c).into_owned());
            v.set_column(c, &column);
        }
        Normal { shared, corner, runs, u, v }
    }

    /// ZᵀPr with the profile taken out and the pull of the priors added.
    pub fn right_side<B: Borrow<LapBlock>>(&self, z: &[B], x: &[B], parameters: &[f64]) -> DVector<f64> {
        let absorbed = self.absorption.profile(&self.residual_sum(x));
        let mut right = self.pull(parameters);
        for ((zb, xb), &w) in z.iter().zip(x).zip(&self.weight) {
            for c in &zb.borrow().columns {
                right[c.parameter] += w * (dot(&c.values, &xb.borrow().residual) - dot(&c.values, absorbed.as_slice()));
            }
        }
        right
    }

    /// Pull of what is expected on each parameter.
    pub fn pull(&self, parameters: &[f64]) -> DVector<f64> {
        DVector::from_fn(self.layout.len, |i, _| self.prior[i].pull(parameters[i], self.row_variance))
    }

    /// Residuals of all laps times their weights, summed step by step.
    pub(super) fn residual_sum<B: Borrow<LapBlock>>(&self, blocks: &[B]) -> DVector<f64> {
        let mut sum = DVector::zeros(self.steps());
        for (b, &w) in blocks.iter().zip(&self.weight) {
            for (s, r) in sum.iter_mut().zip(&b.borrow().residual) {
                *s += w * r;
            }
        }
        sum
    }

    /// Columns of a lap as a matrix of steps × all parameters, times a factor.
    pub fn rows(&self, block: &LapBlock, factor: f64) -> DMatrix<f64> {
        let mut rows = DMatrix::zeros(self.steps(), self.layout.len);
        for c in &block.columns {
            add(&mut rows, c, factor);
        }
        rows
    }

    /// Weighted sum of squares of the residuals with the profile taken out.
    pub fn cost(&self, blocks: &[LapBlock]) -> f64 {
        let sum = self.residual_sum(blocks);
        let total: f64 = blocks.iter().zip(&self.weight).map(|(b, w)| w * dot(&b.residual, &b.residual)).sum();
        total - sum.dot(&self.absorption.profile(&sum))
    }

    /// The same with what is expected of the parameters, in units of a row.
    pub fn cost_with_priors(&self, blocks: &[LapBlock], parameters: &[f64]) -> f64 {
        let expected = self.prior.iter().zip(parameters).map(|(p, x)| p.cost(*x, self.row_variance));
        self.cost(blocks) + expected.sum::<f64>()
    }

    /// Columns of all laps with the profile taken out and scaled by the square root of the weight.
    pub fn projected_columns(&self, blocks: &[LapBlock]) -> Rows {
        self.projected(blocks, self.layout.len)
    }

    /// The same of other columns than those of the parameters, so many of them in all.
    pub fn projected(&self, blocks: &[LapBlock], columns: usize) -> Rows {
        let (k, steps) = (columns, self.steps());
        let mut sum = DMatrix::zeros(steps, k);
        for (b, &w) in blocks.iter().zip(&self.weight) {
            for c in &b.columns {
                add(&mut sum, c, w);
            }
        }
        for c in 0..k {
            let column = self.absorption.half_profile(&sum.column(c).into_owned());
            sum.set_column(c, &column);
        }
        let laps = blocks
            .iter()
            .zip(self.weight.iter().zip(&self.laps))
            .map(|(b, (w, account))| LapRows {
                own: DMatrix::from_fn(steps, b.columns.len(), |j, c| w.sqrt() * b.columns[c].values[j]),
                parameters: b.columns.iter().map(|c| c.parameter).collect(),
                root: w.sqrt(),
                missing: account.unused.clone(),
            })
            .collect();
        Rows { laps, common: sum, parameters: k }
    }

    /// Residuals of all laps in the same way.
    pub fn projected_residuals(&self, blocks: &[LapBlock]) -> Vec<DVector<f64>> {
        let sum = self.absorption.half_profile(&self.residual_sum(blocks));
        blocks
            .iter()
            .zip(self.weight.iter().zip(&self.laps))
            .map(|(b, (w, account))| {
                let mut rows = (DVector::from_column_slice(&b.residual) - &sum) * w.sqrt();
                account.unused.iter().for_each(|j| rows[*j] = 0.0);
                rows
            })
            .collect()
    }
}

/// Sum of the weights of the laps that show each step.
pub(super) fn shown(laps: &[&LapAccount], weight: &[f64]) -> DVector<f64> {
    let mut sum = DVector::from_element(laps.first().map_or(0, |l| l.steps()), weight.iter().sum::<f64>());
    for (lap, w) in laps.iter().zip(weight) {
        lap.unused.iter().for_each(|j| sum[*j] -= w);
    }
    // Rounding must not leave something of nothing.
    sum.map(|n| if n > 1e-9 { n } else { 0.0 })
}

/// Scalar product, in four sums side by side so that it need not wait for each addition.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (a4, a_rest) = a.as_chunks::<4>();
    let (b4, b_rest) = b.as_chunks::<4>();
    let mut sums = [0.0; 4];
    for (a, b) in a4.iter().zip(b4) {
        for k in 0..4 {
            sums[k] += a[k] * b[k];
        }
    }
    sums.iter().sum::<f64>() + a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum::<f64>()
}

fn add(sum: &mut DMatrix<f64>, column: &Column, weight: f64) {
    for (s, v) in sum.column_mut(column.parameter).iter_mut().zip(&column.values) {
        *s += weight * v;
    }
}
