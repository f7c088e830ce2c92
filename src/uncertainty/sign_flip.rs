//! Whether what a fit leaves along the loop is chance: a randomisation test by turning the signs of whole laps.
//!
//! Given residuals of laps with the fit's derivatives and instruments, and to which run and speed class each lap belongs; gives
//! statistics of the pattern that is left with their probabilities under chance, and what is left of each run and class
//! with what chance explains. It estimates no parameter, and the same seed gives the same answer.
//!
//! # Method
//!
//! Rows are scaled by the root of the lap's weight and cleared of the profile. With F the sines and cosines of a few waves round
//! the lap (rows of steps that are left out are zero), f_g = F r_g, n laps in a group and D the variance of each coefficient
//! within cells of run × class,
//!
//! ```text
//! T_run   = Σ_runs    n f̄ᵀ D⁻¹ f̄        something was otherwise in one run than in the others
//! T_class = Σ_classes n f̄ᵀ D⁻¹ f̄        something depends on speed
//! T_place = max over classes and steps of |r̄_j| / se(r̄_j)        the same at one place
//! T_known = sᵀ C⁻¹ s,  s = Σ_g Q_gᵀ r_g                          an effect of known form, columns Q, that the fit leaves out
//! ```
//!
//! Were all that is left chance, every lap would as likely have erred the other way. So e_g = (r_g − mean of its cell) √(n/(n − 1))
//! gets a random sign, and what a fit would leave of such a day is, to first order,
//!
//! ```text
//! r* = (I − X M Zᵀ) P (S e + p) − X M q,     M = (ZᵀX + Λ)⁻¹
//! ```
//!
//! p is a pattern of each class, normal and independent from step to step, with the standard deviation that a sound account has
//! where it reads speed once a second; q, normal with variance σ²Λ, is what the expectations of parameters pull the fit away from
//! the day. C is the covariance of s over such days, and the probability of the smallest of all is that of the same days.
//!
//! Drawn days share the squares that D and C are made of, and the day as it was does not: D of ν deviations errs, and 1/D is ν/(ν − 2)
//! of its true value in the mean (1/C of m coefficients ν/(ν − m − 1)). The day's own T is divided by that, and at one place it is
//! the normal quantile of Student's t with as many degrees of freedom as its class.
//!
//! Sources (from memory): Pitman 1937, Suppl. J. R. Stat. Soc. 4:119 (randomisation tests); Freedman & Lane 1983, J. Bus. Econ.
//! Stat. 1:292 (residuals of a fit drawn again and fitted again).

use super::laps::Laps;
use super::rows::Rows;
use super::student::{normal_quantile, t_two_sided_p};
use nalgebra::{Cholesky, DMatrix, DVector};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// Pairs of sine and cosine, and those of laps of few steps, with the steps from which a lap has many.
const WAVES: [usize; 2] = [8, 6];
const MANY_STEPS: usize = 20;

/// What is tested.
pub struct Left<'a> {
    /// Rows as the equations of the fit have them.
    pub laps: &'a Laps,
    /// M of the fit, parameters × parameters.
    pub inverse: &'a DMatrix<f64>,
    pub weight: &'a [f64],
    /// Run and speed class of each lap, from 0.
    pub run: &'a [usize],
    pub class: &'a [usize],
    /// Middle of each step as a share of the lap.
    pub place: &'a [f64],
    /// Whether a step is looked at; it must not be one that a lap lacks.
    pub is_kept: &'a [bool],
    /// Standard deviation of the pattern that a class has in a sound account, m a step.
    pub floor_m: f64,
    /// Columns of effects of known form, projected as the others are.
    pub known: &'a [Rows],
}

/// Probabilities of patterns as strong as those that are left, under chance.
#[derive(Debug, Clone, PartialEq)]
pub struct Explained {
    pub by_run: f64,
    pub by_class: f64,
    pub at_one_place: f64,
    /// Of the smallest of all.
    pub p_value: f64,
    pub known: Vec<KnownEffect>,
    /// Those that have laps.
    pub runs: Vec<GroupLeft>,
    pub classes: Vec<GroupLeft>,
}

/// An effect of known form.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownEffect {
    pub p_value: f64,
    /// Coefficients to first order.
    pub coefficient: Vec<f64>,
    /// Their standard errors.
    pub se: Vec<f64>,
}

/// What is left of the laps of a run or class, m a step.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupLeft {
    /// Which run or class.
    pub label: usize,
    pub mean_m: Vec<f64>,
    /// Standard deviation under chance.
    pub chance_sd_m: Vec<f64>,
}

/// A few laps whose mean is looked at.
struct Group {
    label: usize,
    laps: Vec<usize>,
    /// Mean root of their weights.
    root: f64,
    /// Share of each class in that.
    of_class: Vec<f64>,
}

/// Means of a group, steps × draws; the first column is the day as it was.
type Means = DMatrix<f64>;

/// See the module. `None` where no cell has two laps, or too few steps are looked at.
pub fn explained(left: &Left, draws: usize, seed: u64) -> Option<Explained> {
    let steps = left.place.len();
    let kept: Vec<usize> = (0..steps).filter(|j| left.is_kept[*j]).collect();
    let deviation = deviations(left)?;
    let most = if steps >= MANY_STEPS { WAVES[0] } else { WAVES[1] };
    let waves = waves(left, most.min(kept.len().saturating_sub(1) / 2));
    if waves.is_empty() {
        return None;
    }
    let days = Days::new(left, &deviation, draws, seed);
    let of = |label: &[usize]| -> Vec<(Group, Means)> {
        let with_means = |group: Group| {
            let means = days.means(left, &deviation, &group);
            (group, means)
        };
        groups(left, label).into_iter().map(with_means).collect()
    };
    let (runs, classes) = (of(left.run), of(left.class));
    let variance = mean_squares(&deviation, &waves);
    let mut statistics: Vec<Vec<f64>> = vec![vec![0.0; 3]; draws + 1];
    for (k, groups) in [&runs, &classes].into_iter().enumerate() {
        // One alone is the mean of all, and nothing is left of that.
        for (group, means) in groups.iter().filter(|_| groups.len() > 1) {
            for (of_day, f) in statistics.iter_mut().zip((&waves * means).column_iter()) {
                of_day[k] += group.laps.len() as f64 * f.iter().zip(&variance).map(|(f, v)| f * f / v).sum::<f64>();
            }
        }
    }
    let freedom = freedom(left);
    let all: f64 = freedom.iter().sum();
    let in_mean = |coefficients: f64| ((all - coefficients - 1.0) / all).max(0.0);
    statistics[0].iter_mut().for_each(|t| *t *= in_mean(1.0));
    for (group, means) in classes.iter().filter(|_| classes.len() > 1) {
        let error = step_errors(left, &deviation, group);
        for (of_day, mean) in statistics.iter_mut().zip(means.column_iter()) {
            let largest = kept.iter().map(|j| (mean[*j] / error[*j]).abs()).fold(0.0, f64::max);
            of_day[2] = of_day[2].max(largest);
        }
    }
    let fewest = classes.iter().map(|(group, _)| freedom[group.label]).fold(f64::MAX, f64::min);
    statistics[0][2] = as_normal(statistics[0][2], fewest);
    let mut known = Vec::with_capacity(left.known.len());
    for columns in left.known {
        let scores = days.scores(left, &deviation, columns);
        for (of_day, size) in statistics.iter_mut().zip(sizes(&scores)?) {
            of_day.push(size);
        }
        statistics[0].iter_mut().skip(3 + known.len()).for_each(|t| *t *= in_mean(columns.parameters as f64));
        known.push(coefficients(left, columns, &scores)?);
    }
    let (each, p_value) = probabilities(&statistics)?;
    let known = known.into_iter().zip(&each[3..]);
    let told = |of: &[(Group, Means)]| of.iter().map(|(group, means)| group_left(group, means)).collect();
    Some(Explained {
        by_run: each[0],
        by_class: each[1],
        at_one_place: each[2],
        p_value,
        known: known.map(|(effect, p)| KnownEffect { p_value: *p, ..effect }).collect(),
        runs: told(&runs),
        classes: told(&classes),
    })
}

/// Deviations of laps from the mean of their cell, of the size of their errors; `None` where no cell has two laps.
fn deviations(left: &Left) -> Option<Vec<DVector<f64>>> {
    let residual = &left.laps.residual;
    let mut cells: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
    for g in 0..residual.len() {
        cells.entry((left.run[g], left.class[g])).or_default().push(g);
    }
    let mut out = vec![DVector::zeros(left.place.len()); residual.len()];
    cells.retain(|_, laps| laps.len() > 1);
    for laps in cells.values() {
        let n = laps.len() as f64;
        let mean = laps.iter().fold(DVector::zeros(left.place.len()), |sum, g| sum + &residual[*g]) / n;
        for &g in laps {
            out[g] = (&residual[g] - &mean) * (n / (n - 1.0)).sqrt();
        }
    }
    (!cells.is_empty()).then_some(out)
}

/// Laps less cells of each class, of cells of two laps or more.
fn freedom(left: &Left) -> Vec<f64> {
    let mut cells: BTreeMap<(usize, usize), f64> = BTreeMap::new();
    for (run, class) in left.run.iter().zip(left.class) {
        *cells.entry((*class, *run)).or_default() += 1.0;
    }
    let mut freedom = vec![0.0; classes_of(left)];
    for ((class, _), laps) in cells {
        freedom[class] += laps - 1.0;
    }
    freedom
}

/// The normal deviate that is as rare as t; t itself where both are too rare to be told.
fn as_normal(t: f64, freedom: f64) -> f64 {
    if freedom < 1.0 || t == 0.0 {
        return 0.0;
    }
    let tail = 0.5 * t_two_sided_p(t, freedom);
    if tail > 1e-15 { -normal_quantile(tail) } else { t }
}

/// Sines and cosines at the steps that are looked at, coefficients × steps.
fn waves(left: &Left, count: usize) -> DMatrix<f64> {
    DMatrix::from_fn(2 * count, left.place.len(), |i, j| {
        let turn = TAU * (i / 2 + 1) as f64 * left.place[j];
        let value = if i % 2 == 0 { turn.cos() } else { turn.sin() };
        if left.is_kept[j] { value } else { 0.0 }
    })
}

fn classes_of(left: &Left) -> usize {
    left.class.iter().max().map_or(0, |c| c + 1)
}

/// Laps by their label, without those labels that no lap has.
fn groups(left: &Left, of_lap: &[usize]) -> Vec<Group> {
    let mut all: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (g, label) in of_lap.iter().enumerate() {
        all.entry(*label).or_default().push(g);
    }
    all.into_iter()
        .map(|(label, laps)| {
            let mut of_class = vec![0.0; classes_of(left)];
            for &g in &laps {
                of_class[left.class[g]] += left.weight[g].sqrt() / laps.len() as f64;
            }
            Group { label, root: of_class.iter().sum(), of_class, laps }
        })
        .collect()
}

/// Mean square of each coefficient of laps in cells of two or more.
fn mean_squares(deviation: &[DVector<f64>], waves: &DMatrix<f64>) -> Vec<f64> {
    let told: Vec<DVector<f64>> = deviation.iter().filter(|e| e.amax() > 0.0).map(|e| waves * e).collect();
    let n = told.len().max(1) as f64;
    (0..waves.nrows()).map(|i| (told.iter().map(|f| f[i] * f[i]).sum::<f64>() / n).max(f64::MIN_POSITIVE)).collect()
}

/// Standard error of the mean of a class at each step.
fn step_errors(left: &Left, deviation: &[DVector<f64>], group: &Group) -> Vec<f64> {
    let n = group.laps.len() as f64;
    let floor = (left.floor_m * group.root).powi(2);
    let squares = |j: usize| group.laps.iter().map(|g| deviation[*g][j].powi(2)).sum::<f64>();
    (0..left.place.len()).map(|j| (squares(j) / (n * n) + floor).max(f64::MIN_POSITIVE).sqrt()).collect()
}

/// The day as it was and days on which laps erred otherwise. Matrices have one column a day, the first for the day as it was.
struct Days {
    /// Laps × drawn days.
    sign: DMatrix<f64>,
    /// Pattern of each class, steps × drawn days.
    pattern: Vec<DMatrix<f64>>,
    /// What is taken from each lap of a drawn day, times the root of its weight: the mean of all laps, and the change of the
    /// parameters along what all laps have in common; steps × drawn days.
    common: DMatrix<f64>,
    /// The mean of all laps of the day as it was.
    common_as_it_was: DVector<f64>,
    /// Change of the parameters, × drawn days.
    change: DMatrix<f64>,
}

impl Days {
    fn new(left: &Left, deviation: &[DVector<f64>], draws: usize, seed: u64) -> Days {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        let (laps, steps) = (deviation.len(), left.place.len());
        let sign = DMatrix::from_fn(laps, draws, |_, _| if random.random::<bool>() { 1.0 } else { -1.0 });
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let pattern: Vec<DMatrix<f64>> =
            (0..classes_of(left)).map(|_| DMatrix::from_fn(steps, draws, |_, _| left.floor_m * normal())).collect();

        let total: f64 = left.weight.iter().sum();
        let mean_of_all = |rows: &[DVector<f64>]| -> Vec<DVector<f64>> {
            rows.iter().zip(left.weight).map(|(r, w)| r * (w.sqrt() / total)).collect()
        };
        let (jacobian, instruments) = (&left.laps.jacobian, &left.laps.instruments);
        let mut common = DMatrix::from_columns(&mean_of_all(deviation)) * &sign;
        let mut pull = instruments.transposed_each(deviation) * &sign;
        for (class, pattern) in pattern.iter().enumerate() {
            let of = |g: usize| if left.class[g] == class { left.weight[g] } else { 0.0 };
            common += pattern * ((0..laps).map(of).sum::<f64>() / total);
            pull += instruments.sum(|g| of(g).sqrt()).transpose() * pattern;
        }
        let prior = &left.laps.prior;
        for (mut row, precision) in pull.row_iter_mut().zip(prior.precision.iter()) {
            let sd = (precision * prior.row_variance).sqrt();
            row.iter_mut().for_each(|x| *x += sd * normal());
        }
        let change = left.inverse * pull;
        // The mean over all laps of X, and what X holds of it already.
        let mut derivative = jacobian.sum(|g| left.weight[g].sqrt()) / total;
        if jacobian.common.nrows() > 0 {
            derivative += &jacobian.common;
        }
        common -= derivative * &change;
        let common_as_it_was =
            mean_of_all(&left.laps.residual).iter().fold(DVector::zeros(steps), |sum, column| sum + column);
        Days { sign, pattern, common, common_as_it_was, change }
    }

    /// Σ_g Q_gᵀ r_g, coefficients × days. Q holds nothing that all laps have in common.
    fn scores(&self, left: &Left, deviation: &[DVector<f64>], columns: &Rows) -> DMatrix<f64> {
        let mut drawn = columns.transposed_each(deviation) * &self.sign;
        drawn -= columns.transposed_times(left.inverse.nrows(), |g| left.laps.jacobian.block(g)) * &self.change;
        for (class, pattern) in self.pattern.iter().enumerate() {
            let of = |g: usize| if left.class[g] == class { left.weight[g].sqrt() } else { 0.0 };
            drawn += columns.sum(of).transpose() * pattern;
        }
        let mut scores = drawn.insert_column(0, 0.0);
        scores.set_column(0, &columns.transposed_each(&left.laps.residual).column_sum());
        scores
    }

    fn means(&self, left: &Left, deviation: &[DVector<f64>], group: &Group) -> Means {
        let n = group.laps.len() as f64;
        let residual = &left.laps.residual;
        let as_it_was = group.laps.iter().fold(DVector::zeros(left.place.len()), |sum, g| sum + &residual[*g]) / n
            - &self.common_as_it_was * group.root;
        let own: Vec<DVector<f64>> = group.laps.iter().map(|g| &deviation[*g] / n).collect();
        let mut drawn = DMatrix::from_columns(&own) * self.sign.select_rows(&group.laps);
        drawn -= &self.common * group.root;
        let (derivative, parameters) = own_derivative(&left.laps.jacobian, &group.laps);
        drawn -= derivative * self.change.select_rows(&parameters);
        for (share, pattern) in group.of_class.iter().zip(&self.pattern) {
            drawn += pattern * *share;
        }
        let mut means = drawn.insert_column(0, 0.0);
        means.set_column(0, &as_it_was);
        means
    }
}

/// sᵀC⁻¹s of each day, C from the drawn ones; `None` where it is singular.
fn sizes(scores: &DMatrix<f64>) -> Option<Vec<f64>> {
    let drawn = scores.columns(1, scores.ncols() - 1);
    let covariance = Cholesky::new(drawn * drawn.transpose() / drawn.ncols() as f64)?;
    Some(scores.column_iter().map(|s| s.dot(&covariance.solve(&s.into_owned()))).collect())
}

/// Step of the coefficients from zero, (QᵀQ − QᵀX M ZᵀQ)⁻¹ s, on all days; without a probability yet.
fn coefficients(left: &Left, columns: &Rows, scores: &DMatrix<f64>) -> Option<KnownEffect> {
    let count = columns.parameters;
    let own = columns.transposed_times(count, |g| columns.block(g));
    let with_fit = columns.transposed_times(left.inverse.nrows(), |g| left.laps.jacobian.block(g));
    let fitted = left.laps.instruments.transposed_times(count, |g| columns.block(g));
    let steps = (own - with_fit * left.inverse * fitted).lu().solve(scores)?;
    let drawn = (steps.ncols() - 1).max(1) as f64;
    let se = |row: usize| (steps.row(row).iter().skip(1).map(|x| x * x).sum::<f64>() / drawn).sqrt();
    Some(KnownEffect {
        p_value: f64::NAN,
        coefficient: steps.column(0).iter().copied().collect(),
        se: (0..count).map(se).collect(),
    })
}

/// Mean of the own columns of some laps, with their parameters: steps × those parameters.
fn own_derivative(rows: &Rows, laps: &[usize]) -> (DMatrix<f64>, Vec<usize>) {
    let mut columns: BTreeMap<usize, DVector<f64>> = BTreeMap::new();
    for &g in laps {
        let lap = &rows.laps[g];
        for (&parameter, values) in lap.parameters.iter().zip(lap.own.column_iter()) {
            let sum = columns.entry(parameter).or_insert_with(|| DVector::zeros(values.len()));
            sum.axpy(1.0 / laps.len() as f64, &values, 1.0);
        }
    }
    let parameters = columns.keys().copied().collect();
    (DMatrix::from_columns(&columns.into_values().collect::<Vec<_>>()), parameters)
}

fn group_left(group: &Group, means: &Means) -> GroupLeft {
    let drawn = (means.ncols() - 1).max(1) as f64;
    let chance = |j: usize| (means.row(j).iter().skip(1).map(|m| m * m).sum::<f64>() / drawn).sqrt() / group.root;
    GroupLeft {
        label: group.label,
        mean_m: means.column(0).iter().map(|m| m / group.root).collect(),
        chance_sd_m: (0..means.nrows()).map(chance).collect(),
    }
}

/// From the statistics of all days, the first as it was: of each, and of the smallest of all.
fn probabilities(statistics: &[Vec<f64>]) -> Option<(Vec<f64>, f64)> {
    if statistics.iter().flatten().any(|t| !t.is_finite()) {
        return None;
    }
    let all = statistics.len();
    let shares = |k: usize| -> Vec<f64> {
        let mut sorted: Vec<f64> = statistics.iter().map(|t| t[k]).collect();
        sorted.sort_by(f64::total_cmp);
        statistics.iter().map(|t| (all - sorted.partition_point(|s| *s < t[k])) as f64 / all as f64).collect()
    };
    let each: Vec<Vec<f64>> = (0..statistics.first()?.len()).map(shares).collect();
    let least = |day: usize| each.iter().map(|p| p[day]).fold(1.0, f64::min);
    let p_value = (0..all).filter(|day| least(*day) <= least(0)).count() as f64 / all as f64;
    Some((each.iter().map(|p| p[0]).collect(), p_value))
}

#[cfg(test)]
#[path = "sign_flip_tests.rs"]
mod tests;
