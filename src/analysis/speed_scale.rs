//! Speeds brought to the scale at which a lap has its known length, where the session asks for that.
//!
//! Given inputs and rides; gives rides whose speeds are scaled and a session that carries the error of the scale. Without the
//! wish it gives nothing.

use super::ridden_session::RiddenSession;
use crate::circuit::{FoundLoop, LapLengths, RunToCut, SpeedDelay};
use crate::error::Error;
use crate::finding::{Finding, What};
use crate::sample::Ride;
use crate::session::{Session, SpeedScale};

/// Scales beyond these are a mistaken unit and not a wheel size.
const CREDIBLE: std::ops::RangeInclusive<f64> = 0.75..=1.35;
/// Share by which the wheel of one run must differ from that of the others to be given a scale of its own.
const OWN_SCALE: f64 = 0.006;

/// A ridden session whose speed scale is that of the loop.
pub(super) struct Calibrated {
    pub inputs: RiddenSession,
    pub rides: Vec<Ride>,
    pub findings: Vec<Finding>,
}

pub(super) fn to_cut<'a>(session: &'a Session, rides: &'a [Ride]) -> Vec<RunToCut<'a>> {
    let runs = session.runs.iter().zip(rides);
    runs.map(|(run, ride)| RunToCut { file: &run.file, ride, source: run.laps }).collect()
}

/// `None` unless the session asks for it.
///
/// Errors: those of [`FoundLoop::new`], and [`Error::Inconsistent`] where nothing tells the length of a lap.
pub(super) fn calibrated(inputs: &RiddenSession, rides: &[Ride]) -> Result<Option<Calibrated>, Error> {
    let session = &inputs.session;
    if session.solve.speed_scale != SpeedScale::Calibrate {
        return Ok(None);
    }
    let refuse = |message: String| Error::Inconsistent { file: "solve.speed_scale".into(), line: None, message };
    let to_cut = to_cut(session, rides);
    let found = FoundLoop::new(&to_cut, &session.circuit)?;
    let lengths = found.lengths(found.speed_delay().unwrap_or(SpeedDelay::USUAL).mean_s);
    let (Some(known), Some(usual_m)) = (lengths.known(), lengths.by_wheel()) else {
        let message = "\"calibrate\" needs laps that are seen (positions or lap marks) and their length (positions or length_m); \
                       give them, or leave speed_scale out";
        return Err(refuse(message.into()));
    };
    let factor = known.length_m / usual_m;
    if !CREDIBLE.contains(&factor) {
        let message = format!(
            "a lap is {usual_m:.1} m by the speed channel and {:.1} m by {}, further apart than wheel sizes are ({} to {} times); \
             correct the unit of speed in the file, or length_m",
            known.length_m,
            lengths.known_by(),
            CREDIBLE.start(),
            CREDIBLE.end()
        );
        return Err(refuse(message));
    }
    let rides =
        rides.iter().enumerate().map(|(k, ride)| ride.with_speed_times(factor_of(&lengths, k, factor))).collect();
    let relative_u = known.sd_m / known.length_m;
    let mut inputs = inputs.clone();
    inputs.session.uncertainty.speed_fraction = relative_u;
    let (known_m, by) = (known.length_m, lengths.known_by());
    let said = What::SpeedCalibrated { factor, relative_u, known_m, by };
    let mut findings = vec![Finding::of_session(said)];
    findings.extend(lengths.odd_wheels().into_iter().map(|(k, what)| Finding::of_run(k, what)));
    Ok(Some(Calibrated { inputs, rides, findings }))
}

/// One wheel serves all runs, unless that of a run is another one.
fn factor_of(lengths: &LapLengths, run: usize, factor: f64) -> f64 {
    let usual_m = lengths.by_wheel();
    let own = lengths.by_wheel_m.get(run).copied().flatten().zip(usual_m).map(|(own_m, usual_m)| usual_m / own_m);
    factor * own.filter(|ratio| (ratio - 1.0).abs() > OWN_SCALE).unwrap_or(1.0)
}
