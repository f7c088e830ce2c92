//! The fit of a whole session on one loop: screening, least squares, planned-speed instruments, covariance.
//!
//! Given accounts of all laps and what is to be estimated; gives parameters, their covariance and the reason of every
//! lap that was left out. It knows nothing of files, set-up names or watts.

use super::account::LapAccount;
use super::design::{LapBlock, Problem};
use super::instruments::{self, PlannedRide};
use super::layout::{Layout, Nuisances};
use super::outer::{LeastSquaresPoint, ROUGH_M, TOLERANCE_M, least_squares_from};
use super::profile::Absorption;
use super::screen;
use super::speed_class::{Origin, SpeedClasses, classify};
use super::weights::lap_weights;
use crate::error::Error;
use crate::sample::{Cumulative, Reason};
use crate::session::Sharing;
use crate::uncertainty::cluster::{Absorbed, ClusterRobust, Laps};
use nalgebra::{DMatrix, DVector};

/// Standard deviation of the weak prior on each wind component, m/s: what nobody rides a test in.
const WIND_PRIOR_M_S: f64 = 5.0;
/// The same for the change of wind within a run, m/s.
const DRIFT_PRIOR_M_S: f64 = 2.0;
/// The same for the lag, s.
const LAG_PRIOR_S: f64 = 3.0;
/// Most that the error of a fitted wind is allowed for, m²/s²: beyond that the wind is not known and no correction helps.
const MOST_WIND_VARIANCE: f64 = 1.0;
/// Bound of the lag, s.
pub const LAG_BOUND_S: f64 = 3.0;
/// Scatter of one row of the account before it is known, m.
const FIRST_ROW_SD_M: f64 = 0.05;
/// Wind that the second and third start suppose, m/s.
const START_WIND_M_S: f64 = 2.0;
/// Rounds of screening and fitting.
const MOST_ROUNDS: usize = 4;
/// Newton steps of a repetition: the input moves by one standard uncertainty, so the second step is already tiny.
const SENSITIVITY_STEPS: usize = 2;

/// What is to be estimated and what is held.
#[derive(Debug, Clone, PartialEq)]
pub struct Choices {
    pub setups: usize,
    pub crr: Sharing,
    pub cda: Sharing,
    /// Lag of each run where it is held, s.
    pub held_lag_s: Vec<Option<f64>>,
    pub wind: bool,
    /// Runs in which the wind may drift.
    pub wind_drift: Vec<bool>,
    pub crr_drift: bool,
    /// Variance of the wind that the vector leaves out, of each run, m²/s²: gusts less the error of the fitted wind.
    pub gust_variance: Vec<f64>,
}

/// One lap as the fit sees it.
#[derive(Debug, Clone)]
pub struct LapInput {
    pub account: LapAccount,
    /// Why the lap is not used; set before the fit from the record, added to by screening.
    pub reason: Option<Reason>,
    /// The tester wants it used in spite of screening.
    pub keep: bool,
    pub planned_m_s: Option<f64>,
    /// Middle of the lap, h from the middle of the day.
    pub hour: f64,
}

/// A surveyed profile on the steps.
#[derive(Debug, Clone, PartialEq)]
pub struct SurveyedSteps {
    /// Height gained in each step, m.
    pub gain_m: Vec<f64>,
    pub sd_m: f64,
}

/// Which equations gave the reported values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Estimator {
    Instruments,
    LeastSquares,
}

/// The result of a fit.
pub struct LoopFit {
    pub layout: Layout,
    pub parameters: Vec<f64>,
    pub estimator: Estimator,
    pub least_squares: LeastSquaresPoint,
    pub starts: usize,
    pub classes: SpeedClasses,
    /// Indices into the input of the laps used.
    pub used: Vec<usize>,
    pub weight: Vec<f64>,
    pub covariance: ClusterRobust,
    /// Height gained in each step, m, with its standard error.
    pub profile_m: Vec<f64>,
    pub profile_se_m: Vec<f64>,
    /// Standard deviation of a row of the account, m.
    pub row_sd_m: f64,
    /// Condition number of the scaled columns of Crr and CdA with everything else taken out.
    pub condition: f64,
}

/// What stays the same from a fit to its repetitions with altered inputs.
pub struct Frame<'a> {
    pub work: Vec<&'a Cumulative>,
    pub choices: &'a Choices,
    pub survey: Option<&'a SurveyedSteps>,
}

impl<'a> Frame<'a> {
    fn nuisances(&self) -> Vec<Nuisances> {
        self.choices
            .held_lag_s
            .iter()
            .zip(&self.choices.wind_drift)
            .map(|(held, drift)| Nuisances { lag: held.is_none(), wind: self.choices.wind, wind_drift: *drift })
            .collect()
    }

    /// The equations for some of the laps.
    pub fn problem<'l>(&self, laps: &'l [LapInput], used: &[usize], weight: &[f64], row_sd_m: f64) -> Problem<'l>
    where
        'a: 'l,
    {
        let c = self.choices;
        let layout = Layout::new(c.setups, c.crr, c.cda, c.crr_drift, &self.nuisances());
        let steps = used.first().map_or(0, |i| laps[*i].account.steps());
        let mut prior = vec![0.0; layout.len];
        for run in &layout.runs {
            let mut set = |column: Option<usize>, sd: f64| {
                if let Some(i) = column {
                    prior[i] = (row_sd_m / sd).powi(2);
                }
            };
            set(run.lag, LAG_PRIOR_S);
            set(run.east, WIND_PRIOR_M_S);
            set(run.north, WIND_PRIOR_M_S);
            set(run.drift_east, DRIFT_PRIOR_M_S);
            set(run.drift_north, DRIFT_PRIOR_M_S);
        }
        let total: f64 = weight.iter().sum();
        Problem {
            laps: used.iter().map(|i| &laps[*i].account).collect(),
            weight: weight.to_vec(),
            work: self.work.clone(),
            held_lag_s: c.held_lag_s.iter().map(|l| l.unwrap_or(0.0)).collect(),
            gust_variance: c.gust_variance.clone(),
            hour: used.iter().map(|i| laps[*i].hour).collect(),
            absorption: match self.survey {
                Some(s) => Absorption::surveyed(steps, s.sd_m, row_sd_m, total),
                None => Absorption::free(steps),
            },
            survey_m: self.survey.map(|s| s.gain_m.clone()),
            prior_mean: vec![0.0; prior.len()],
            prior,
            layout,
        }
    }
}

/// Fits a session, marking laps that break the account.
///
/// `from` is a fit of the same laps under other choices: screening is then done and its winds and lags are the start.
/// Errors: [`Error::TooFewLaps`], [`Error::Numerical`].
pub fn fit(frame: &Frame, laps: &mut [LapInput], from: Option<&LoopFit>) -> Result<LoopFit, Error> {
    let begun = match from {
        Some(from) => Beginning {
            used: from.used.clone(),
            weight: from.weight.clone(),
            nuisances: from.least_squares.parameters[from.layout.linear..].to_vec(),
            row_sd_m: from.row_sd_m,
            starts: from.starts,
        },
        None => begin(frame, laps)?,
    };
    let Beginning { used, weight, nuisances, row_sd_m, starts } = begun;
    let problem = frame.problem(laps, &used, &weight, row_sd_m);
    let point = least_squares_from(&problem, &nuisances, TOLERANCE_M)?;
    let speeds = speeds_m_s(&problem);
    let planned: Vec<Option<f64>> = used.iter().map(|i| laps[*i].planned_m_s).collect();
    let classes = classify(&speeds, &planned);
    let (parameters, estimator, z) = instrumented(&problem, &classes, &point);

    let blocks = problem.blocks(&parameters);
    let covariance = cluster_covariance(&problem, &blocks, z.as_deref().unwrap_or(&blocks), &classes)?;
    let (profile_m, profile_se_m) = profile(&problem, &blocks, row_sd_m);
    Ok(LoopFit {
        condition: condition(&problem, &blocks),
        layout: problem.layout.clone(),
        parameters,
        estimator,
        least_squares: point,
        starts,
        classes,
        weight,
        covariance,
        profile_m,
        profile_se_m,
        row_sd_m,
        used,
    })
}

/// Where the weighted fit begins.
struct Beginning {
    /// Laps that stand.
    used: Vec<usize>,
    weight: Vec<f64>,
    /// Lags and winds in the order of the layout.
    nuisances: Vec<f64>,
    row_sd_m: f64,
    starts: usize,
}

/// Screens the laps with equal weights until no other is left out, and weighs those that stand.
fn begin(frame: &Frame, laps: &mut [LapInput]) -> Result<Beginning, Error> {
    let all = usable(laps)?;
    let accounts: Vec<&LapAccount> = all.iter().map(|i| &laps[*i].account).collect();
    let gross = screen::gross_faults(&accounts, &frame.work);
    mark(laps, &all, &gross);

    let (mut row_sd_m, mut last, mut starts, mut round) = (FIRST_ROW_SD_M, None::<Vec<f64>>, 1, 0);
    loop {
        let used = usable(laps)?;
        let problem = frame.problem(laps, &used, &vec![1.0; used.len()], row_sd_m);
        let point = match &last {
            Some(nuisances) => least_squares_from(&problem, nuisances, ROUGH_M)?,
            None => {
                let point;
                (point, starts) = best_of_starts(&problem)?;
                point
            }
        };
        row_sd_m = row_sd(&problem, point.cost);
        let nuisances = point.parameters[problem.layout.linear..].to_vec();
        let residuals = residuals(&problem, &problem.blocks(&point.parameters));
        let speeds = speeds_m_s(&problem);
        if round < MOST_ROUNDS {
            mark(laps, &used, &screen::fine_faults(&residuals, &speeds));
        }
        if usable(laps)?.len() == used.len() {
            let closures: Vec<f64> = residuals.iter().map(|r| r.iter().sum()).collect();
            return Ok(Beginning { weight: lap_weights(&closures, &speeds), used, nuisances, row_sd_m, starts });
        }
        last = Some(nuisances);
        round += 1;
    }
}

/// Laps without a reason to leave them out.
///
/// Errors: [`Error::TooFewLaps`].
fn usable(laps: &[LapInput]) -> Result<Vec<usize>, Error> {
    let used = (0..laps.len()).filter(|i| laps[*i].reason.is_none()).collect::<Vec<_>>();
    enough(laps, &used)?;
    Ok(used)
}

fn speeds_m_s(problem: &Problem) -> Vec<f64> {
    problem.laps.iter().map(|l| l.mean_speed_m_s).collect()
}

fn enough(laps: &[LapInput], used: &[usize]) -> Result<(), Error> {
    let runs: std::collections::BTreeSet<usize> = laps.iter().map(|l| l.account.run).collect();
    if used.len() >= 2 {
        return Ok(());
    }
    let reasons: std::collections::BTreeSet<String> =
        laps.iter().filter_map(|l| l.reason).map(|r| r.to_string()).collect();
    let why: Vec<String> = reasons.into_iter().collect();
    Err(Error::TooFewLaps {
        laps: used.len(),
        runs: runs.len(),
        needed: 2,
        next: if why.is_empty() {
            "ride more whole laps past the gate".into()
        } else {
            format!("the others are left out because of: {}; ride more laps, or overrule with keep", why.join(", "))
        },
    })
}

fn mark(laps: &mut [LapInput], used: &[usize], reasons: &[Option<Reason>]) {
    for (i, reason) in used.iter().zip(reasons) {
        if !laps[*i].keep {
            laps[*i].reason = *reason;
        }
    }
}

/// Rough least squares from several starts of the wind; the best point and the number of starts.
fn best_of_starts(problem: &Problem) -> Result<(LeastSquaresPoint, usize), Error> {
    let l = &problem.layout;
    let nuisances = l.len - l.linear;
    let mut starts = vec![vec![0.0; nuisances]];
    if l.runs.iter().any(|r| r.east.is_some()) {
        for direction in [1.0, -1.0] {
            let mut start = vec![0.0; nuisances];
            for run in &l.runs {
                for column in [run.east, run.north].into_iter().flatten() {
                    start[column - l.linear] = direction * START_WIND_M_S / std::f64::consts::SQRT_2;
                }
            }
            starts.push(start);
        }
    }
    let mut best: Option<LeastSquaresPoint> = None;
    let mut first_error = None;
    for start in &starts {
        match least_squares_from(problem, start, ROUGH_M) {
            Ok(p) if best.as_ref().is_none_or(|b| p.cost < b.cost) => best = Some(p),
            Ok(_) => {}
            Err(e) => first_error = first_error.or(Some(e)),
        }
    }
    match (best, first_error) {
        (Some(best), _) => Ok((best, starts.len())),
        (None, Some(e)) => Err(e),
        (None, None) => Err(Error::Numerical { stage: "least squares", message: "no start gave a finite sum".into() }),
    }
}

/// The instrument step, where there is an instrument and it settles.
fn instrumented(
    problem: &Problem,
    classes: &SpeedClasses,
    point: &LeastSquaresPoint,
) -> (Vec<f64>, Estimator, Option<Vec<LapBlock>>) {
    let weak =
        classes.origin == Origin::OneSpeed || classes.first_stage_f.is_some_and(|f| f < super::separation::STRONG_F);
    if !weak {
        let planned = PlannedRide::at(problem, classes, &point.parameters);
        if let Some(found) = instruments::solve(problem, &planned, &point.parameters) {
            let z = planned.blocks(problem, &found.parameters);
            return (found.parameters, Estimator::Instruments, Some(z));
        }
    }
    (point.parameters.clone(), Estimator::LeastSquares, None)
}

/// Standard deviation of a row: cost over degrees of freedom.
fn row_sd(problem: &Problem, cost: f64) -> f64 {
    let rows = (problem.laps.len() * problem.steps()) as f64;
    let taken = (problem.steps() + problem.layout.len) as f64;
    (cost / (rows - taken).max(1.0)).sqrt().max(1e-6)
}

/// Residual of each step of each lap with the common profile taken out, m.
pub fn residuals(problem: &Problem, blocks: &[LapBlock]) -> Vec<Vec<f64>> {
    let mean = profile_of(problem, blocks);
    blocks.iter().map(|b| b.residual.iter().zip(mean.iter()).map(|(r, p)| r - p).collect()).collect()
}

/// The part of the profile that the residuals carry (on top of a survey, if there is one), m a step.
fn profile_of(problem: &Problem, blocks: &[LapBlock]) -> DVector<f64> {
    problem.absorption.absorb(&problem.residual_sum(blocks)) / problem.total_weight()
}

fn profile(problem: &Problem, blocks: &[LapBlock], row_sd_m: f64) -> (Vec<f64>, Vec<f64>) {
    let extra = profile_of(problem, blocks);
    let gain: Vec<f64> = match &problem.survey_m {
        Some(survey) => extra.iter().zip(survey).map(|(e, s)| e + s).collect(),
        None => extra.iter().copied().collect(),
    };
    // Steps of a closed loop: the height after j steps is a bridge of j and J − j equal errors.
    let steps = gain.len() as f64;
    let step_se = row_sd_m / problem.total_weight().sqrt();
    let se = (0..=gain.len()).map(|j| step_se * (j as f64 * (steps - j as f64) / steps).sqrt()).collect();
    (gain, se)
}

fn cluster_covariance(
    problem: &Problem,
    x: &[LapBlock],
    z: &[LapBlock],
    classes: &SpeedClasses,
) -> Result<ClusterRobust, Error> {
    robust(problem, &projected(problem, x, z), classes)
}

/// Rows of all laps, projected.
pub fn projected(problem: &Problem, x: &[LapBlock], z: &[LapBlock]) -> Laps {
    Laps {
        jacobian: problem.projected_columns(x),
        instruments: problem.projected_columns(z),
        residual: problem.projected_residuals(x),
    }
}

/// The robust covariance of laps whose rows are projected already.
pub(super) fn robust(problem: &Problem, laps: &Laps, classes: &SpeedClasses) -> Result<ClusterRobust, Error> {
    // Fast laps scatter more than slow ones, and gusts outlast a step.
    ClusterRobust::estimated(laps, &absorbed(problem), &classes.of_lap)
}

/// What was taken out of the rows of a problem.
pub fn absorbed(problem: &Problem) -> Absorbed {
    match problem.survey_m {
        Some(_) => Absorbed::Nothing,
        None => Absorbed::StepMeans { lap_weights: problem.weight.clone() },
    }
}

/// Condition number of the unit-scaled first Crr and CdA columns with all other parameters taken out.
fn condition(problem: &Problem, blocks: &[LapBlock]) -> f64 {
    let Some(equations) = problem.normal(blocks, blocks).factored() else { return f64::INFINITY };
    let (a, b) = (problem.layout.crr[0], problem.layout.cda[0]);
    let inverse_column = |c: usize| {
        let unit = DVector::from_fn(problem.layout.len, |i, _| if i == c { 1.0 } else { 0.0 });
        equations.solve(&unit)
    };
    let Some((of_a, of_b)) = inverse_column(a).zip(inverse_column(b)) else { return f64::INFINITY };
    let pair = DMatrix::from_row_slice(2, 2, &[of_a[a], of_b[a], of_a[b], of_b[b]]);
    let r = (pair[(0, 1)] / (pair[(0, 0)] * pair[(1, 1)]).sqrt()).abs().min(1.0);
    ((1.0 + r) / (1.0 - r).max(1e-12)).sqrt()
}

/// Repeats a fit on altered accounts of the same laps, from the same point, with the same equations; for sensitivities.
///
/// `laps` are the laps in use, in order. `None` when it does not settle.
pub fn refit(frame: &Frame, laps: &[LapInput], base: &LoopFit) -> Option<Vec<f64>> {
    let all: Vec<usize> = (0..laps.len()).collect();
    let problem = frame.problem(laps, &all, &base.weight, base.row_sd_m);
    let mut parameters = base.parameters.clone();
    let planned =
        (base.estimator == Estimator::Instruments).then(|| PlannedRide::at(&problem, &base.classes, &parameters));
    let fixed = planned.as_ref().map(|p| p.blocks(&problem, &parameters));
    for _ in 0..SENSITIVITY_STEPS {
        let own;
        let z = match &fixed {
            Some(z) => z,
            None => {
                own = problem.blocks(&parameters);
                &own
            }
        };
        let step = instruments::newton_step(&problem, z, &parameters)?;
        for (p, s) in parameters.iter_mut().zip(step.iter()) {
            *p += s;
        }
    }
    parameters.iter().all(|p| p.is_finite()).then_some(parameters)
}

/// Mean variance of the fitted wind of a run per component, m²/s², over the run; 0 where it is held.
pub fn wind_variance(fit: &LoopFit, run: usize) -> f64 {
    let c = &fit.layout.runs[run];
    let of = |column: Option<usize>| column.map_or(0.0, |i| fit.covariance.covariance[(i, i)].max(0.0));
    // A drift counts with the mean square of its phase, a third from −1 to 1.
    let variance = 0.5 * (of(c.east) + of(c.north)) + (of(c.drift_east) + of(c.drift_north)) / 6.0;
    variance.min(MOST_WIND_VARIANCE)
}
