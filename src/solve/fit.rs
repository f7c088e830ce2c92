//! The fit of a whole session on one loop: screening, least squares, planned-speed instruments, covariance.
//!
//! Given accounts of all laps and what is to be estimated; gives parameters, their covariance and the reason of every
//! lap that was left out. It knows nothing of files, set-up names or watts.

use super::account::LapAccount;
use super::design::{LapBlock, Problem, shown};
use super::heights;
use super::instrumental_variables;
use super::layout::{By, Estimated, Layout, Nuisances};
use super::outer::{LeastSquaresPoint, TOLERANCE_M, least_squares_from};
use super::prior::{Expected, Prior};
use super::profile::Absorption;
use super::screen;
use super::solved::{Solution, Solved};
use super::speed_class::{SpeedClasses, classify};
use super::spread::{RowScatter, Spread};
use super::weights::lap_weights;
use super::wind_along::{Waves, WindAlong};
use crate::error::Error;
use crate::sample::{Cumulative, Reason};
use crate::uncertainty::cluster::ClusterRobust;
use nalgebra::DVector;

/// Standard deviation of what is expected of the lag, s.
pub const LAG_SD_S: f64 = 1.5;
/// Most that the error of a fitted wind is allowed for, m²/s²: beyond that the wind is not known and no correction helps.
const MOST_WIND_VARIANCE: f64 = 1.0;
/// Bound of the lag, s.
pub const LAG_BOUND_S: f64 = 3.0;
/// Scatter of one row of the account before it is known, m.
const FIRST_ROW_SD_M: f64 = 0.05;
/// Share of the expected wind that it is expected to change by from the middle of a run to its end.
pub const DRIFT_SHARE: f64 = 0.25;
/// Wind that the second and third start suppose, in units of what is expected.
const START_WIND: f64 = 1.0;
/// Standard deviation of a height that laps do show, m: none to speak of.
const LEAST_HEIGHT_SD_M: f64 = 1e-3;
/// Rounds of screening and fitting.
const MOST_ROUNDS: usize = 4;

/// What is estimated and what is held.
#[derive(Debug, Clone, PartialEq)]
pub struct Choices {
    pub setups: usize,
    /// Set-up of each run.
    pub setup_of_run: Vec<usize>,
    pub crr: By,
    pub cda: By,
    /// Lag of each run where it is held, s.
    pub held_lag_s: Vec<Option<f64>>,
    pub wind: bool,
    /// Runs in which the wind may drift.
    pub wind_drift: Vec<bool>,
    pub crr_drift: bool,
    /// What is expected of the height gained in each step, as a standard deviation, m, if no lap shows it; `None` where every lap
    /// shows all.
    pub unshown_height_sd_m: Option<Vec<f64>>,
    /// Variance of the wind that the vector leaves out, of each run, m²/s²: gusts less the error of the fitted wind.
    pub gust_variance: Vec<f64>,
    pub wind_along: WindAlong,
    pub yaw: Yaw,
    pub expected: Expectations,
}

/// What is supposed of drag against yaw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Yaw {
    Held(f64),
    Estimated(By),
}

/// What is expected of parameters before the rides are looked at; where rides tell, it weighs nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expectations {
    pub cda_m2: f64,
    pub cda_sd_m2: f64,
    pub crr: f64,
    /// Standard deviation of the logarithm of Crr.
    pub crr_log_sd: f64,
    /// Standard deviation of each component of the wind, m/s.
    pub wind_m_s: f64,
    pub yaw: f64,
    pub yaw_sd: f64,
}

impl Default for Expectations {
    /// CdA of riders on drop bars and in an aerodynamic position; tyres from the best to the worst on asphalt; light air;
    /// published curves of drag against yaw run from about k = 0 to 2.6 (the others common practice, no source).
    fn default() -> Self {
        Expectations {
            cda_m2: 0.28,
            cda_sd_m2: 0.06,
            crr: 0.0045,
            crr_log_sd: 0.4,
            wind_m_s: 2.0,
            yaw: 0.3,
            yaw_sd: 1.2,
        }
    }
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
    /// Of each height, m.
    pub sd_m: f64,
    /// Least scatter of a row against which that is weighed, m.
    pub least_row_sd_m: f64,
}

/// The result of a fit.
pub struct LoopFit {
    pub layout: Layout,
    pub parameters: Vec<f64>,
    /// Parameters at which the instruments are taken.
    pub instruments_at: Vec<f64>,
    pub converged: bool,
    pub iterations: usize,
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
    /// What is expected of the height gained where no lap shows the loop, as a standard deviation, m.
    pub open_height_sd_m: f64,
    pub scatter: RowScatter,
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

    /// Columns of the parameters.
    pub fn layout(&self) -> Layout {
        let c = self.choices;
        let estimated = Estimated {
            crr: c.crr,
            cda: c.cda,
            crr_drift: c.crr_drift,
            open_height: c.unshown_height_sd_m.is_some(),
            along: match &c.wind_along {
                WindAlong::Estimated(waves) => waves.len(),
                WindAlong::Even | WindAlong::Stated(_) => 0,
            },
            yaw: match c.yaw {
                Yaw::Estimated(by) => Some(by),
                Yaw::Held(_) => None,
            },
        };
        Layout::new(c.setups, &c.setup_of_run, estimated, &self.nuisances())
    }

    /// What is expected of each parameter, where laps show each step so often.
    fn priors(&self, layout: &Layout, shown: &DVector<f64>, spread: Spread) -> Vec<Prior> {
        let e = &self.choices.expected;
        let about = |mean: f64, sd: f64| Prior::Normal { mean, sd };
        let kinds = layout.kinds().into_iter().enumerate();
        kinds
            .map(|(column, kind)| match kind {
                None => Prior::None,
                Some(Expected::Crr) => Prior::LogNormal { median: e.crr, log_sd: e.crr_log_sd },
                Some(Expected::Cda) => about(e.cda_m2, e.cda_sd_m2),
                Some(Expected::Lag) => about(0.0, LAG_SD_S),
                Some(Expected::Wind) => about(0.0, e.wind_m_s),
                Some(Expected::WindDrift) => about(0.0, DRIFT_SHARE * e.wind_m_s),
                Some(Expected::WindAlong) => about(0.0, spread.along * Waves::expected_sd(column - layout.along.start)),
                Some(Expected::Yaw) => about(e.yaw, e.yaw_sd),
                Some(Expected::OpenHeight) => about(0.0, self.open_height_sd_m(shown)),
            })
            .collect()
    }

    /// Standard deviation of the height gained where no lap shows the loop, m: of one slope all the way.
    fn open_height_sd_m(&self, shown: &DVector<f64>) -> f64 {
        let of_step = self.choices.unshown_height_sd_m.iter().flatten().zip(shown.iter());
        of_step.filter(|(_, shown)| **shown == 0.0).map(|(sd_m, _)| sd_m).sum::<f64>().max(LEAST_HEIGHT_SD_M)
    }

    /// The equations for some of the laps.
    pub fn problem<'l>(&self, laps: &'l [LapInput], used: &[usize], weight: &[f64], scatter: RowScatter) -> Problem<'l>
    where
        'a: 'l,
    {
        let c = self.choices;
        let layout = self.layout();
        let accounts: Vec<&LapAccount> = used.iter().map(|i| &laps[*i].account).collect();
        let shown = shown(&accounts, weight);
        Problem {
            laps: accounts,
            weight: weight.to_vec(),
            work: self.work.clone(),
            held_lag_s: c.held_lag_s.iter().map(|l| l.unwrap_or(0.0)).collect(),
            gust_variance: c.gust_variance.clone(),
            hour: used.iter().map(|i| laps[*i].hour).collect(),
            absorption: match self.survey {
                Some(s) => Absorption::surveyed(&shown, s.sd_m, scatter.sd_m.max(s.least_row_sd_m)),
                None => Absorption::free(&shown),
            },
            survey_m: self.survey.map(|s| s.gain_m.clone()),
            wind_along: c.wind_along.clone(),
            held_yaw: match c.yaw {
                Yaw::Held(k) => k,
                Yaw::Estimated(_) => 0.0,
            },
            open_share: 1.0 / shown.iter().filter(|n| **n > 0.0).count().max(1) as f64,
            prior: self.priors(&layout, &shown, scatter.spread),
            row_variance: scatter.long_run_variance,
            wind_told: scatter.spread.wind_told,
            layout,
        }
    }

    /// A fit of these laps, ready to be asked.
    ///
    /// Errors: those of [`Solved::new`].
    pub fn solved<'l, 'f>(&self, laps: &'l [LapInput], fit: &'f LoopFit) -> Result<Solved<'l, 'f>, Error>
    where
        'a: 'l,
    {
        let at = Solution { parameters: &fit.parameters, instruments_at: &fit.instruments_at, classes: &fit.classes };
        Solved::new(self.problem(laps, &fit.used, &fit.weight, fit.scatter), at)
    }

    /// Parameters before anything is known: what is expected, in still air.
    fn start(&self, layout: &Layout) -> Vec<f64> {
        let e = &self.choices.expected;
        let value = |kind: Option<Expected>| match kind {
            Some(Expected::Crr) => e.crr,
            Some(Expected::Cda) => e.cda_m2,
            Some(Expected::Yaw) => e.yaw,
            _ => 0.0,
        };
        layout.kinds().into_iter().map(value).collect()
    }
}

/// Fits a session, marking laps that break the account.
///
/// `from` is a fit of the same laps under other choices with the same parameters: screening is then done and its parameters are
/// the start. Errors: [`Error::TooFewLaps`], [`Error::Numerical`].
pub fn fit(frame: &Frame, laps: &mut [LapInput], from: Option<&LoopFit>) -> Result<LoopFit, Error> {
    let begun = match from {
        Some(from) => Beginning {
            used: from.used.clone(),
            weight: from.weight.clone(),
            parameters: from.least_squares.parameters.clone(),
            sd_m: from.scatter.sd_m,
            starts: from.starts,
        },
        None => begin(frame, laps)?,
    };
    let Beginning { used, weight, parameters: start, sd_m, starts } = begun;
    let mut scatter = from.map_or(RowScatter::usual(sd_m), |from| from.scatter);
    let mut problem = frame.problem(laps, &used, &weight, scatter);
    let mut point = least_squares_from(&problem, &start, TOLERANCE_M)?;
    let planned: Vec<Option<f64>> = used.iter().map(|i| laps[*i].planned_m_s).collect();
    let classes = classify(&speeds_m_s(&problem), &planned);
    if from.is_none() {
        // How much rows hang together is known now; with it, how much the laps count against what is expected.
        let at = Solution { parameters: &point.parameters, instruments_at: &point.parameters, classes: &classes };
        scatter = RowScatter::of(&Solved::new(problem, at)?.working()?, sd_m);
        // And how much of the wind along the loop and of its differences between runs is more than error.
        scatter.spread = Spread::of(&frame.problem(laps, &used, &weight, scatter), &point.parameters);
        problem = frame.problem(laps, &used, &weight, scatter);
        point = least_squares_from(&problem, &point.parameters, TOLERANCE_M)?;
    }
    let found = instrumental_variables::solve(&problem, &classes, &point.parameters);
    let at = Solution { parameters: &found.parameters, instruments_at: &found.at, classes: &classes };
    let solved = Solved::new(problem, at)?;
    let (profile_m, profile_se_m) = heights::gained(&solved.problem, &found.parameters, &solved.x, scatter.sd_m);
    Ok(LoopFit {
        condition: solved.condition(),
        covariance: solved.covariance()?,
        layout: solved.problem.layout.clone(),
        parameters: found.parameters.clone(),
        instruments_at: found.at.clone(),
        converged: found.converged,
        iterations: found.iterations + point.iterations as usize,
        least_squares: point,
        starts,
        classes: classes.clone(),
        weight,
        profile_m,
        profile_se_m,
        open_height_sd_m: frame.open_height_sd_m(&solved.problem.shown()),
        scatter,
        used,
    })
}

/// Where the weighted fit begins.
struct Beginning {
    /// Laps that stand.
    used: Vec<usize>,
    weight: Vec<f64>,
    parameters: Vec<f64>,
    /// Of a row, m.
    sd_m: f64,
    starts: usize,
}

/// Screens the laps with equal weights until no other is left out, and weighs those that stand.
fn begin(frame: &Frame, laps: &mut [LapInput]) -> Result<Beginning, Error> {
    let all = usable(laps)?;
    let accounts: Vec<&LapAccount> = all.iter().map(|i| &laps[*i].account).collect();
    let gross = screen::gross_faults(&accounts, &frame.work);
    mark(laps, &all, &gross);

    let (mut sd_m, mut last, mut starts, mut round) = (FIRST_ROW_SD_M, None::<Vec<f64>>, 1, 0);
    loop {
        let used = usable(laps)?;
        let problem = frame.problem(laps, &used, &vec![1.0; used.len()], RowScatter::usual(sd_m));
        let point = match &last {
            Some(parameters) => least_squares_from(&problem, parameters, TOLERANCE_M)?,
            None => {
                let point;
                (point, starts) = best_of_starts(frame, &problem)?;
                point
            }
        };
        sd_m = row_sd(&problem, point.cost);
        let parameters = point.parameters;
        let residuals = residuals(&problem, &problem.blocks(&parameters));
        let speeds = speeds_m_s(&problem);
        if round < MOST_ROUNDS {
            mark(laps, &used, &screen::fine_faults(&residuals, &speeds));
        }
        if usable(laps)?.len() == used.len() {
            let closures: Vec<f64> = residuals.iter().map(|r| r.iter().sum()).collect();
            return Ok(Beginning { weight: lap_weights(&closures, &speeds), used, parameters, sd_m, starts });
        }
        last = Some(parameters);
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
fn best_of_starts(frame: &Frame, problem: &Problem) -> Result<(LeastSquaresPoint, usize), Error> {
    let l = &problem.layout;
    let mut starts = vec![frame.start(l)];
    if l.runs.iter().any(|r| r.east.is_some()) {
        for direction in [1.0, -1.0] {
            let mut start = frame.start(l);
            let wind = direction * START_WIND * frame.choices.expected.wind_m_s / std::f64::consts::SQRT_2;
            for run in &l.runs {
                for column in [run.east, run.north].into_iter().flatten() {
                    start[column] = wind;
                }
            }
            starts.push(start);
        }
    }
    let mut best: Option<LeastSquaresPoint> = None;
    let mut first_error = None;
    for start in &starts {
        match least_squares_from(problem, start, TOLERANCE_M) {
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

/// Standard deviation of a row: cost over degrees of freedom.
fn row_sd(problem: &Problem, cost: f64) -> f64 {
    let rows = problem.laps.iter().map(|l| l.steps() - l.unused.len()).sum::<usize>() as f64;
    let taken = (problem.steps() + problem.layout.len) as f64;
    (cost / (rows - taken).max(1.0)).sqrt().max(1e-6)
}

/// Residual of each step of each lap with the common profile taken out, m.
pub fn residuals(problem: &Problem, blocks: &[LapBlock]) -> Vec<Vec<f64>> {
    let mean = heights::by_residuals(problem, blocks);
    let left = |b: &LapBlock| b.residual.iter().zip(mean.iter()).map(|(r, p)| r - p).collect();
    blocks.iter().zip(&problem.laps).map(|(b, account)| account.of_used_steps(left(b))).collect()
}

/// Mean variance of the fitted wind of a run per component, m²/s², over the run; 0 where it is held.
pub fn wind_variance(fit: &LoopFit, run: usize) -> f64 {
    let c = &fit.layout.runs[run];
    let of = |column: Option<usize>| {
        column.map_or(0.0, |i| (fit.covariance.covariance[(i, i)] + fit.covariance.prior[(i, i)]).max(0.0))
    };
    // A drift counts with the mean square of its phase, a third from −1 to 1.
    let variance = 0.5 * (of(c.east) + of(c.north)) + (of(c.drift_east) + of(c.drift_north)) / 6.0;
    variance.min(MOST_WIND_VARIANCE)
}
