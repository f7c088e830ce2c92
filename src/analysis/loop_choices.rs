//! What the solver is asked to find on a loop, from what the session says and the laps found.
//!
//! Given the session and the laps as cut; gives the choices of the fit. It estimates nothing.

use crate::circuit::LapCut;
use crate::session::{self, AlongLoop, AlongLoopWord, Lag, Session, WindMode, YawWord};
use crate::solve::fit::{Choices, Expectations, Yaw};
use crate::solve::layout::By;
use crate::solve::wind_along::{Waves, WindAlong};

/// Laps a run needs for its wind to be given a drift of its own. A drift that is not there costs next to nothing (the
/// columns are nearly orthogonal to the rest); one that is left out biases Crr.
pub(crate) const DRIFT_LAPS: usize = 5;

/// Slope of a road of which nothing is known, as a standard deviation (common practice, no source).
const UNSHOWN_SLOPE_SD: f64 = 0.02;

pub(crate) fn choices(session: &Session, cut: &LapCut) -> Choices {
    let runs = session.runs.len();
    let wind = session.wind.mode == WindMode::Estimate && cut.line.is_some();
    let held = match session.solve.lag {
        Lag::Seconds(s) => Some(s),
        Lag::Word(_) => None,
    };
    let has_wind = cut.line.is_some() && session.wind.mode != WindMode::None;
    Choices {
        setups: session.setups.len(),
        setup_of_run: session.runs.iter().map(|run| session.setup_of(run)).collect(),
        crr: session.solve.crr.into(),
        cda: session.solve.cda.into(),
        held_lag_s: vec![held; runs],
        wind,
        wind_drift: cut.runs.iter().map(|l| l.iter().filter(|l| l.reason.is_none()).count() >= DRIFT_LAPS).collect(),
        crr_drift: session.solve.crr_drift,
        unshown_height_sd_m: unshown_height(cut),
        gust_variance: vec![0.0; runs],
        wind_along: match &session.wind.along_loop {
            _ if !has_wind => WindAlong::Even,
            AlongLoop::Word(AlongLoopWord::Even) => WindAlong::Even,
            AlongLoop::Word(AlongLoopWord::Estimate) => WindAlong::Estimated(Waves::of_edges(&cut.edge)),
            AlongLoop::Shares(shares) => WindAlong::Stated(stated_shares(shares, &cut.edge)),
        },
        yaw: match session.solve.yaw {
            session::Yaw::Coefficient(k) => Yaw::Held(k),
            session::Yaw::Word(word) => match word {
                YawWord::Common if has_wind => Yaw::Estimated(By::Day),
                YawWord::PerSetup if has_wind => Yaw::Estimated(By::Setup),
                YawWord::Common | YawWord::PerSetup | YawWord::None => Yaw::Held(0.0),
            },
        },
        expected: Expectations {
            cda_m2: session.expected.cda_m2,
            cda_sd_m2: session.expected.cda_sd_m2,
            crr: session.expected.crr,
            crr_log_sd: session.expected.crr_fraction,
            wind_m_s: session.wind.expected_m_s,
            ..Expectations::default()
        },
    }
}

/// What is expected of the height gained in a step if no lap shows it, where laps lack steps.
fn unshown_height(cut: &LapCut) -> Option<Vec<f64>> {
    let mut used = cut.runs.iter().flatten().filter(|lap| lap.reason.is_none());
    let lacks = used.any(|lap| lap.step_reason.iter().any(Option::is_some));
    lacks.then(|| cut.edge.windows(2).map(|e| UNSHOWN_SLOPE_SD * (e[1] - e[0]) * cut.length_m).collect())
}

/// Shares of the wind at places equally far apart round the loop, at the middles of the steps.
fn stated_shares(shares: &[f64], edge: &[f64]) -> Vec<f64> {
    let n = shares.len();
    let at = |x: f64| {
        let place = x * n as f64;
        let (i, f) = (place.floor() as usize, place.fract());
        (1.0 - f) * shares[i % n] + f * shares[(i + 1) % n]
    };
    edge.windows(2).map(|e| at(0.5 * (e[0] + e[1]))).collect()
}
