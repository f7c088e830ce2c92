//! How much the wind changes within laps: from the residuals of short steps, or as stated.
//!
//! Given a solved loop; gives the variance of gusts and its uncertainty, or nothing where laps do not tell it.

use super::air_of_run::RunAir;
use super::lap_inputs::{LapAddress, conditions};
use crate::circuit::LapCut;
use crate::sample::Ride;
use crate::session::{Gusts, GustsWord, Session, WindMode};
use crate::solve::account::{LapAccount, RunConditions};
use crate::solve::fit::{Choices, Frame, LapInput, LoopFit};
use crate::solve::gust::{Gustiness, SHORT_STEPS, gustiness, short_edges, short_lap};
use crate::solve::wind_along::{Waves, WindAlong};

/// Relative standard uncertainty of a stated standard deviation of gusts (common practice, no source).
const STATED_GUST_U: f64 = 0.25;

/// Where and in what the runs were ridden.
pub(super) struct Site<'s> {
    pub session: &'s Session,
    pub rides: &'s [Ride],
    pub cut: &'s LapCut,
    pub air: &'s [RunAir],
    pub gravity_m_s2: f64,
}

/// Gusts as the session has them: none, stated, or estimated from the residuals of short steps at the solved parameters.
pub(super) fn gusts(
    site: &Site,
    frame: &Frame,
    laps: &[LapInput],
    address: &[LapAddress],
    solved: &LoopFit,
) -> Option<Gustiness> {
    match site.session.wind.gusts {
        Gusts::Word(GustsWord::None) => return None,
        _ if site.session.wind.mode == WindMode::None => return None,
        Gusts::StandardDeviation(sd_m_s) => {
            return Some(Gustiness {
                variance: sd_m_s * sd_m_s,
                standard_uncertainty: 2.0 * STATED_GUST_U * sd_m_s * sd_m_s,
                time_s: f64::NAN,
            });
        }
        Gusts::Word(GustsWord::Estimate) => {}
    }
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
