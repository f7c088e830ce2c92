//! All runs of a session on one loop: laps, accounts and the fit.
//!
//! Given inputs and rides; gives what the outcome, the budget and the figures are made from.

use super::air_of_run::{RunAir, air_of_run};
use super::gusts_of_loop::{Site, gusts};
use super::instrument::{InputQuantity, InstrumentBudget, inputs_of};
use super::known_profile::{align_survey, level};
use super::lap_inputs::{LapAddress, conditions, gravity, lap_inputs, near_reference, overrule};
use super::loop_choices::choices;
use super::ridden_session::RiddenSession;
use super::slip::run_unlike;
use super::speed_delay::{self, DelayTrial};
use super::told_once::told_once;
use super::{drift_check, loop_length, solvable_laps, speed_scale};
use crate::circuit::{FoundLoop, Lap, LapCut, SpeedDelay};
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::sample::{Cumulative, Ride};
use crate::session::Session;
use crate::solve::fit::{Choices, Frame, LapInput, LoopFit, SurveyedSteps, fit, wind_variance};
use crate::solve::gust::Gustiness;

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
    pub speed_delay: Option<SpeedDelay>,
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
    pub(super) fn moved_inputs(&self, session: &Session) -> Vec<(InputQuantity, f64)> {
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
pub fn solve<'a>(inputs: &RiddenSession, rides: &'a [Ride]) -> Result<LoopVenue<'a>, Error> {
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
    let mut speed_delay = found.speed_delay();
    if speed_delay.is_some() && found.delay_hangs_on_the_bends() {
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
    let delay_s = speed_delay.unwrap_or(SpeedDelay::USUAL).mean_s;
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
    let site = Site { session, rides, cut: &cut, air: &air, gravity_m_s2 };
    let gustiness = gusts(&site, &frame, &laps, &address, &solved);
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
