//! All runs of a session on one loop: laps, accounts and the fit.
//!
//! Given inputs and rides; gives what the outcome, the budget and the figures are made from.

use super::air_of_run::{RunAir, air_of_run, told_once};
use super::inputs::Inputs;
use super::instrument::{Input, InstrumentBudget, inputs_of};
use super::loop_choices::choices;
use super::slip::run_unlike;
use super::speed_delay::{self, DelayTrial};
use super::{drift_check, loop_length, solvable_laps, speed_scale};
use crate::circuit::{FoundLoop, Lap, LapCut, SpeedAge, Survey};
use crate::constant::{STANDARD_GRAVITY_M_S2, normal_gravity_m_s2};
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::model::rolling::TyreTemperature;
use crate::quantity::m_s_from_km_h;
use crate::sample::{Cumulative, Reason, Ride};
use crate::session::{Gusts, GustsWord, REFERENCE_TEMPERATURE_C, Run, Session, WindMode};
use crate::solve::account::{LapAccount, RunConditions, TimeCurve};
use crate::solve::fit::{Choices, Frame, LapInput, LoopFit, SurveyedSteps, fit, wind_variance};
use crate::solve::gust::{Gustiness, SHORT_STEPS, gustiness, short_edges, short_lap};
use crate::solve::wind_along::{Waves, WindAlong};

/// Relative standard uncertainty of a stated standard deviation of gusts (common practice, no source).
const STATED_GUST_U: f64 = 0.25;

/// Crr as ridden over Crr at the reference temperature that a linear rule may give (common practice, no source).
const CREDIBLE_TEMPERATURE_FACTOR: std::ops::RangeInclusive<f64> = 0.5..=2.0;

/// Change of wind within a run that is worth telling, m/s.
const TOLD_DRIFT_M_S: f64 = 0.7;

/// Standard deviation of the heights of a track that is level, and the least scatter of a row against which it is weighed, m
/// (common practice, no source).
const LEVEL_SD_M: f64 = 0.02;
const LEVEL_LEAST_ROW_SD_M: f64 = 0.01;

/// Which lap a [`LapInput`] is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LapAddress {
    pub run: usize,
    pub lap: usize,
}

/// The runs on a loop, fitted.
pub struct LoopVenue<'a> {
    pub cut: LapCut,
    pub air: Vec<RunAir>,
    pub gravity_m_s2: f64,
    pub choices: Choices,
    pub laps: Vec<LapInput>,
    pub address: Vec<LapAddress>,
    pub work: Vec<&'a Cumulative>,
    pub survey: Option<SurveyedSteps>,
    /// `None` where laps go by the wheel's distance alone, which asks for no delay.
    pub speed_delay: Option<SpeedAge>,
    pub fit: LoopFit,
    /// Gusts, where they were estimated or stated.
    pub gustiness: Option<Gustiness>,
    pub budget: Option<InstrumentBudget>,
    pub findings: Vec<Finding>,
}

impl LoopVenue<'_> {
    pub fn frame(&self) -> Frame<'_> {
        Frame { work: self.work.clone(), choices: &self.choices, survey: self.survey.as_ref() }
    }

    /// The lap that an input of the fit stands for.
    pub(super) fn lap(&self, input: usize) -> &Lap {
        let at = self.address[input];
        &self.cut.runs[at.run][at.lap]
    }

    /// Inputs of the instruments with their standard uncertainties.
    pub(super) fn moved_inputs(&self, session: &Session) -> Vec<(Input, f64)> {
        let counted = self.fit.used.iter().any(|i| !self.lap(*i).edge_count.is_empty());
        let length_sd_m = session.circuit.length_sd_or_usual_m().filter(|_| counted);
        inputs_of(session, &self.air, self.speed_delay, length_sd_m, self.gustiness)
    }
}

/// Laps cut and accounted for, before any fit.
struct Prepared {
    cut: LapCut,
    choices: Choices,
    laps: Vec<LapInput>,
    address: Vec<LapAddress>,
}

/// Most laps by which a delay of the speed reading is judged: a day on a track has thousands, and these tell it to 0.01 s.
const MOST_TRIAL_LAPS: usize = 400;

/// Solves the runs of a loop.
pub fn solve<'a>(inputs: &Inputs, rides: &'a [Ride]) -> Result<LoopVenue<'a>, Error> {
    let session = &inputs.session;
    let mut findings = Vec::new();
    drift_check::check(inputs)?;
    solvable_laps::need_channels(inputs, rides)?;
    let to_cut = speed_scale::to_cut(session, rides);
    let mut air = Vec::with_capacity(rides.len());
    for (k, ride) in rides.iter().enumerate() {
        air.push(air_of_run(session, k, inputs.weather.as_ref(), ride)?);
    }
    findings.extend(told_once(&air.iter().map(|a| a.findings.clone()).collect::<Vec<_>>()));
    near_reference(session, &air)?;
    let gravity_m_s2 = gravity(rides);
    let work: Vec<&Cumulative> = rides.iter().map(|r| &r.work_j).collect();
    let found = FoundLoop::new(&to_cut, &session.circuit)?;
    solvable_laps::need_passes(found.refused())?;
    let prepare = |delay_s: f64, stride: usize| -> Result<Prepared, Error> {
        let mut cut = found.cut(delay_s);
        for (run, laps) in session.runs.iter().zip(&mut cut.runs) {
            overrule(run, laps)?;
        }
        let choices = choices(session, &cut);
        let mut place = 0..;
        for laps in &mut cut.runs {
            laps.retain(|_| place.next().is_some_and(|lap: usize| lap.is_multiple_of(stride)));
        }
        let conditions = conditions(session, rides, &cut, &air, gravity_m_s2);
        let (laps, address) = lap_inputs(session, rides, &cut, &conditions);
        Ok(Prepared { cut, choices, laps, address })
    };
    let mut speed_delay = found.speed_age();
    if speed_delay.is_some() && found.age_hangs_on_the_bends() {
        // An odd stride, so that of alternating speeds both are kept.
        let stride = found.lap_count().div_ceil(MOST_TRIAL_LAPS) | 1;
        let trial = |delay_s: f64| -> Option<DelayTrial> {
            let mut p = prepare(delay_s, stride).ok()?;
            let frame = Frame { work: work.clone(), choices: &p.choices, survey: None };
            let fitted = fit(&frame, &mut p.laps, None).ok()?;
            Some(DelayTrial { delay_s, laps: fitted.used.len(), scatter_m: fitted.scatter.sd_m })
        };
        speed_delay = speed_delay::by_scatter(trial);
    }
    let delay_s = speed_delay.unwrap_or(SpeedAge::USUAL).mean_s;
    let Prepared { mut cut, mut choices, mut laps, address } = prepare(delay_s, 1)?;
    findings.append(&mut cut.findings);
    solvable_laps::check(session, rides, &cut, &findings)?;
    cut.take_lengths(found.lengths(delay_s));
    findings.extend(loop_length::check(session, inputs.survey.as_ref(), &cut.lengths, cut.length_m)?);
    if choices.wind && !cut.has_bearings {
        findings.push(Finding::of_session(What::WindWithoutCompass));
    }

    let without_gusts = choices.clone();
    let mut frame = Frame { work: work.clone(), choices: &without_gusts, survey: None };
    let first = fit(&frame, &mut laps, None).map_err(|e| drift_check::undetermined(session, rides, e));
    let of_run =
        |k: usize| laps.iter().zip(&address).filter(move |(_, at)| at.run == k).map(|(l, _)| l.reason).collect();
    let mut solved = run_unlike::sorted_out(session, &(0..rides.len()).map(of_run).collect::<Vec<_>>(), first)?;
    let survey = match &inputs.survey {
        Some(survey) => Some(align_survey(survey, &cut, &solved)),
        None => session.circuit.level.then(|| level(&cut)),
    };
    if survey.is_some() {
        frame.survey = survey.as_ref();
        solved = fit(&frame, &mut laps, Some(&solved))?;
    }
    drift_check::is_shown(session, rides, &solved)?;
    if choices.crr_drift {
        drift_check::count_from_mean_moment(&mut laps, &solved);
        solved = fit(&frame, &mut laps, Some(&solved))?;
    }
    let gustiness = match session.wind.gusts {
        Gusts::Word(GustsWord::None) => None,
        _ if session.wind.mode == WindMode::None => None,
        Gusts::StandardDeviation(sd_m_s) => Some(Gustiness {
            variance: sd_m_s * sd_m_s,
            standard_uncertainty: 2.0 * STATED_GUST_U * sd_m_s * sd_m_s,
            time_s: f64::NAN,
        }),
        Gusts::Word(GustsWord::Estimate) => {
            let site = Site { session, rides, cut: &cut, air: &air, gravity_m_s2 };
            gusts(&site, &frame, &laps, &address, &solved)
        }
    };
    if let Some(g) = gustiness {
        choices.gust_variance = (0..rides.len()).map(|r| g.variance - wind_variance(&solved, r)).collect();
        frame.choices = &choices;
        solved = fit(&frame, &mut laps, Some(&solved))?;
    }
    for (input, at) in laps.iter().zip(&address) {
        let lap = &mut cut.runs[at.run][at.lap];
        lap.reason = lap.reason.or(input.reason);
        if input.reason.is_none() {
            lap.reason = None;
        }
    }
    findings.extend(run_unlike::find(&mut cut));
    Ok(LoopVenue {
        cut,
        air,
        gravity_m_s2,
        choices,
        laps,
        address,
        work,
        survey,
        speed_delay,
        fit: solved,
        gustiness,
        budget: None,
        findings,
    })
}

/// The tester's own marks.
fn overrule(run: &crate::session::Run, laps: &mut [Lap]) -> Result<(), Error> {
    for &number in run.leave_out.iter().chain(&run.keep) {
        if number > laps.len() {
            return Err(Error::Inconsistent {
                file: run.file.clone(),
                line: None,
                message: format!("lap {number} is named in leave_out or keep, but there are only {} laps", laps.len()),
            });
        }
    }
    for lap in laps {
        if run.leave_out.contains(&lap.number) {
            lap.reason = Some(Reason::LeftOut);
        } else if run.keep.contains(&lap.number) && !lap.edge_s.is_empty() {
            lap.reason = None;
        }
    }
    Ok(())
}

/// Normal gravity at the loop, or the standard value where there are no positions.
pub(crate) fn gravity(rides: &[Ride]) -> f64 {
    let mean = |pick: &dyn Fn(&Ride) -> &Vec<f64>| {
        let known: Vec<f64> = rides.iter().flat_map(|r| pick(r).iter().copied()).filter(|x| x.is_finite()).collect();
        (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
    };
    match mean(&|r| &r.latitude_deg) {
        Some(latitude) => normal_gravity_m_s2(latitude, mean(&|r| &r.altitude_m).unwrap_or(0.0)),
        None => STANDARD_GRAVITY_M_S2,
    }
}

/// How far the tyres of a run are from the reference temperature; the air's stands for theirs where that is all there is.
pub(super) fn tyre_temperature(session: &Session, run: &Run, air: &RunAir) -> TyreTemperature {
    let circuit = &session.circuit;
    TyreTemperature {
        coefficient_per_c: circuit.temperature_coefficient_per_c.unwrap_or(0.0),
        above_reference_c: run.tyre_temperature_c.unwrap_or(air.temperature_c)
            - circuit.reference_temperature_c.unwrap_or(REFERENCE_TEMPERATURE_C),
        is_of_air: run.tyre_temperature_c.is_none(),
    }
}

/// The temperature rule is linear and holds near its reference.
fn near_reference(session: &Session, air: &[RunAir]) -> Result<(), Error> {
    for (run, air) in session.runs.iter().zip(air) {
        let tyres = tyre_temperature(session, run, air);
        let factor = tyres.crr_over_reference();
        if !CREDIBLE_TEMPERATURE_FACTOR.contains(&factor) {
            return Err(Error::Inconsistent {
                file: run.file.clone(),
                line: None,
                message: format!(
                    "tyres {:.0} °C from reference_temperature_c with {} per °C would have {factor:.2} times the Crr of the reference, \
                     outside {} to {} where a linear rule makes sense; check tyre_temperature_c, temperature_coefficient_per_c and \
                     reference_temperature_c",
                    tyres.above_reference_c,
                    tyres.coefficient_per_c,
                    CREDIBLE_TEMPERATURE_FACTOR.start(),
                    CREDIBLE_TEMPERATURE_FACTOR.end(),
                ),
            });
        }
    }
    Ok(())
}

/// Conditions of every run as stated.
pub fn conditions<'c>(
    session: &Session,
    rides: &'c [Ride],
    cut: &'c LapCut,
    air: &[RunAir],
    gravity_m_s2: f64,
) -> Vec<RunConditions<'c>> {
    session
        .runs
        .iter()
        .enumerate()
        .map(|(k, run)| RunConditions {
            run: k,
            setup: session.setup_of(run),
            ride: &rides[k],
            line: cut.line.as_ref(),
            edge: &cut.edge,
            rider: session.rider_of(run),
            gravity_m_s2,
            density: air[k].density.clone(),
            given_wind: air[k].wind.clone(),
            tyres: tyre_temperature(session, run, &air[k]),
            speed_scale: 1.0,
            power_scale: 1.0,
            added_power_w: 0.0,
        })
        .collect()
}

pub(crate) fn lap_inputs(
    session: &Session,
    rides: &[Ride],
    cut: &LapCut,
    conditions: &[RunConditions],
) -> (Vec<LapInput>, Vec<LapAddress>) {
    let begin = rides.iter().map(|r| r.start_unix_s).fold(f64::MAX, f64::min);
    let end = rides.iter().map(|r| r.start_unix_s + r.duration_s()).fold(f64::MIN, f64::max);
    let middle = 0.5 * (begin + end);
    let mut inputs = Vec::new();
    let mut address = Vec::new();
    for (k, run) in session.runs.iter().enumerate() {
        for (i, lap) in cut.runs[k].iter().enumerate() {
            let Some(account) = LapAccount::new(&conditions[k], i, lap) else { continue };
            let planned = &run.planned_speed_km_h;
            let mid_s = rides[k].start_unix_s + 0.5 * (lap.start_s + lap.end_s);
            inputs.push(LapInput {
                account,
                reason: lap.reason,
                keep: run.keep.contains(&lap.number),
                planned_m_s: (!planned.is_empty()).then(|| m_s_from_km_h(planned[(lap.number - 1) % planned.len()])),
                hour: (mid_s - middle) / 3600.0,
            });
            address.push(LapAddress { run: k, lap: i });
        }
    }
    (inputs, address)
}

/// The survey on the steps, shifted along the loop to where it fits the reconstructed profile best.
///
/// A survey counts from its own gate; where the session names no gate the one found may lie elsewhere.
fn align_survey(survey: &Survey, cut: &LapCut, fit: &LoopFit) -> SurveyedSteps {
    // By the length that is known without the wheel, whose size may be off.
    let length_m = cut.lengths.known().map_or(cut.length_m, |known| known.length_m);
    let gains = |shift: f64| -> Vec<f64> {
        let heights = survey.heights(length_m, cut.edge.iter().map(|share| share + shift));
        heights.windows(2).map(|w| w[1] - w[0]).collect()
    };
    let misfit = |shift: f64| gains(shift).iter().zip(&fit.profile_m).map(|(s, p)| (s - p).powi(2)).sum::<f64>();
    let fine = (cut.length_m / 2.0).ceil() as usize;
    let best = (0..fine).map(|i| i as f64 / fine as f64).min_by(|a, b| misfit(*a).total_cmp(&misfit(*b)));
    SurveyedSteps { gain_m: gains(best.unwrap_or(0.0)), sd_m: survey.sd_m, least_row_sd_m: 0.0 }
}

/// A track that was stated to be level. It is never taken as exactly so: what repeats in every lap, such as a rider who leans
/// otherwise than a rigid body, would pass for drag.
fn level(cut: &LapCut) -> SurveyedSteps {
    SurveyedSteps { gain_m: vec![0.0; cut.edge.len() - 1], sd_m: LEVEL_SD_M, least_row_sd_m: LEVEL_LEAST_ROW_SD_M }
}

/// Where and in what the runs were ridden.
struct Site<'s> {
    session: &'s Session,
    rides: &'s [Ride],
    cut: &'s LapCut,
    air: &'s [RunAir],
    gravity_m_s2: f64,
}

/// Gusts from the residuals of short steps at the solved parameters.
fn gusts(site: &Site, frame: &Frame, laps: &[LapInput], address: &[LapAddress], solved: &LoopFit) -> Option<Gustiness> {
    let cut = site.cut;
    let edge = short_edges(&cut.edge);
    let conditions: Vec<RunConditions> = conditions(site.session, site.rides, cut, site.air, site.gravity_m_s2)
        .into_iter()
        .map(|c| RunConditions { edge: &edge, ..c })
        .collect();
    let short: Vec<LapInput> = solved
        .used
        .iter()
        .map(|&i| {
            let at = address[i];
            let lap = short_lap(&cut.runs[at.run][at.lap]);
            Some(LapInput { account: LapAccount::new(&conditions[at.run], at.lap, &lap)?, ..laps[i].clone() })
        })
        .collect::<Option<_>>()?;
    let all: Vec<usize> = (0..short.len()).collect();
    let choices = Choices { wind_along: in_short_steps(&frame.choices.wind_along, &edge), ..frame.choices.clone() };
    let without_survey = Frame { work: frame.work.clone(), choices: &choices, survey: None };
    let problem = without_survey.problem(&short, &all, &vec![1.0; all.len()], solved.scatter);
    gustiness(&problem, &solved.parameters, &solved.classes.of_lap)
}

/// The same wind along the loop on steps that were cut into short ones.
fn in_short_steps(along: &WindAlong, short_edges: &[f64]) -> WindAlong {
    match along {
        WindAlong::Even => WindAlong::Even,
        WindAlong::Stated(share) => {
            WindAlong::Stated(share.iter().flat_map(|s| std::iter::repeat_n(*s, SHORT_STEPS)).collect())
        }
        WindAlong::Estimated(waves) => WindAlong::Estimated(Waves::new(waves.len() / 2, short_edges)),
    }
}

/// Mean of a density curve over a run.
pub fn mean_density(air: &RunAir) -> f64 {
    let curve: &TimeCurve = &air.density;
    curve.mean()
}

/// What the findings of a solved loop are.
pub fn fit_findings(venue: &LoopVenue) -> Vec<Finding> {
    let mut out = Vec::new();
    let total = venue.cut.runs.iter().map(Vec::len).sum::<usize>();
    let used = venue.fit.used.len();
    if used < total {
        let mut reasons: std::collections::BTreeMap<Reason, usize> = std::collections::BTreeMap::new();
        for lap in venue.cut.runs.iter().flatten() {
            if let Some(r) = lap.reason {
                *reasons.entry(r).or_default() += 1;
            }
        }
        let reasons: Vec<String> = reasons.iter().map(|(r, n)| format!("{n} {r}")).collect();
        out.push(Finding::of_session(What::LapsLeftOut { used, total, reasons: reasons.join(", ") }));
    }
    if !venue.fit.converged {
        out.push(Finding::of_session(What::NotConverged { iterations: venue.fit.iterations as u64 }));
    }
    for (k, run) in venue.fit.layout.runs.iter().enumerate() {
        if let Some((east, north)) = run.drift_east.zip(run.drift_north) {
            let (v, open) = (&venue.fit.covariance.covariance, &venue.fit.covariance.prior);
            let drift = venue.fit.parameters[east].hypot(venue.fit.parameters[north]);
            let se = [east, north].iter().map(|c| v[(*c, *c)] + open[(*c, *c)]).sum::<f64>().sqrt();
            if 2.0 * drift > TOLD_DRIFT_M_S && drift > 3.0 * se {
                out.push(Finding::of_run(k, What::WindDrifted { change_m_s: 2.0 * drift }));
            }
        }
        if let Some(c) = run.lag {
            let lag_s = venue.fit.parameters[c];
            if lag_s.abs() > crate::solve::fit::LAG_BOUND_S {
                out.push(Finding::of_run(k, What::LagAtBound { lag_s }));
            } else if lag_s.abs() > 1.5 {
                out.push(Finding::of_run(k, What::LagLarge { lag_s }));
            }
        }
    }
    out
}
